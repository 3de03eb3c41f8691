"""`waylog joints`: how the pieces of a bed meet, and what would close the joints."""

import click

from analysis.commands.options import Answer, Opened, answers, drawn, survey_argument


@click.command("joints")
@survey_argument
@answers
def command(survey: Opened) -> Answer:
    """Step and kink at each joint that SURVEY's bed.toml declares (joints_mm), and what to move."""
    from analysis.answers.joints import joints
    from analysis.words.joints import joints_words

    found = joints(survey.map())
    return Answer(found, lambda inch: joints_words(found, inch), drawn("joints_figure", found))
