"""`waylog limits`: the owner's own limits against what was measured."""

from pathlib import Path

import click

from analysis.commands.options import Output, answer_options, give, survey_argument


@click.command("limits")
@survey_argument
@click.option(
    "--rule",
    type=click.Choice(["1.645u", "2u"]),
    default="1.645u",
    show_default=True,
    help="Guard at the limit, in standard uncertainties.",
)
@answer_options
def command(survey: Path, rule: str, output: Output) -> None:
    """Whether SURVEY meets the limits in its bed.toml: meets, does not meet, or cannot tell.

    No limits are built in; [limits] in bed.toml holds those of the owner.
    """
    from analysis.answers.limits import judge_limits
    from analysis.answers.surveys import load
    from analysis.words.limits import limits_words

    loaded = load(survey)
    result = judge_limits(loaded.map(), loaded.bed.limits, rule)

    def draw(in_inches: bool) -> object:
        from analysis.draw.figures.limits import limits_figure

        return limits_figure(result, in_inches)

    give(result, lambda i: limits_words(result, i), draw, output, loaded.bed.is_inch)
