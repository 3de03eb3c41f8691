"""What was measured with what and when, and how the bed stood, in words for a table."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from acquire.model.bed import Instrument
from acquire.model.traverse import Traverse
from acquire.model.units import length_text, unit_text

SOURCES = {"record": "recorded", "enter": "typed", "import": "from a file"}
STATE_WORDS: Mapping[str, Any] = {
    "stands_on": "stands on {}",
    "clamped": ("clamped down", "free"),
    "headstock_on": ("headstock on", "headstock off"),
    "carriage_on": ("carriage on", "carriage off"),
    "temperature_top_degC": "top {:g} °C",
    "temperature_bottom_degC": "bottom {:g} °C",
    "asked_of": "said by {}",
    "asked_on": "on {}",
    "note": "{}",
}
TRAVERSE_HEADS = ("no.", "measured on", "with", "how", "stations", "when (UTC)")
INSTRUMENT_HEADS = ("instrument", "kind", "reads", "base", "uncertainty of one reading", "seating")


def traverse_rows(traverses: Sequence[Traverse]) -> list[tuple[str, ...]]:
    """One row a traverse."""
    return [
        (
            str(each.number),
            each.setup.subject,
            each.setup.instrument,
            how_words(each),
            str(len(each.stations)),
            when_words(each.setup.created_utc),
        )
        for each in traverses
    ]


def how_words(traverse: Traverse) -> str:
    """Direction, what carried the instrument, and all else that was particular."""
    setup = traverse.setup
    words = [
        setup.direction,
        traverse.mode,
        f"along {setup.reference}" if setup.reference else "",
        f"against {setup.other}" if setup.other else "",
        "turned end for end" if setup.turned else "",
        "straightedge turned over" if setup.turned_over else "",
        f"zero of {setup.same_zero_as}" if setup.same_zero_as is not None else "",
        SOURCES.get(setup.source, setup.source),
        "" if traverse.complete else "cut short",
    ]
    return ", ".join(each for each in words if each)


def when_words(created_utc: str) -> str:
    """Date and time to the minute; as it stands where it cannot be read.

    Examples
    --------
    >>> when_words("2025-01-02T13:45:10+00:00")
    '2025-01-02 13:45'
    """
    try:
        return datetime.fromisoformat(created_utc).strftime("%Y-%m-%d %H:%M")
    except ValueError:
        return created_utc


def instrument_rows(traverses: Sequence[Traverse], inch: bool) -> list[tuple[str, ...]]:
    """One row an instrument, as it was described when it was first used."""
    first: dict[str, Instrument] = {}
    for each in traverses:
        first.setdefault(each.setup.instrument, each.setup.bed.instruments[each.setup.instrument])
    return [
        (
            name,
            each.measures.read_with.called,
            _reads(each),
            length_text(each.base_mm, inch) if each.base_mm else "",
            _stated(each),
            f"{each.seating_um:g} µm" if each.seating_um is not None else "none stated",
        )
        for name, each in first.items()
    ]


def _reads(instrument: Instrument) -> str:
    unit = unit_text(instrument.unit)
    return unit if instrument.per_division is None else f"divisions of {instrument.per_division:g} {unit}"


def _stated(instrument: Instrument) -> str:
    if instrument.standard_uncertainty is None:
        return "none stated"
    unit = unit_text(instrument.contract_unit)
    return f"± {2 * instrument.uncertainty:.3g} {unit} (95 %)"


def state_lines(traverses: Sequence[Traverse]) -> list[str]:
    """How the bed stood; one line where it was the same throughout, else one a state."""
    states: dict[str, list[int]] = {}
    for each in traverses:
        states.setdefault(state_words(each.setup.state), []).append(each.number)
    if len(states) == 1:
        return [f"The bed: {next(iter(states))}."]
    return [
        "The bed did not stand the same throughout; readings compare only like with like.",
        *(f"Traverses {', '.join(map(str, numbers))}: {words}." for words, numbers in states.items()),
    ]


def state_words(state: Mapping[str, Any]) -> str:
    """A state of the bed in words.

    Examples
    --------
    >>> state_words({"stands_on": "feet", "clamped": False, "temperature_top_degC": 20.5})
    'stands on feet, free, top 20.5 °C'
    """
    words = [_state_word(key, state[key]) for key in STATE_WORDS if state.get(key) is not None]
    return ", ".join(words) or "its state was not written down"


def _state_word(key: str, value: Any) -> str:
    form = STATE_WORDS[key]
    if isinstance(form, tuple):
        return str(form[0] if value else form[1])
    return str(form.format(value))
