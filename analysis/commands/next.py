"""`waylog next`: which further traverse would help most."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from acquire.model.inch_words import in_owners_unit
from analysis.commands.options import survey_argument

if TYPE_CHECKING:
    from analysis.answers.next_traverse import NextTraverse

MOST = 6


@click.command("next")
@survey_argument
@click.option("--for", "wanted", default="all", help="What matters: all, twist, or a face.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def command(survey: Path, wanted: str, as_json: bool) -> None:
    """Which further traverse of SURVEY would help most, and by how much."""
    from analysis.answers.next_traverse import next_traverse
    from analysis.answers.surveys import load
    from analysis.commands.json_form import as_json as json_of

    loaded = load(survey)
    result = next_traverse(loaded.map(), wanted)
    click.echo(json_of(result) if as_json else "\n".join(words(result, str(survey), loaded.bed.is_inch)))


def words(result: "NextTraverse", survey: str, inch: bool = False) -> Sequence[str]:
    """The best first, with what to type."""
    from analysis.answers.next_traverse import varied
    from analysis.words.assumptions import taken_words, unstated_words
    from analysis.words.facts import sentence, sentences

    said = (*taken_words(result.assumptions), *unstated_words(result.assumptions))
    taken = [in_owners_unit(each, inch) for each in said]
    if result.slips:
        return [*(f"{words.replace('SURVEY', survey)}." for words in sentences(result.slips)), *taken]
    if not result.advice:
        return ["No further traverse with these instruments would narrow anything by a tenth.", *taken]
    lines = ["What would help most, best first:"]
    for place, advice in enumerate(varied(result.advice)[:MOST], 1):
        lines += [
            f"{place}. {in_owners_unit(sentence(advice.words), inch)}",
            f"   {advice.command.replace('SURVEY', survey)}",
        ]
    return [*lines, *taken]
