"""`waylog taper`: how two faces taper along the bed, measured across or from one to the other."""

import click

from analysis.commands.options import Answer, Opened, answers, drawn, survey_argument


@click.command("taper")
@survey_argument
@click.argument("faces", nargs=-1)
@answers
def command(survey: Opened, faces: tuple[str, ...]) -> Answer:
    """How two FACES of SURVEY taper (all pairs measured across by default), and how evenly."""
    if len(faces) not in (0, 2):
        raise click.BadParameter(f"{len(faces)} faces; two or none are needed", param_hint="FACES")
    from analysis.answers.taper import tapers
    from analysis.words.taper import tapers_words

    found = tapers(survey.map(), faces)
    return Answer(found, lambda inch: tapers_words(found, inch), drawn("taper_figure", found))
