"""How lines for people are printed: cut between words on a terminal, whole in a pipe."""

import io
import sys

import pytest

from acquire.model.saying import folded, say

ANSWER = (
    "front-vee is hollow by 3.87 thou (98 µm) ± 0.14 thou (4 µm), lowest at 18 in.\n"
    "  Anywhere the roll differs by 2.39 thou/ft (199 µm/m) to 2.78 thou/ft (232 µm/m) from 0 in to 18 in."
)


@pytest.mark.parametrize("columns", [24, 40, 79, 80])
def test_number_and_sign_stay_with_what_belongs_to_them(columns):
    lines = folded(ANSWER, columns).splitlines()
    assert max(map(len, lines)) <= columns
    assert " ".join(" ".join(lines).split()) == " ".join(ANSWER.split())
    assert not any(line.endswith("±") or line[-1].isdigit() for line in lines)


def test_rest_of_a_line_is_moved_in_further_than_its_beginning():
    indents = [len(line) - len(line.lstrip()) for line in folded(ANSWER, 40).splitlines()]
    assert indents == [0, 2, 2, 4, 4, 4]


def test_lines_that_fit_are_left_as_they_are():
    table = "  station in  height thou\n        0.00         0.00\n"
    assert folded(table, 80) == table


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_answer_is_folded_on_a_terminal_and_goes_whole_into_a_pipe(monkeypatch):
    monkeypatch.setenv("COLUMNS", "40")
    for stream, widest in ((Terminal(), 40), (io.StringIO(), max(map(len, ANSWER.splitlines())))):
        monkeypatch.setattr(sys, "stdout", stream)
        say(ANSWER)
        assert max(map(len, stream.getvalue().splitlines())) == widest
