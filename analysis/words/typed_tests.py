"""Tests of a few readings, in words; the same for what is typed now and what was kept."""

from collections.abc import Callable, Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

from analysis.words.align import (
    QUILL_HOLDS,
    centres_words,
    collars_words,
    facing_words,
    line_words,
    push_off_words,
    square_words,
    tailstock_words,
)
from analysis.words.flanks import angles_words, dovetail_words, gib_words

if TYPE_CHECKING:
    from analysis.answers.typed_tests import KeptTests, Told

Readings = Mapping[str, Any]


def typed_test_words(test: str, found: Any, readings: Readings, inch: bool) -> list[str]:
    """The answer of one test."""
    return WORDS[test](found, readings, inch)


def kept_words(found: "KeptTests", inch: bool) -> list[str]:
    """All that were kept, one after the other."""
    if not found.tests:
        return ["No test was kept: align, square, flanks angles and dovetail keep theirs with --keep."]
    lines = []
    for told in found.tests:
        lines += ["", f"{told.kept.number}. {title_of(told)} ({read_words(told)})", *told_words(told, inch)]
    return lines[1:]


def told_words(told: "Told", inch: bool) -> list[str]:
    """The answer of one that was kept, or why there is none."""
    if told.answer is None:
        return [told.why_not or ""]
    return typed_test_words(told.kept.test, told.answer, told.kept.readings, inch)


def title_of(told: "Told") -> str:
    """What it is called on the page."""
    return TITLES.get(told.kept.test, told.kept.test)


def read_words(told: "Told") -> str:
    """When it was read, and the note that was kept with it."""
    note = f"; {told.kept.note}" if told.kept.note else ""
    return f"read {told.kept.created_utc[:10]}{note}"


def _line(found: Any, _: Readings, inch: bool, *, name: str, holds: str | None = None) -> list[str]:
    return line_words(found, name, inch, holds=holds)


def _turned(found: Any, readings: Readings, inch: bool) -> list[str]:
    from analysis.answers.alignment import push_off_um
    from analysis.answers.typed_tests import taper_of_collars

    words = collars_words(found, inch)
    if readings.get("force_n") is None:
        return words
    push = push_off_um(readings["force_n"], readings["stick_out_mm"], readings["bar_diameter_mm"])
    taper = taper_of_collars(readings["diameters_mm"], readings["uncertainty_um"])
    return [*words, *push_off_words(push, taper, inch)]


def _square(found: Any, _: Readings, inch: bool, *, name: str, tool: str) -> list[str]:
    return square_words(found, name, inch, tool)


WORDS: Mapping[str, Callable[[Any, Readings, bool], list[str]]] = {
    "align tailstock": lambda found, _, inch: tailstock_words(found, inch),
    "align bar": partial(_line, name="The spindle's axis"),
    "align quill": partial(_line, name="The quill", holds=QUILL_HOLDS),
    "align turned": _turned,
    "align centres": lambda found, _, inch: centres_words(found, inch),
    "align facing": lambda found, _, inch: facing_words(found, inch),
    "square blade": partial(_square, name="The guide", tool="square"),
    "square guides": partial(_square, name="Against the travel of the table the column", tool="square"),
    "square cylinder": partial(_square, name="The guide", tool="cylinder"),
    "square level": partial(_square, name="The column", tool="frame level"),
    "square sweep": partial(_square, name="The spindle", tool="sweep"),
    "flanks angles": lambda found, _, inch: angles_words(found, inch),
    "dovetail pins": lambda found, _, inch: dovetail_words(found, inch),
    "dovetail gib": lambda found, _, inch: gib_words(found, inch),
}
TITLES: Mapping[str, str] = {
    "align tailstock": "Tailstock ways against the carriage",
    "align bar": "Spindle by a test bar",
    "align quill": "Quill",
    "align turned": "Two turned collars",
    "align centres": "Centres",
    "align facing": "Cross slide by a face that it turned",
    "square blade": "Guide by a square",
    "square guides": "Column against the travel of its table",
    "square cylinder": "Guide by a cylinder square",
    "square level": "Column by a frame level",
    "square sweep": "Spindle by a swept indicator",
    "flanks angles": "Angles of a vee by two rollers",
    "dovetail pins": "Dovetail by pins",
    "dovetail gib": "Gib",
}
"""What a test is called on the page."""
