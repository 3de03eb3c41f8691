"""What guides an instrument is read once, and its text stays what files keep."""

import pytest

from acquire.model.errors import EntryError
from acquire.model.reference import Reference
from acquire.model.traverse import Setup


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("front-vee", Reference("face", ("front-vee",))),
        ("rear flat", Reference("face", ("rear flat",))),
        ("a+b", Reference("faces", ("a", "b"))),
        ("carriage", Reference("carriage")),
        ("straightedge:two-foot", Reference("straightedge", ("two-foot",))),
        ("wire:steel", Reference("wire", ("steel",))),
        ("line", Reference("line")),
    ],
)
def test_each_kind_of_reference_is_read_and_written_back(text, meant):
    assert Reference.parse(text) == meant
    assert str(meant) == text


def test_only_edges_wires_and_lines_are_straight_by_themselves():
    straight = [t for t in ("a", "a+b", "carriage", "straightedge:e", "wire:w", "line") if
                Reference.parse(t).is_straight]  # fmt: skip
    assert straight == ["straightedge:e", "wire:w", "line"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("ruler:a", "no such kind"),
        ("a+a", "one face twice"),
        ("a+b+c", "found 3 faces"),
        (":a", "no such kind"),
    ],
)
def test_reference_of_no_kind_is_refused(text, words):
    with pytest.raises(EntryError, match=words):
        Reference.parse(text)


@pytest.mark.parametrize(
    ("quantity", "sides", "on_carriage"),
    [
        ("slope", {"face": "carriage"}, True),
        ("slope", {"face": "front"}, False),
        ("roll", {"front": "a", "rear": "b", "reference": "carriage"}, True),
        ("roll", {"front": "a", "rear": "b"}, False),
        # an indicator that rides the carriage reads a face from it, not the carriage itself
        ("offset", {"face": "front", "reference": "carriage"}, False),
    ],
)
def test_a_level_on_the_carriage_is_told_from_an_indicator_carried_by_it(quantity, sides, on_carriage):
    assert Setup("i", quantity, "", **sides).is_on_carriage is on_carriage
