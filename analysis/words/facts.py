"""Every fact that stands beside a result, as a sentence without its full stop."""

from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING, Any

from analysis.linear.fact import Fact
from analysis.words import of_adjustment, of_answers, of_feet, of_readings, of_two_surveys, run_slips

if TYPE_CHECKING:
    from analysis.answers.feet_on_bed import MayBeWear


def sentence(fact: Fact) -> str:
    """One fact in words.

    Examples
    --------
    >>> from analysis.observe.differences import NoUncertaintyStated
    >>> sentence(NoUncertaintyStated("level"))
    'level: no uncertainty stated, so the maps look surer than they can be'
    """
    words = SENTENCES[type(fact).__name__]
    return words.format(**vars(fact)) if isinstance(words, str) else words(fact)


def sentences(found: Iterable[Fact]) -> list[str]:
    """Facts in words, each said once."""
    return list(dict.fromkeys(map(sentence, found)))


def _may_be_wear(fact: "MayBeWear") -> str:
    return f"wear might be jacked out: {'; '.join(map(sentence, fact.why))}"


SENTENCES: Mapping[str, str | Callable[[Any], str]] = {
    **of_readings.SENTENCES,
    **of_adjustment.SENTENCES,
    **of_answers.SENTENCES,
    **of_feet.SENTENCES,
    **of_two_surveys.SENTENCES,
    **run_slips.SENTENCES,
    "InSurvey": lambda fact: f"{fact.when}: {sentence(fact.what)}",
    "MayBeWear": _may_be_wear,
}
"""How each kind of fact is said, by its name: no answer is loaded to say another. A text is filled in by
the names of the fact's fields."""
