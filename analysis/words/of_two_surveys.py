"""What was not alike between two surveys of one bed."""

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from analysis.words.of_readings import stood, traverses

if TYPE_CHECKING:
    from analysis.answers.common_state import (
        InstrumentDescribedOtherwise,
        OtherInstruments,
        StateNotWritten,
        StoodOtherwiseSince,
        WarmedSince,
    )
    from analysis.answers.history import PerhapsCutWhereUnworn, TakenAsBefore

WHETHER: Mapping[str, str] = {
    "stands_on": "what it stood on",
    "clamped": "whether it was clamped",
    "headstock_on": "whether the headstock was on",
    "carriage_on": "whether the carriage was on",
}


def _other_instruments(fact: "OtherInstruments") -> str:
    return (
        f"{fact.subject} was measured with {' and '.join(fact.before)} before and {' and '.join(fact.after)} "
        "after: an error of either stands in the change"
    )


def _described_otherwise(fact: "InstrumentDescribedOtherwise") -> str:
    changed = ", ".join(f"{key} {then} then, {now} now" for key, then, now in fact.changed)
    return f"{fact.instrument} is described otherwise before and after ({changed}): taken as two instruments"


def _stood_otherwise(fact: "StoodOtherwiseSince") -> str:
    return (
        f"the bed stood {_all(fact.key, fact.before)} before, {_all(fact.key, fact.after)} after: "
        "that alone can bend or twist it"
    )


def _all(key: str, values: Sequence[str | bool]) -> str:
    return " and ".join(sorted(stood(key, value) for value in values))


def _warmed(fact: "WarmedSince") -> str:
    by = "" if fact.bend_um is None else f" by about {fact.bend_um:.1f} µm over its length"
    return (
        f"the bed's top was {fact.before_k:+.1f} °C against its bottom before and {fact.after_k:+.1f} °C "
        f"after: that alone makes it more {'crowned' if fact.after_k > fact.before_k else 'hollow'}{by}"
    )


def _not_written(fact: "StateNotWritten") -> str:
    is_all = len(fact.keys) == len(WHETHER)
    what = "how the bed stood" if is_all else " and ".join(WHETHER[key] for key in fact.keys)
    return f"{what} was not written down {fact.when} ([state] in bed.toml)"


def _taken_as_before(fact: "TakenAsBefore") -> str:
    return (
        f"{traverses(fact.traverses)} of the present survey {'are' if len(fact.traverses) > 1 else 'is'} in "
        "the older one too: taken as before the work only"
    )


def _perhaps_cut_where_unworn(fact: "PerhapsCutWhereUnworn") -> str:
    stretches = " and ".join(f"from {start:g} to {end:g} mm" for start, end in fact.stretches_mm)
    return (
        f"metal came off {fact.face}, which bed.toml calls unworn {stretches}: what of that was cut, take "
        "out of the present bed.toml, or wear is counted from it"
    )


SENTENCES: Mapping[str, str | Callable[[Any], str]] = {
    "OtherInstruments": _other_instruments,
    "InstrumentDescribedOtherwise": _described_otherwise,
    "StoodOtherwiseSince": _stood_otherwise,
    "WarmedSince": _warmed,
    "StateNotWritten": _not_written,
    "TakenAsBefore": _taken_as_before,
    "PerhapsCutWhereUnworn": _perhaps_cut_where_unworn,
}
