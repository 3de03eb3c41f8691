"""The further answers, where the survey holds what they need: a short part each, with its picture."""

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from acquire.model.errors import AnalysisError
from acquire.store.kept import read_marks
from analysis.adjust.bed_map import BedMap
from analysis.answers.blue import blue_on
from analysis.answers.datums import Datums
from analysis.answers.feet_on_bed import Feet
from analysis.answers.flanks import vee_flanks
from analysis.answers.joints import joints
from analysis.answers.limits import judge_limits
from analysis.answers.ripples import ripples
from analysis.answers.saddle import saddle_drop
from analysis.answers.surveys import Survey
from analysis.answers.taper import tapers
from analysis.answers.typed_tests import answer_kept
from analysis.answers.work import turned_part
from analysis.draw.figures import (
    blue_figure,
    feet_figure,
    inline_svg,
    joints_figure,
    limits_figure,
    ripples_figure,
    saddle_figure,
    taper_figure,
    work_figure,
)
from analysis.report.tables import StationTable, in_blocks
from analysis.words.assumptions import taken_and_notes
from analysis.words.blue import blue_answer
from analysis.words.datums import standing_words
from analysis.words.feet import feet_words
from analysis.words.flanks import flanks_words
from analysis.words.joints import joints_words
from analysis.words.limits import limits_words
from analysis.words.ripples import ripples_words
from analysis.words.saddle import saddle_words
from analysis.words.tables import TableLine
from analysis.words.taper import tapers_words
from analysis.words.typed_tests import read_words, title_of, told_words
from analysis.words.work import work_words

CAUTION = "Caution"


@dataclass(frozen=True)
class Part:
    """One answer: sentences and tables as they come, and a picture where it has one."""

    key: str
    title: str
    blocks: tuple[str | StationTable, ...]
    picture: str | None = None
    """An SVG element."""
    cautions: tuple[str, ...] = ()
    """Before all else."""


def further_parts(survey: Survey, bed_map: BedMap, feet: Feet | None, inch: bool) -> tuple[Part, ...]:
    """Every answer that this survey holds the readings and the description for; no line of the others."""
    makers: Sequence[Callable[[], Iterator[Part]]] = (
        lambda: _feet(bed_map, feet, inch),
        lambda: _joints(bed_map, inch),
        lambda: _ripples(bed_map, inch),
        lambda: _flanks(bed_map, inch),
        lambda: _taper(bed_map, inch),
        lambda: _saddle(bed_map, inch),
        lambda: _blue(survey, bed_map, inch),
        lambda: _work(bed_map, inch),
        lambda: _limits(bed_map, inch),
        lambda: _kept(survey, inch),
    )
    return tuple(part for maker in makers for part in _what_there_is(maker))


def standing_part(found: Datums, inch: bool) -> tuple[str | StationTable, ...]:
    """How the faces rank and stand to each other."""
    return blocks_of(standing_words(found, inch))


def _what_there_is(maker: Callable[[], Iterator[Part]]) -> list[Part]:
    """What a maker gives; nothing where the survey does not hold what it needs."""
    try:
        return list(maker())
    except AnalysisError:
        return []


def _feet(bed_map: BedMap, feet: Feet | None, inch: bool) -> Iterator[Part]:
    if bed_map.bed.feet and feet is not None:
        figure = partial(feet_figure, is_titled=False) if feet.predicted is not None else None
        yield _part("feet", "Feet", feet, feet_words, figure, inch)


def _joints(bed_map: BedMap, inch: bool) -> Iterator[Part]:
    if bed_map.bed.joints_mm:
        yield _part("joints", "Joints", joints(bed_map), joints_words, joints_figure, inch)


def _ripples(bed_map: BedMap, inch: bool) -> Iterator[Part]:
    """Only where something was found: that nothing was is a line of its own."""
    found = ripples(bed_map)
    if any(each.steps or each.ripples for each in found.faces):
        yield _part("ripples", "Steps and ripples", found, ripples_words, ripples_figure, inch)


def _flanks(bed_map: BedMap, inch: bool) -> Iterator[Part]:
    for number, (name, face) in enumerate(bed_map.bed.faces.items(), 1):
        if not face.is_vee or name not in bed_map.faces:
            continue
        try:
            found = vee_flanks(bed_map, name)
        except AnalysisError:
            continue  # its sideways shape was not read: the plan of the face says so
        yield _part(f"flanks-{number}", f"Flanks of {name}", found, flanks_words, None, inch)


def _taper(bed_map: BedMap, inch: bool) -> Iterator[Part]:
    yield _part("taper", "Taper", tapers(bed_map), tapers_words, partial(taper_figure, is_titled=False), inch)


def _saddle(bed_map: BedMap, inch: bool) -> Iterator[Part]:
    """Where bed.toml says where the apron is."""
    if bed_map.bed.apron_mm is not None:
        title = "The saddle, once the ways are planned"
        yield _part("saddle", title, saddle_drop(bed_map), saddle_words, saddle_figure, inch)


def _blue(survey: Survey, bed_map: BedMap, inch: bool) -> Iterator[Part]:
    """The latest marks of each face, against the map."""
    latest = {marks.face: marks for marks in read_marks(survey.folder)}
    for number, marks in enumerate(latest.values(), 1):
        try:
            found = blue_on(bed_map, marks.face, marks.edge, kept=marks)
        except AnalysisError:
            continue
        title, figure = f"Blue seen on {marks.face}", partial(blue_figure, is_titled=False)
        yield _part(f"blue-{number}", title, found, blue_answer, figure, inch)


def _work(bed_map: BedMap, inch: bool) -> Iterator[Part]:
    found = turned_part(bed_map)
    if any(part is not None for part in (found.from_roll, found.from_sideways, found.from_height)):
        figure = partial(work_figure, is_titled=False)
        yield _part("work", "The part it turns", found, work_words, figure, inch)


def _limits(bed_map: BedMap, inch: bool) -> Iterator[Part]:
    found = judge_limits(bed_map, bed_map.bed.limits)
    figure = limits_figure if any(each.value is not None for each in found.judged) else None
    yield _part("limits", "Your own limits", found, limits_words, figure, inch)


def _kept(survey: Survey, inch: bool) -> Iterator[Part]:
    """Tests of a few readings that were kept, each from the map as it is now."""
    for told in answer_kept(survey).tests:
        words = [*told_words(told, inch), f"Kept test {told.kept.number}, {read_words(told)}."]
        blocks, cautions = _blocks_and_cautions(words, told.answer)
        yield Part(f"test-{told.kept.number}", title_of(told), blocks, None, cautions)


def _part(
    key: str,
    title: str,
    found: Any,
    words: Callable[[Any, bool], Sequence[str]],
    figure: Callable[[Any, bool], Any] | None,
    inch: bool,
) -> Part:
    """One answer in words, and its picture, which has none above it."""
    blocks, cautions = _blocks_and_cautions(words(found, inch), found)
    picture = None if figure is None else inline_svg(figure(found, inch), key)
    return Part(key, title, blocks, picture, cautions)


def _blocks_and_cautions(
    words: Sequence[str], found: Any
) -> tuple[tuple[str | StationTable, ...], tuple[str, ...]]:
    """The words less what the page says once for all: what the ± takes for granted, and the notes."""
    elsewhere = taken_and_notes(getattr(found, "assumptions", ()), getattr(found, "warnings", ()))
    own = [each for each in words if each not in elsewhere]
    cautions = [each for each in own if each.strip().startswith(CAUTION)]
    return blocks_of([each for each in own if each not in cautions]), tuple(each.strip() for each in cautions)


def blocks_of(words: Sequence[str]) -> tuple[str | StationTable, ...]:
    """Sentences as they are, lines of a table gathered into one.

    Examples
    --------
    >>> from analysis.words.tables import table
    >>> blocks_of(["Move 1 foot:", *table(("foot", "by"), [("front", "3 µm")]), "  Then read again."])
    ('Move 1 foot:', StationTable(heads=('foot', 'by'), blocks=((('front', '3 µm'),),)), 'Then read again.')
    """
    blocks: list[str | StationTable] = []
    for is_table, lines in itertools.groupby(words, lambda line: isinstance(line, TableLine)):
        if is_table:
            heads, *rows = (line.cells for line in lines if isinstance(line, TableLine))
            blocks.append(StationTable(heads, in_blocks(rows)))
        else:
            blocks += [line.strip() for line in lines if line.strip()]
    return tuple(blocks)
