"""`waylog next`: which further traverse would help most."""

from pathlib import Path

import click

from acquire.model.saying import say
from analysis.commands.options import opened, survey_argument


@click.command("next")
@survey_argument
@click.option("--for", "wanted", default="all", help="What matters: all, twist, or a face.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def command(survey: Path, wanted: str, as_json: bool) -> None:
    """Which further traverse of SURVEY would help most, and by how much."""
    from analysis.answers.next_traverse import next_traverse
    from analysis.commands.json_form import as_json as json_of
    from analysis.words.next_traverse import next_words

    loaded = opened(survey)
    result = next_traverse(loaded.map(), wanted)
    if as_json:
        click.echo(json_of(result))
    else:
        say("\n".join(next_words(result, str(survey), loaded.bed.is_inch)))
