"""`waylog twist`: how twisted the bed is, front against rear."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from acquire.model.quantity import BY
from analysis.commands.options import Output, answer_options, give, survey_argument

if TYPE_CHECKING:
    from analysis.answers.twist import Twist


@click.command("twist")
@survey_argument
@click.option("--front", help="The front way (default: the one the carriage rides at its front).")
@click.option("--rear", help="The rear way.")
@click.option(
    "--by",
    type=click.Choice(BY),
    default="all",
    show_default=True,
    help="Which readings it is from.",
)
@answer_options
def command(
    survey: Path,
    front: str | None,
    rear: str | None,
    by: str,
    output: Output,
) -> None:
    """How twisted SURVEY's bed is: the roll of its ways along the bed."""
    from analysis.answers.surveys import load
    from analysis.answers.twist import twist_of

    loaded = load(survey)
    result = twist_of(loaded.measuring, loaded.bed, front, rear, by=by)

    def draw(in_inches: bool) -> object:
        from analysis.draw.figures import twist_figure

        return twist_figure(result, in_inches)

    give(result, lambda i: twist_words(result, i), draw, output, loaded.bed.is_inch)


def twist_words(result: "Twist", inch: bool) -> Sequence[str]:
    """The answer in words: how much, which way, how sure, and whether two ways of measuring agree."""
    from analysis.words.assumptions import taken_words, unstated_words
    from analysis.words.feet import bed_or_wear_words
    from analysis.words.tables import columns, notes
    from analysis.words.twist import (
        BY_WORDS,
        agreement_words,
        known_up_to_words,
        roll_words,
        whole_twist_words,
    )

    numbers = ", ".join(str(number) for number in result.traverses)
    lines = [roll_words(result, inch)]
    lines += [f"  From traverse{'s' if len(result.traverses) > 1 else ''} {numbers}, {BY_WORDS[result.by]}."]
    lines += [*whole_twist_words(result, inch), *known_up_to_words(result)]
    lines += [*bed_or_wear_words(result, inch), *agreement_words(result, inch)]
    lines += taken_words(result.assumptions)
    lines += columns(
        result.station_mm.tolist(),
        result.roll_um_per_m.tolist(),
        (2 * result.standard_uncertainty_um_per_m).tolist(),
        inch=inch,
        units=("µm/m", "thou/ft"),
        per_second_unit=1000 / 12,
        what="roll",
    )
    return [*lines, *notes(result.warnings), *unstated_words(result.assumptions)]
