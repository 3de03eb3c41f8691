"""`waylog compare`: two maps of the same thing held against each other."""

import click

from analysis.commands.options import Answer, Opened, answers, drawn, survey_argument


@click.command("compare")
@survey_argument
@click.argument("a")
@click.argument("b")
@answers
def command(survey: Opened, a: str, b: str) -> Answer:
    """Hold A against B: each a traverse number of SURVEY, FACE:level, FACE:indicator or FACE:GUIDE.

    GUIDE is what guided the indicator: straightedge, straightedge:NAME, wire, line, carriage or a face.
    Only estimates of the same thing can be compared. An indicator carried on one way and reading
    another gives their difference, and is held against the difference of their level maps.
    """
    from analysis.answers.comparison import compare
    from analysis.words.comparison import comparison_answer

    found = compare(survey.measuring, survey.bed, a, b)
    return Answer(found, lambda inch: comparison_answer(found, inch), drawn("comparison_figure", found))
