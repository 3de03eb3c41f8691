"""`waylog twist`: how twisted the bed is, front against rear."""

import click

from acquire.model.quantity import BY
from analysis.commands.options import Answer, Opened, answers, drawn, survey_argument


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
@answers
def command(survey: Opened, front: str | None, rear: str | None, by: str) -> Answer:
    """How twisted SURVEY's bed is: the roll of its ways along the bed."""
    from analysis.answers.twist import twist_of
    from analysis.words.twist import twist_words

    found = twist_of(survey.measuring, survey.bed, front, rear, by=by)
    return Answer(found, lambda inch: twist_words(found, inch), drawn("twist_figure", found))
