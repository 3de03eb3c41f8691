"""`waylog taper`: how two faces taper along the bed, measured across or from one to the other."""

from pathlib import Path

import click

from analysis.commands.options import Output, answer_options, give, survey_argument


@click.command("taper")
@survey_argument
@click.argument("faces", nargs=-1)
@answer_options
def command(survey: Path, faces: tuple[str, ...], output: Output) -> None:
    """How two FACES of SURVEY taper (all pairs measured across by default), and how evenly."""
    if len(faces) not in (0, 2):
        raise click.BadParameter(f"{len(faces)} faces; two or none are needed", param_hint="FACES")
    from analysis.answers.surveys import load
    from analysis.answers.taper import tapers
    from analysis.words.taper import tapers_words

    loaded = load(survey)
    result = tapers(loaded.map(), faces)

    def draw(in_inches: bool) -> object:
        from analysis.draw.figures.taper import taper_figure

        return taper_figure(result, in_inches)

    give(result, lambda i: tapers_words(result, i), draw, output, loaded.bed.is_inch)
