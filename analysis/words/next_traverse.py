"""Which further traverse would help most, and by how much, in words."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from acquire.model.inch_words import in_owners_unit
from analysis.answers.next_traverse import varied
from analysis.words.assumptions import taken_words, unstated_words
from analysis.words.facts import sentence, sentences

if TYPE_CHECKING:
    from analysis.answers.next_traverse import NextTraverse

MOST = 6


def next_words(result: "NextTraverse", survey: str, inch: bool = False) -> Sequence[str]:
    """The best first, with what to type."""
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
