"""`waylog map`: the shape of one face."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from analysis.commands.options import ABOVE_0, Output, answer_options, give, in_mm, survey_argument

if TYPE_CHECKING:
    from acquire.model.units import Reading
    from analysis.answers.face_map import FaceMap
    from analysis.level.cumulative import HandCheck

LINES = ("ends", "least-squares", "minimum-zone", "unworn")


@click.command("map")
@survey_argument
@click.argument("face")
@click.option("--by", type=click.Choice(["all", "level", "indicator"]), default="all", show_default=True)
@click.option(
    "--line",
    type=click.Choice(LINES),
    help="What heights are from (default: the unworn stretches where bed.toml names them, else the ends).",
)
@click.option("--over", type=ABOVE_0, metavar="L", help="Also the least straight stretch of this length.")
@click.option("--explain", is_flag=True, help="Print the sum of a stepped level station by station.")
@answer_options
def command(
    survey: Path,
    face: str,
    by: str,
    line: str | None,
    over: "Reading | None",
    explain: bool,
    output: Output,
) -> None:
    """The shape of one FACE of SURVEY: hollow or crowned, by how much, how sure."""
    from analysis.answers.face_map import map_face
    from analysis.answers.surveys import load

    loaded = load(survey)
    over_mm = None if over is None else in_mm(over, loaded.bed.is_inch)
    result = map_face(loaded.map(by), face, by=by, line=line, over_mm=over_mm)
    checks = _hand_checks(loaded, result) if explain else []

    def draw(in_inches: bool) -> object:
        from analysis.draw.figures import profile_figure

        return profile_figure(result, in_inches, called=loaded.bed.called)

    def words(in_inches: bool) -> Sequence[str]:
        return [
            *map_words(result, in_inches),
            *(each for c in checks for each in explain_words(c, in_inches)),
        ]

    give(result, words, draw, output, loaded.bed.is_inch)


def map_words(result: "FaceMap", inch: bool) -> Sequence[str]:
    """The answer, then where it is from, then the heights, then what to mind."""
    from acquire.model.units import height_text, length_text
    from analysis.adjust.run_slips import RunSlip
    from analysis.words.assumptions import taken_words, unstated_words
    from analysis.words.facts import sentences
    from analysis.words.shape import LINE_WORDS, base_lag_words, resolved_words, seen_words, shape_words
    from analysis.words.tables import columns, notes
    from analysis.words.whole_bed import drift_words

    half = result.straightness_expanded_um / 2
    numbers = ", ".join(str(n) for n in result.traverses)
    mine = set(result.traverses)
    wrong = [each for each in result.warnings if isinstance(each, RunSlip) and mine & set(each.traverses)]
    lines = [
        *(f"{words}." for words in sentences(wrong)),
        shape_words(result, inch),
        *base_lag_words(result, inch),
        f"  From traverse{'s' if len(result.traverses) > 1 else ''} {numbers} ({result.mode}); "
        f"heights are from {LINE_WORDS[result.line]}.",
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
    lines += columns(
        result.station_mm.tolist(),
        result.height_um.tolist(),
        (2 * result.standard_uncertainty_um).tolist(),
        inch=inch,
    )
    left = [each for each in result.warnings if each not in wrong]
    return [*lines, *notes(left), *unstated_words(result.assumptions)]


def _hand_checks(loaded: object, result: "FaceMap") -> "list[HandCheck]":
    """The sum on paper of every stepped level run on the face, forward and reverse by themselves."""
    from acquire.model.errors import AnalysisError
    from analysis.answers.surveys import Survey
    from analysis.level.cumulative import hand_check

    assert isinstance(loaded, Survey)
    runs = [
        t
        for t in loaded.measuring
        if t.setup.measures.has_feet_along and t.setup.face == result.face and t.mode == "stepped"
    ]
    if not runs:
        raise AnalysisError(
            f"{result.face} --explain",
            "no stepped level on it",
            "a level stepped foot to foot",
            "leave --explain out",
        )
    return [
        hand_check(
            f"{result.face}, traverse {run.number}",
            run.stations.station_mm,
            run.stations.reading * (-1 if run.setup.turned else 1),
            run.instrument.base_mm or 0.0,
            run.stations.standard_uncertainty,
            result.line,
            loaded.bed.faces[result.face].unworn_mm,
        )
        for run in runs
    ]


def explain_words(check: "HandCheck", inch: bool) -> list[str]:
    """The calculation as one would write it on paper, in the owner's own units."""
    from acquire.model.units import MM_PER_INCH, THOU_PER_FOOT, UM_PER_THOU, length_text
    from analysis.words.tables import table

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
