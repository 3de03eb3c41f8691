"""`waylog twist`: how twisted the bed is, front against rear."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from analysis.commands.options import Shown, answer_options, give, survey_argument

if TYPE_CHECKING:
    from analysis.twist import Twist


@click.command("twist")
@survey_argument
@click.option("--front", help="The front way (default: the one the carriage rides at its front).")
@click.option("--rear", help="The rear way.")
@answer_options
def command(
    survey: Path, front: str | None, rear: str | None, as_json: bool, picture: Path | None, inch: bool | None
) -> None:
    """How twisted SURVEY's bed is: the roll of its ways along the bed."""
    from analysis.surveys import load
    from analysis.twist import twist_of

    loaded = load(survey)
    result = twist_of(loaded.measuring, loaded.bed, front, rear)

    def draw(in_inches: bool) -> object:
        from analysis.figures import twist_figure

        return twist_figure(result, in_inches)

    give(result, lambda i: twist_words(result, i), draw, Shown(as_json, picture, inch), loaded.bed.is_inch)


def twist_words(result: "Twist", inch: bool) -> Sequence[str]:
    """The answer in words: how much, which way, how sure, and whether two ways of measuring agree."""
    from analysis.words import METHODS, agreement_words, columns, notes, roll_words

    lines = [roll_words(result, inch)]
    lines += _whole(result, inch)
    for name, roll in result.methods.items():
        if roll.known_up_to == "a line":
            lines.append(
                f"  The {METHODS[name]} tell the roll only up to a steady wind: each run has its own zero. "
                "A cross level, or `--same-zero-as`, tells the rest."
            )
        elif roll.known_up_to == "a constant":
            lines.append(f"  By {METHODS[name]}: changes of roll are known, its absolute value is not.")
    lines += agreement_words(result, inch)
    lines += columns(
        result.station_mm.tolist(),
        result.roll_um_per_m.tolist(),
        (2 * result.standard_uncertainty_um_per_m).tolist(),
        inch=inch,
        units=("µm/m", "thou/ft"),
        per_second_unit=1000 / 12,
        what="roll",
    )
    return [*lines, *notes(result.warnings)]


def _whole(result: "Twist", inch: bool) -> list[str]:
    from acquire.units import height_text, length_text, slope_text

    if result.twist_um_per_m is None:
        return []
    half = (result.twist_expanded_um_per_m or 0.0) / 2
    across = result.twist_um_per_m * result.gauge_mm / 1000
    lines = [
        f"  Largest difference of roll anywhere: {slope_text(result.twist_um_per_m, inch, half)}, "
        f"{height_text(across, inch, half * result.gauge_mm / 1000)} "
        f"across {length_text(result.gauge_mm, inch)}."
    ]
    if result.worst_over_carriage_um_per_m is not None:
        lines.append(
            f"  Worst over a carriage length: {slope_text(result.worst_over_carriage_um_per_m, inch, half)}."
        )
    return lines
