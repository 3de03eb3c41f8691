"""`waylog compare`: two maps of the same thing held against each other."""

from pathlib import Path

import click

from analysis.commands.options import Output, answer_options, give, survey_argument


@click.command("compare")
@survey_argument
@click.argument("a")
@click.argument("b")
@answer_options
def command(survey: Path, a: str, b: str, output: Output) -> None:
    """Hold A against B: each a traverse number of SURVEY, FACE:level, FACE:indicator or FACE:GUIDE.

    GUIDE is what guided the indicator: straightedge, straightedge:NAME, wire, line, carriage or a face.
    Only estimates of the same thing can be compared. An indicator carried on one way and reading
    another gives their difference, and is held against the difference of their level maps.
    """
    from analysis.answers.comparison import compare
    from analysis.answers.surveys import load
    from analysis.words.comparison import comparison_answer

    loaded = load(survey)
    result = compare(loaded.measuring, loaded.bed, a, b)

    def draw(in_inches: bool) -> object:
        from analysis.draw.figures import comparison_figure

        return comparison_figure(result, in_inches)

    give(result, lambda i: comparison_answer(result, i), draw, output, loaded.bed.is_inch)
