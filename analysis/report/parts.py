"""The further answers, where the survey holds what they need: a short part each, with its picture."""

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from acquire.model.errors import AnalysisError
from acquire.store.kept import read_marks
from analysis.adjust.bed_map import BedMap
from analysis.answers.blue import Blue, blue_on
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
from analysis.answers.work import TurnedPart, turned_part
from analysis.draw.figures import blue_figure, feet_figure, inline_svg
from analysis.draw.figures.joints import joints_figure, ripples_figure
from analysis.draw.figures.limits import limits_figure
from analysis.draw.figures.saddle import saddle_figure
from analysis.draw.figures.taper import taper_figure
from analysis.draw.figures.work import work_figure
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
        picture = partial(feet_figure, feet, inch, is_titled=False) if feet.predicted is not None else None
        yield _part("feet", "Feet", feet_words(feet, inch), feet, picture)


def _joints(bed_map: BedMap, inch: bool) -> Iterator[Part]:
    if bed_map.bed.joints_mm:
        found = joints(bed_map)
        words = joints_words(found, inch)
        yield _part("joints", "Joints", words, found, lambda: joints_figure(found, inch))


def _ripples(bed_map: BedMap, inch: bool) -> Iterator[Part]:
    """Only where something was found: that nothing was is a line of its own."""
    found = ripples(bed_map)
    is_any = any(each.steps or each.ripples for each in found.faces)
    words = ripples_words(found, inch)
    if is_any:
        yield _part("ripples", "Steps and ripples", words, found, lambda: ripples_figure(found, inch))


def _flanks(bed_map: BedMap, inch: bool) -> Iterator[Part]:
    for number, (name, face) in enumerate(bed_map.bed.faces.items(), 1):
        if not face.is_vee or name not in bed_map.faces:
            continue
        try:
            found = vee_flanks(bed_map, name)
        except AnalysisError:
            continue  # its sideways shape was not read: the plan of the face says so
        yield _part(f"flanks-{number}", f"Flanks of {name}", flanks_words(found, inch), found)


def _taper(bed_map: BedMap, inch: bool) -> Iterator[Part]:
    found = tapers(bed_map)
    words = tapers_words(found, inch)
    yield _part("taper", "Taper", words, found, lambda: taper_figure(found, inch, is_titled=False))


def _saddle(bed_map: BedMap, inch: bool) -> Iterator[Part]:
    """Where bed.toml says where the apron is."""
    if bed_map.bed.apron_mm is not None:
        found = saddle_drop(bed_map)
        words = saddle_words(found, inch)
        yield _part(
            "saddle",
            "The saddle, once the ways are planned",
            words,
            found,
            lambda: saddle_figure(found, inch),
        )


def _blue(survey: Survey, bed_map: BedMap, inch: bool) -> Iterator[Part]:
    """The latest marks of each face, against the map."""
    latest = {marks.face: marks for marks in read_marks(survey.folder)}
    for number, marks in enumerate(latest.values(), 1):
        try:
            found = blue_on(bed_map, marks.face, marks.edge, kept=marks)
        except AnalysisError:
            continue
        title = f"Blue seen on {marks.face}"
        yield _part(f"blue-{number}", title, blue_answer(found, inch), found, _drawing(found, inch))


def _drawing(found: Blue, inch: bool) -> Callable[[], Any]:
    return lambda: blue_figure(found, inch, is_titled=False)


def _work(bed_map: BedMap, inch: bool) -> Iterator[Part]:
    found = turned_part(bed_map)
    if _tells_anything(found):
        title = "The part it turns"
        picture = lambda: work_figure(found, inch, is_titled=False)  # noqa: E731
        yield _part("work", title, work_words(found, inch), found, picture)


def _tells_anything(found: TurnedPart) -> bool:
    return any(part is not None for part in (found.from_roll, found.from_sideways, found.from_height))


def _limits(bed_map: BedMap, inch: bool) -> Iterator[Part]:
    found = judge_limits(bed_map, bed_map.bed.limits)
    is_known = any(each.value is not None for each in found.judged)
    picture = (lambda: limits_figure(found)) if is_known else None
    yield _part("limits", "Your own limits", limits_words(found, inch), found, picture)


def _kept(survey: Survey, inch: bool) -> Iterator[Part]:
    """Tests of a few readings that were kept, each from the map as it is now."""
    for told in answer_kept(survey).tests:
        words = [*told_words(told, inch), f"Kept test {told.kept.number}, {read_words(told)}."]
        yield _part(f"test-{told.kept.number}", title_of(told), words, told.answer)


def _part(
    key: str, title: str, words: Sequence[str], found: Any, picture: Callable[[], Any] | None = None
) -> Part:
    """The words less what the page says once for all: what the ± takes for granted, and the notes."""
    elsewhere = taken_and_notes(getattr(found, "assumptions", ()), getattr(found, "warnings", ()))
    own = [each for each in words if each not in elsewhere]
    cautions = [each for each in own if each.strip().startswith(CAUTION)]
    return Part(
        key,
        title,
        blocks_of([each for each in own if each not in cautions]),
        None if picture is None else inline_svg(picture(), key),
        tuple(each.strip() for each in cautions),
    )


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
