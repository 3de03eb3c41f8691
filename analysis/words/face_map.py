"""The map of one face in words: the answer, where it is from, the heights, what to mind; the sum by hand."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from acquire.model.units import MM_PER_INCH, THOU_PER_FOOT, UM_PER_THOU, height_text, length_text
from analysis.adjust.run_slips import RunSlip
from analysis.words.assumptions import taken_words, unstated_words
from analysis.words.facts import sentences
from analysis.words.of_readings import traverses
from analysis.words.tables import columns, notes, table
from analysis.words.whole_bed import drift_words

if TYPE_CHECKING:
    from analysis.answers.face_map import FaceMap
    from analysis.level.cumulative import HandCheck
from analysis.words.shape import LINE_WORDS, base_lag_words, resolved_words, seen_words, shape_words

NOTHING_CHECKS = (
    "  Nothing checks these readings: a wrong unit, a run written from the wrong end or a misread would not "
    "show. Before metal comes off, read it once more, the other way or with another instrument."
)


def map_words(result: "FaceMap", inch: bool) -> Sequence[str]:
    """The answer, then where it is from, then the heights, then what to mind."""
    half = result.straightness_expanded_um / 2
    mine = set(result.traverses)
    wrong = [each for each in result.warnings if isinstance(each, RunSlip) and mine & set(each.traverses)]
    lines = [
        *(f"{words}." for words in sentences(wrong)),
        shape_words(result, inch),
        *([] if result.is_checked else [NOTHING_CHECKS]),
        *base_lag_words(result, inch),
        f"  {from_words(result)}",
        "  Straightness by line: "
        + "; ".join(
            f"{name.replace('_', ' ')} {seen_words(value, 2 * half, inch)}"
            for name, value in result.straightness_um.items()
        )
        + ".",
    ]
    if result.worst_over is not None:
        worst = result.worst_over
        lines.append(
            f"  Worst over {length_text(worst.length_mm, inch)}: "
            f"{height_text(worst.straightness_um, inch, half)}, from {length_text(worst.from_mm, inch)}."
        )
    if result.blind_wavelengths_mm and not result.ripples_not_included_mm:
        blind = ", ".join(length_text(each, inch) for each in result.blind_wavelengths_mm)
        lines.append(f"  Ripples of these lengths cannot be seen with this base: {blind}.")
    lines += resolved_words(result, inch)
    lines += taken_words(result.assumptions)
    lines += [f"  {words}" for words in drift_words(result.drift)]
    lines += columns(result.station_mm, result.height_um, 2 * result.standard_uncertainty_um, inch=inch)
    left = [each for each in result.warnings if each not in wrong]
    return [*lines, *notes(left), *unstated_words(result.assumptions)]


def from_words(result: "FaceMap") -> str:
    """Which traverses a map is from, and which line its heights are from."""
    return f"From {traverses(result.traverses)} ({result.mode}); heights are from {LINE_WORDS[result.line]}."


def explain_words(check: "HandCheck", inch: bool) -> list[str]:
    """The calculation as one would write it on paper, in the owner's own units."""
    um, slope, mm = (UM_PER_THOU, 1 / THOU_PER_FOOT, MM_PER_INCH) if inch else (1.0, 1.0, 1.0)
    digits = 3 if inch else 2

    def number(value: float | None, unit: float = um) -> str:
        return "" if value is None else f"{value / unit:.{digits}f}"

    rows = [
        (
            f"{round(each.station_mm / mm, 2):g}",
            number(each.reading_um_per_m, slope),
            number(each.rise_um),
            number(each.height_um),
            number(each.line_um),
            number(each.deviation_um),
            number(each.standard_uncertainty_um),
        )
        for each in check.stations
    ]
    height, place, tilt = ("thou", "in", "thou/ft") if inch else ("µm", "mm", "µm/m")
    names = ("rise", "height", "line", "deviation", "uncertainty")
    heads = (f"station {place}", f"reading {tilt}", *(f"{name} {height}" for name in names))
    return [
        "",
        f"The sum by hand, {check.face}: rise = reading × {length_text(check.base_mm, inch)} / "
        f"{'12 in' if inch else '1000 mm'}; "
        f"height = the rises so far; deviation = height − line ({check.line}).",
        f"Range {number(check.range_um)} {height}.",
        *table(heads, rows),
    ]
