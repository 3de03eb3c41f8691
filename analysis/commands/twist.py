"""`waylog twist`: how twisted the bed is, front against rear."""

from pathlib import Path

import click

from acquire.model.quantity import BY
from analysis.commands.options import Output, answer_options, give, survey_argument


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
    from analysis.words.twist import twist_words

    loaded = load(survey)
    result = twist_of(loaded.measuring, loaded.bed, front, rear, by=by)

    def draw(in_inches: bool) -> object:
        from analysis.draw.figures import twist_figure

        return twist_figure(result, in_inches)

    give(result, lambda i: twist_words(result, i), draw, output, loaded.bed.is_inch)
