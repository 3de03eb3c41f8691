"""`waylog ripples`: steps and ripples that neither noise nor a declared joint explains."""

from pathlib import Path

import click

from analysis.commands.options import Output, answer_options, give, survey_argument


@click.command("ripples")
@survey_argument
@click.argument("faces", nargs=-1)
@answer_options
def command(survey: Path, faces: tuple[str, ...], output: Output) -> None:
    """Steps and ripples on FACES of SURVEY (all by default) that noise does not explain."""
    from analysis.answers.ripples import ripples
    from analysis.answers.surveys import load
    from analysis.words.ripples import ripples_words

    loaded = load(survey)
    result = ripples(loaded.map(), faces)

    def draw(in_inches: bool) -> object:
        from analysis.draw.figures.joints import ripples_figure

        return ripples_figure(result, in_inches)

    give(result, lambda i: ripples_words(result, i), draw, output, loaded.bed.is_inch)
