"""Whether the bed stood alike while its traverses were taken: only like can be held against like."""

from collections.abc import Mapping, Sequence
from typing import Any

from acquire.model.traverse import Traverse

STOOD: Mapping[str, tuple[str, str]] = {
    "clamped": ("clamped down", "not clamped"),
    "headstock_on": ("with the headstock on", "with the headstock off"),
    "carriage_on": ("with the carriage on", "with the carriage off"),
}
"""What a state says in words where it is true and where it is not."""
LEAST_DIFFERENCE_K = 0.5
"""Change of the difference between top and bottom that is worth a word where the depth is not known."""


def state_warnings(traverses: Sequence[Traverse]) -> tuple[str, ...]:
    """What has changed about the bed between traverses; what was not said is passed over.

    Parameters
    ----------
    traverses : sequence of Traverse
        Those that are taken together or held against each other.

    Returns
    -------
    tuple of str
        Nothing where all that was said is alike.
    """
    found = [
        _changed(traverses, lambda state: state.get("stands_on") and f"on {state['stands_on']}"),
        *(_changed(traverses, lambda state, key=key: _in_words(state, key)) for key in STOOD),
        _warmed(traverses),
    ]
    return tuple(words for words in found if words)


def _in_words(state: Mapping[str, Any], key: str) -> str | None:
    return STOOD[key][0 if state[key] else 1] if key in state else None


def _changed(traverses: Sequence[Traverse], told: Any) -> str:
    numbers: dict[str, list[int]] = {}
    for each in traverses:
        words = told(each.setup.state)
        if words:
            numbers.setdefault(words, []).append(each.number)
    if len(numbers) < 2:
        return ""
    parts = [f"{words} for {_named(which)}" for words, which in numbers.items()]
    return f"the bed stood {', '.join(parts)}: that alone can bend or twist it"


def _warmed(traverses: Sequence[Traverse]) -> str:
    warmer = {
        each.number: float(state["temperature_top_degC"]) - float(state["temperature_bottom_degC"])
        for each in traverses
        if {"temperature_top_degC", "temperature_bottom_degC"} <= (state := each.setup.state).keys()
    }
    if not warmer:
        return ""
    least, most = min(warmer, key=lambda n: warmer[n]), max(warmer, key=lambda n: warmer[n])
    if warmer[most] - warmer[least] < LEAST_DIFFERENCE_K:
        return ""
    return (
        f"the bed's top was {warmer[most]:+.1f} °C against its bottom in traverse {most} and "
        f"{warmer[least]:+.1f} °C in traverse {least}: a bed bends with that; let it come to one temperature"
    )


def _named(numbers: Sequence[int]) -> str:
    return f"{'traverses' if len(numbers) > 1 else 'traverse'} {', '.join(map(str, numbers))}"
