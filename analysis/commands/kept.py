"""`waylog kept`: the tests of a few readings that were kept with the survey, answered again."""

import click

from analysis.commands.options import Answer, Opened, answers_without_picture, survey_argument


@click.command("kept")
@survey_argument
@answers_without_picture
def command(survey: Opened) -> Answer:
    """Every test that was kept with SURVEY (`--keep`), answered from the map as it is now."""
    from analysis.answers.typed_tests import answer_kept
    from analysis.words.typed_tests import kept_words

    found = answer_kept(survey)
    return Answer(found, lambda inch: kept_words(found, inch))
