"""`waylog kept`: the tests of a few readings that were kept with the survey, answered again."""

from pathlib import Path

import click

from analysis.commands.options import Output, figure_options, give, opened, survey_argument


@click.command("kept")
@survey_argument
@figure_options
def command(survey: Path, output: Output) -> None:
    """Every test that was kept with SURVEY (`--keep`), answered from the map as it is now."""
    from analysis.answers.typed_tests import answer_kept
    from analysis.words.typed_tests import kept_words

    loaded = opened(survey)
    found = answer_kept(loaded)
    give(found, lambda inch: kept_words(found, inch), None, output, loaded.bed.is_inch)
