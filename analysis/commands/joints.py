"""`waylog joints`: how the pieces of a bed meet, and what would close the joints."""

from pathlib import Path

import click

from analysis.commands.options import Output, answer_options, give, survey_argument


@click.command("joints")
@survey_argument
@answer_options
def command(survey: Path, output: Output) -> None:
    """Step and kink at each joint that SURVEY's bed.toml declares (joints_mm), and what to move."""
    from analysis.answers.joints import joints
    from analysis.answers.surveys import load
    from analysis.words.joints import joints_words

    loaded = load(survey)
    result = joints(loaded.map())

    def draw(in_inches: bool) -> object:
        from analysis.draw.figures.joints import joints_figure

        return joints_figure(result, in_inches)

    give(result, lambda i: joints_words(result, i), draw, output, loaded.bed.is_inch)
