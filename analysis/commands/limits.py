"""`waylog limits`: the owner's own limits against what was measured."""

import click

from analysis.commands.options import Answer, Opened, answers, drawn, survey_argument


@click.command("limits")
@survey_argument
@click.option(
    "--rule",
    type=click.Choice(["1.645u", "2u"]),
    default="1.645u",
    show_default=True,
    help="Guard at the limit, in standard uncertainties.",
)
@answers
def command(survey: Opened, rule: str) -> Answer:
    """Whether SURVEY meets the limits in its bed.toml: meets, does not meet, or cannot tell.

    No limits are built in; [limits] in bed.toml holds those of the owner.
    """
    from analysis.answers.limits import judge_limits
    from analysis.words.limits import limits_words

    found = judge_limits(survey.map(), survey.bed.limits, rule)
    return Answer(found, lambda inch: limits_words(found, inch), drawn("limits_figure", found))
