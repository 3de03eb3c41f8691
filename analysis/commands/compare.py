"""`waylog compare`: two maps of the same thing held against each other."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from analysis.commands.options import Output, answer_options, give, survey_argument

if TYPE_CHECKING:
    from analysis.answers.comparison import Comparison


@click.command("compare")
@survey_argument
@click.argument("a")
@click.argument("b")
@answer_options
def command(survey: Path, a: str, b: str, output: Output) -> None:
    """Hold A against B: each a traverse number of SURVEY, FACE:level, FACE:indicator or FACE:GUIDE.

    GUIDE is what guided the indicator: straightedge, straightedge:NAME, wire, line, carriage or a face.
    Only estimates of the same thing can be compared. An indicator carried on one way and reading
    another gives their difference, and is held against the difference of their level maps.
    """
    from analysis.answers.comparison import compare
    from analysis.answers.surveys import load

    loaded = load(survey)
    result = compare(loaded.measuring, loaded.bed, a, b)

    def draw(in_inches: bool) -> object:
        from analysis.draw.figures import comparison_figure

        return comparison_figure(result, in_inches)

    give(result, lambda i: words(result, i), draw, output, loaded.bed.is_inch)


def words(result: "Comparison", inch: bool) -> Sequence[str]:
    """The verdict, then the differences station by station."""
    from acquire.model.units import length_text
    from analysis.words.assumptions import taken_words, unstated_words
    from analysis.words.comparison import comparison_words
    from analysis.words.tables import columns, notes

    lines = comparison_words(result, inch)
    if result.smoothed_over_mm is not None:
        lines.append(
            f"  Both were passed through a base of {length_text(result.smoothed_over_mm, inch)}: "
            "one of them sees nothing finer."
        )
    lines += taken_words(result.assumptions)
    lines += columns(
        result.station_mm.tolist(),
        result.difference_um.tolist(),
        result.expanded_uncertainty_um.tolist(),
        inch=inch,
        what="difference",
    )
    return [*lines, *notes(result.warnings), *unstated_words(result.assumptions)]
