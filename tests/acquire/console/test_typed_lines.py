"""Lines from single characters: by a hand or all at once, ended with Enter or Tab, whatever the editing."""

import pytest

from acquire.console.keys import AHEAD, BACK, END, NO_KEY
from acquire.console.typed_lines import LineReader


class Keyboard:
    """Characters at their times: a hand takes 150 ms for each, an instrument 8 ms, unless said otherwise."""

    def __init__(self):
        self.now_s = self.typed_s = 0.0
        self.presses, self.shown = [], ""

    def by_hand(self, text, each_s=0.15):
        return self._typed(text, each_s)

    def by_instrument(self, text, each_s=0.008):
        return self._typed(text, each_s)

    def _typed(self, keys, each_s):
        for key in keys:
            self.pause(each_s).presses.append((self.typed_s, key))
        return self

    def pause(self, seconds):
        self.typed_s += seconds
        return self

    def key(self, name):
        return self._typed([name], 0.15)

    def _character(self, wait_s):
        """What was typed while nobody looked waits in the terminal."""
        if not self.presses:
            return END
        at_s = self.presses[0][0]
        self.now_s = min(max(at_s, self.now_s), self.now_s + wait_s)
        return self.presses.pop(0)[1] if at_s <= self.now_s else ""

    def _echo(self, text):
        self.shown += text

    def lines(self, work_s=0.0):
        """All lines, each worked on for so long before the next is asked for."""
        reader, lines = LineReader(self._character, self._echo, lambda: self.now_s), []
        while (line := reader.line()) is not None:
            lines.append(line)
            self.now_s += work_s
        return lines


def test_what_a_hand_types_is_no_burst_and_what_an_instrument_types_is():
    keyboard = Keyboard().by_hand("12.5\n").pause(5).by_instrument("+0012.345\n").pause(5).by_hand("k\n")
    assert [(line, line.is_burst) for line in keyboard.lines()] == [
        ("12.5", False), ("+0012.345", True), ("k", False),
    ]  # fmt: skip


@pytest.mark.parametrize("each_s", [0.001, 0.008, 0.02, 0.04])
def test_slow_cables_type_bursts_too(each_s):
    (line,) = Keyboard().by_instrument("-1.234\n", each_s).lines()
    assert line.is_burst


@pytest.mark.parametrize("each_s", [0.06, 0.1, 0.4])
def test_quick_hands_do_not(each_s):
    (line,) = Keyboard().by_hand("-1.234\n", each_s).lines()
    assert not line.is_burst


@pytest.mark.parametrize("end", ["\n", "\r", "\t", "\r\n", "\t\n"])
def test_every_usual_end_ends_a_line(end):
    lines = [line for line in Keyboard().by_instrument(f"1.5{end}2.5 mm{end}").lines() if line]
    assert lines == ["1.5", "2.5 mm"]


@pytest.mark.parametrize("work_s", [0.0, 0.3])
def test_second_press_and_the_rest_of_one_burst_are_told_apart(work_s):
    """However long a card takes to write each reading down."""
    keyboard = Keyboard().by_instrument("1.1\n1.2\n").pause(0.4).by_instrument("1.2\n").pause(7)
    lines = keyboard.by_instrument("1.3\n").lines(work_s)
    assert lines == ["1.1", "1.2", "1.2", "1.3"] and all(line.is_burst for line in lines)
    assert [line.goes_on for line in lines] == [False, True, False, False]
    assert [line.is_second_press for line in lines] == [False, False, True, False]


@pytest.mark.parametrize("work_s", [0.0, 0.3])
def test_what_waited_before_it_was_asked_for_is_no_second_press(work_s):
    """Typed while the program started: it comes all at once; `b` comes from no instrument."""
    lines = Keyboard().by_instrument("1\nhigh\n2\nb\n2.5\n", each_s=0.0).lines(work_s)
    assert lines == ["1", "high", "2", "b", "2.5"]
    assert [line.is_burst for line in lines] == [True, False, True, False, True]
    after_burst = [line for line, before in zip(lines[1:], lines, strict=False) if before.is_burst]
    assert not any(line.is_second_press for line in after_burst)


def test_interruption_just_after_a_reading_takes_the_reading():
    pressed = iter("1.5\n")

    def interrupted(wait_s):
        if (key := next(pressed, None)) is None:
            raise KeyboardInterrupt
        return key

    reader = LineReader(interrupted, lambda _: None, lambda: 0.0)
    assert [reader.line(), reader.line()] == ["1.5", None]


def test_rubbing_out_and_clearing_change_the_line_and_what_is_shown():
    keyboard = Keyboard().by_hand("12x\x7f.5\n").by_hand("99\x15−0,5 µm\n")
    assert keyboard.lines() == ["12.5", "−0,5 µm"]
    assert keyboard.shown.count("\b \b") == 3


def test_keys_of_a_presenters_remote_are_enter_and_back_and_others_are_nothing():
    keyboard = Keyboard().key(AHEAD).key(BACK).by_hand("4").key(NO_KEY).key(BACK).by_hand("2").key(AHEAD)
    assert keyboard.lines() == ["", "b", "42"]


def test_end_of_input_in_a_line_takes_nothing():
    assert Keyboard().by_hand("12").lines() == []
