"""The whole survey in five lines: first the answer, then how sure, then what to do."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from acquire.model.bed import Bed
from acquire.model.errors import AnalysisError
from acquire.model.units import length_text
from analysis.adjust.cannot_tell import NotMeasured
from analysis.answers.comparison import Comparison
from analysis.answers.face_map import FaceMap
from analysis.answers.next_traverse import Advice
from analysis.answers.twist import Twist
from analysis.answers.whole_bed import WholeBed
from analysis.words.comparison import comparison_words
from analysis.words.facts import sentence, sentences
from analysis.words.known import height_seen
from analysis.words.of_adjustment import listed
from analysis.words.shape import shape_words
from analysis.words.twist import agreement_words, roll_words
from analysis.words.whole_bed import fit_words

MOST_FACES = 3
BEFORE_METAL = (
    "Before any metal comes off, repeat the survey and confirm it with blue and a straightedge: "
    "metal does not go back."
)


@dataclass(frozen=True)
class Line:
    """One line of the summary: what it is about, and what there is to say."""

    about: str
    words: str


@dataclass(frozen=True, eq=False)
class Answers:
    """What the lines are drawn from; an error stands where there is no answer."""

    bed: Bed
    whole: WholeBed
    maps: Mapping[str, FaceMap | AnalysisError]
    twist: Twist | AnalysisError
    compared: Sequence[Comparison | AnalysisError]
    advice: Sequence[Advice]


def summary_lines(answers: Answers, inch: bool) -> tuple[Line, ...]:
    """Shape, twist, how sure, what is not known, what to do."""
    return (
        Line("Shape", _shape(answers, inch)),
        Line("Twist", _twist(answers.twist, inch)),
        Line("How sure", _sure(answers, inch)),
        Line("Not known", _unknown(answers)),
        Line("To do", _to_do(answers, inch)),
    )


def _shape(answers: Answers, inch: bool) -> str:
    """The carriage's ways first, then the others in the order of bed.toml."""
    carriage = answers.bed.ridden_ways()
    names = [*carriage, *(name for name in answers.maps if name not in carriage)]
    found = [answers.maps[name] for name in names]
    known = [each for each in found if isinstance(each, FaceMap)]
    if not known:
        reasons = [each.found for each in found if isinstance(each, AnalysisError)]
        return f"No face can be mapped yet: {reasons[0] if reasons else 'nothing is described'}."
    lines = [shape_words(each, inch) for each in known[:MOST_FACES]]
    more = len(known) - len(lines)
    return " ".join([*lines, *([f"{more} more below."] if more else [])])


def _twist(twist: Twist | AnalysisError, inch: bool) -> str:
    if isinstance(twist, AnalysisError):
        return f"Not measured: {twist.found}."
    return roll_words(twist, inch)


def _sure(answers: Answers, inch: bool) -> str:
    lines = [*(f"{each}." for each in sentences(answers.whole.slips)), fit_words(answers.whole)]
    suspects = [each for each in answers.whole.suspects if not each.runner_up]
    if suspects:
        lines.append(f"{len(suspects)} stand{'s' if len(suspects) == 1 else ''} out as wrong.")
    for each in answers.compared:
        if isinstance(each, Comparison):
            lines.append(_verdict(each, inch))
    if isinstance(answers.twist, Twist):
        lines += [words.strip() for words in agreement_words(answers.twist, inch)]
    return " ".join(lines)


def _verdict(compared: Comparison, inch: bool) -> str:
    if compared.agree:
        seen = height_seen(compared.smallest_detectable_um, inch)
        return f"{compared.a} and by indicator agree: a difference of {seen} would have been seen."
    return comparison_words(compared, inch)[0]


def _unknown(answers: Answers) -> str:
    """The faces that cannot be mapped, and the first thing that the readings leave open."""
    missing = [name for name, found in answers.maps.items() if isinstance(found, AnalysisError)]
    lines = [f"The shape of {listed(missing)}."] if missing else []
    open_words = sentences(each for each in answers.whole.cannot_tell if not isinstance(each, NotMeasured))
    if open_words:
        first = open_words[0]
        more = len(open_words) - 1
        lines.append(f"{first[:1].upper()}{first[1:]}{f'; and {more} more below' if more else ''}.")
    if answers.whole.unchecked:
        count = len(answers.whole.unchecked)
        lines.append(f"{count} reading{'s are' if count > 1 else ' is'} checked by no other.")
    return " ".join(lines) or "Nothing that the readings should tell."


def _to_do(answers: Answers, inch: bool) -> str:
    lines = []
    if answers.whole.suspects:
        worst = answers.whole.suspects[0]
        lines.append(f"Read again: traverse {worst.traverse} at {worst.station_mm:g} mm.")
    for each in answers.compared:
        if isinstance(each, Comparison) and each.agree is False:
            at = length_text(each.worst["station_mm"], inch)
            lines.append(f"{each.a} and {each.b} disagree: wipe, re-seat and repeat one of them at {at}.")
    if answers.advice:
        lines.append(f"Next traverse: {sentence(answers.advice[0].words)}.")
    return " ".join([*lines, BEFORE_METAL])
