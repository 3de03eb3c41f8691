"""`waylog kept`: the tests of a few readings that were kept with the survey, answered again."""

from typing import TYPE_CHECKING

import click

from analysis.commands.options import Answer, answers_without_picture, survey_argument

if TYPE_CHECKING:
    from analysis.answers.surveys import Survey


@click.command("kept")
@survey_argument
@answers_without_picture
def command(survey: "Survey") -> Answer:
    """Every test that was kept with SURVEY (`--keep`), answered from the map as it is now."""
    from analysis.answers.typed_tests import answer_kept
    from analysis.words.typed_tests import kept_words

    found = answer_kept(survey)
    return Answer(found, lambda inch: kept_words(found, inch))
