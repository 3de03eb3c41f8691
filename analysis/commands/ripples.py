"""`waylog ripples`: steps and ripples that neither noise nor a declared joint explains."""

import click

from analysis.commands.options import Answer, Opened, answers, drawn, survey_argument


@click.command("ripples")
@survey_argument
@click.argument("faces", nargs=-1)
@answers
def command(survey: Opened, faces: tuple[str, ...]) -> Answer:
    """Steps and ripples on FACES of SURVEY (all by default) that noise does not explain."""
    from analysis.answers.ripples import ripples
    from analysis.words.ripples import ripples_words

    found = ripples(survey.map(), faces)
    return Answer(found, lambda inch: ripples_words(found, inch), drawn("ripples_figure", found))
