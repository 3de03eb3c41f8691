"""What the report says: every answer that the survey gives, gathered once."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import TypeVar

from acquire.model.bed import Bed
from acquire.model.errors import AnalysisError
from acquire.model.traverse import Traverse
from acquire.model.units import length_text
from acquire.store.survey import files_of
from analysis.adjust.bed_map import BedMap
from analysis.answers.comparison import Comparison, compare
from analysis.answers.datums import Datums, datums
from analysis.answers.face_map import FaceMap, map_face
from analysis.answers.feet_on_bed import Feet, feet_if_told
from analysis.answers.next_traverse import next_traverse, varied
from analysis.answers.plan import FacePlan
from analysis.answers.surveys import Survey
from analysis.answers.twist import Twist, twist_of
from analysis.answers.whole_bed import WholeBed, whole_bed
from analysis.draw.figures import bed_figure, comparison_figure, inline_svg, profile_figure, twist_figure
from analysis.report.parts import Part, further_parts, standing_part
from analysis.report.plan import PlanPart, TrustPart, face_plans, plan_part, trust_part, why_not_yet
from analysis.report.summary import Answers, Line, summary_lines
from analysis.report.tables import StationTable, face_table, reach_words, roll_table
from analysis.report.wall import Wall, wall_sheet
from analysis.words.assumptions import taken_and_notes
from analysis.words.comparison import comparison_words
from analysis.words.face_map import from_words
from analysis.words.facts import sentence, sentences
from analysis.words.feet import bed_or_wear_words
from analysis.words.shape import base_lag_words, shape_words
from analysis.words.twist import agreement_words, known_up_to_words, roll_words, whole_twist_words
from analysis.words.wall import Found as FoundForTheWall
from analysis.words.whole_bed import fit_words, suspect_words, unchecked_words

MOST_ADVICE = 5


@dataclass(frozen=True)
class Section:
    """One answer: its words, its picture and its table; or the reason why there is none."""

    name: str
    words: tuple[str, ...]
    picture: str | None = None
    """An SVG element."""
    table: StationTable | None = None
    reason: str | None = None
    key: str = ""
    """What the contents link to."""


@dataclass(frozen=True, eq=False)
class Contents:
    """All that is on the page."""

    bed: Bed
    inch: bool
    wall: Wall
    """The first page."""
    summary: tuple[Line, ...]
    bed_picture: str | None
    faces: tuple[Section, ...]
    """Those that some traverse touches."""
    not_measured: tuple[str, ...]
    """The others."""
    plans: Mapping[str, PlanPart]
    """What to take off, for the faces whose own shape is known."""
    trust: TrustPart
    standing: tuple[str | StationTable, ...]
    """How the faces rank and stand to each other."""
    parts: tuple[Part, ...]
    """The further answers that the survey holds what they need for."""
    twist: Section
    comparisons: tuple[Section, ...]
    agreement: tuple[str, ...]
    """Whether the readings fit each other, which do not, and which nothing checks."""
    cannot_tell: tuple[str, ...]
    advice: tuple[str, ...]
    notes: tuple[str, ...]
    traverses: tuple[Traverse, ...]
    unfinished: tuple[str, ...]
    """Names of recordings that were cut short."""
    history: tuple[Section, ...] = ()
    """Against an older survey: what was alike, each face, twist; empty where none was named."""


Found = TypeVar("Found")


def gather(survey: Survey, inch: bool) -> Contents:
    """Work out everything that the report shows.

    Parameters
    ----------
    survey : Survey
    inch : bool
        Inches and thou first.

    Raises
    ------
    AnalysisError
        Where the survey holds no traverse of a measuring instrument.
    """
    bed, bed_map = survey.bed, survey.map()
    whole = whole_bed(bed_map, left_out=survey.left_out)
    maps: dict[str, FaceMap | AnalysisError] = {
        face: whole.maps[face] if face in whole.maps else attempt(partial(map_face, bed_map, face))
        for face in bed.faces
    }
    twist = attempt(lambda: twist_of(survey.measuring, bed, bed_map=bed_map))
    compared = {face: attempt(partial(_level_and_indicator, survey, face)) for face in comparable(survey)}
    advice = next_traverse(bed_map).advice
    answers = Answers(bed, whole, maps, twist, tuple(compared.values()), advice)
    plans, trust = face_plans(bed_map), datums(bed_map)
    feet = feet_if_told(bed_map)
    why_not = why_not_yet(whole, feet, trust)
    return Contents(
        bed=bed,
        inch=inch,
        wall=wall_sheet(bed, _found_for_the_wall(answers, plans, feet, trust, why_not), why_not, inch),
        summary=summary_lines(answers, inch),
        bed_picture=inline_svg(bed_figure(whole, bed, inch), "bed") if whole.maps else None,
        faces=_face_sections(bed_map, maps, plans, why_not, inch),
        not_measured=tuple(name for name in bed.faces if name not in bed_map.faces),
        plans={face: plan_part(plan, why_not.get(face), inch) for face, plan in plans.items()},
        standing=standing_part(trust, inch),
        parts=further_parts(survey, bed_map, feet, inch),
        trust=trust_part(trust, bed_map.faces, plans, inch),
        twist=twist_section(twist, inch),
        comparisons=tuple(
            comparison_section(f"{face}, level against indicator", f"comparison-{number}", found, inch)
            for number, (face, found) in enumerate(compared.items(), 1)
        ),
        agreement=(fit_words(whole), *suspect_words(whole), *unchecked_words(whole)),
        cannot_tell=tuple(as_sentence(words) for words in sentences(whole.cannot_tell)),
        advice=tuple(
            f"{as_sentence(sentence(each.words))} `{each.command}`" for each in varied(advice)[:MOST_ADVICE]
        ),
        notes=_notes(whole),
        traverses=survey.traverses,
        unfinished=tuple(path.name for path in files_of(survey.folder, "journal").values()),
    )


def _face_sections(
    bed_map: BedMap,
    maps: Mapping[str, FaceMap | AnalysisError],
    plans: Mapping[str, FacePlan],
    why_not: Mapping[str, str],
    inch: bool,
) -> tuple[Section, ...]:
    return tuple(
        face_section(bed_map.bed, name, f"face-{number}", found, inch, plans.get(name), name not in why_not)
        for number, (name, found) in enumerate(maps.items(), 1)
        if name in bed_map.faces
    )


def _notes(whole: WholeBed) -> tuple[str, ...]:
    lines = taken_and_notes(whole.assumptions, whole.warnings)
    return tuple(line.strip().removeprefix("Note: ") for line in lines)


def _found_for_the_wall(
    answers: Answers,
    plans: Mapping[str, FacePlan],
    feet: Feet | None,
    trust: Datums,
    why_not: Mapping[str, str],
) -> FoundForTheWall:
    ready = [face for face in plans if face not in why_not]
    return FoundForTheWall(
        whole=answers.whole,
        compared=[each for each in answers.compared if isinstance(each, Comparison)],
        feet=feet,
        datums=trust,
        advice=answers.advice,
        plans=tuple(plans.values()),
        may_be_scraped=ready,
        why_not=None if ready else next((why_not[face] for face in plans), None),
    )


def attempt(work: Callable[[], Found]) -> Found | AnalysisError:
    """What `work` gives, or the reason why it cannot be had."""
    try:
        return work()
    except AnalysisError as why:
        return why


def comparable(survey: Survey) -> list[str]:
    """Faces that both a level and an indicator were used on."""
    used = {(traverse.setup.face, traverse.setup.measures.by) for traverse in survey.measuring}
    return [face for face in survey.bed.faces if {(face, "level"), (face, "indicator")} <= used]


def _level_and_indicator(survey: Survey, face: str) -> Comparison:
    return compare(survey.measuring, survey.bed, f"{face}:level", f"{face}:indicator")


def face_section(
    bed: Bed,
    name: str,
    key: str,
    found: FaceMap | AnalysisError,
    inch: bool,
    plan: FacePlan | None = None,
    may_be_scraped: bool = False,
) -> Section:
    """One face: its shape in words, its picture and its table; or why there is none."""
    if isinstance(found, AnalysisError):
        return Section(name, (), reason=as_sentence(found.found))
    unworn = bed.faces[name].unworn_mm
    figure = profile_figure(found, inch, called=bed.called, unworn_mm=unworn, is_titled=False)
    beside = [each.strip() for each in base_lag_words(found, inch)]
    words = [shape_words(found, inch), *beside, from_words(found)]
    if found.blind_wavelengths_mm and not found.ripples_not_included_mm:
        blind = ", ".join(length_text(each, inch) for each in found.blind_wavelengths_mm)
        words.append(f"Ripples of these lengths cannot be seen with this base: {blind}.")
    words += reach_words(found, inch)
    table = face_table(found, inch, plan, may_be_scraped=may_be_scraped)
    return Section(name, tuple(words), inline_svg(figure, key), table, key=key)


def twist_section(found: Twist | AnalysisError, inch: bool) -> Section:
    """Twist in words, picture and table; or why it is not known."""
    if isinstance(found, AnalysisError):
        return Section("twist", (), reason=str(found))
    words = [
        roll_words(found, inch),
        *whole_twist_words(found, inch),
        *known_up_to_words(found),
        *bed_or_wear_words(found, inch),
        *agreement_words(found, inch),
    ]
    picture = inline_svg(twist_figure(found, inch, is_titled=False), "twist")
    return Section("twist", tuple(each.strip() for each in words), picture, roll_table(found, inch))


def comparison_section(name: str, key: str, found: Comparison | AnalysisError, inch: bool) -> Section:
    """Two maps held against each other; or why they cannot be."""
    if isinstance(found, AnalysisError):
        return Section(name, (), reason=str(found))
    words = tuple(each.strip() for each in comparison_words(found, inch))
    return Section(name, words, inline_svg(comparison_figure(found, inch, is_titled=False), key))


def as_sentence(words: str) -> str:
    """With a capital and a full stop.

    Examples
    --------
    >>> as_sentence("nothing was measured on keep")
    'Nothing was measured on keep.'
    """
    words = words.strip()
    return words[:1].upper() + words[1:] + ("" if words.endswith((".", "?", "!")) else ".")
