"""What was not alike between two surveys of one bed: how it stood, and what it was measured with."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from acquire.model.bed import Bed, Face, Instrument
from acquire.model.errors import AnalysisError
from acquire.model.places import MISSED_MM
from acquire.model.traverse import Traverse
from analysis.linear.fact import Fact
from analysis.observe.differences import LEAST_BEND_UM, bend_by_temperature_um, keys_of_other_face
from analysis.observe.states import IS_OR_IS_NOT, LEAST_DIFFERENCE_K, how_it_stood, warmer_by_k

ASKED = ("stands_on", *IS_OR_IS_NOT)
"""What the state of the bed says of how it stood."""


@dataclass(frozen=True)
class OtherInstruments(Fact):
    """Something was measured with other instruments before and after."""

    subject: str
    before: tuple[str, ...]
    after: tuple[str, ...]


@dataclass(frozen=True)
class InstrumentDescribedOtherwise(Fact):
    """An instrument whose description differs, so that it is taken as two."""

    instrument: str
    changed: tuple[tuple[str, object, object], ...]
    """Key, then, now."""


@dataclass(frozen=True)
class StoodOtherwiseSince(Fact):
    """The bed stood otherwise before than after."""

    key: str
    before: tuple[str | bool, ...]
    after: tuple[str | bool, ...]


@dataclass(frozen=True)
class WarmedSince(Fact):
    """Top less bottom of the bed, before and after, where it changed most."""

    before_k: float
    after_k: float
    bend_um: float | None
    """By how much that bends it over its length; None where its depth is not known."""


@dataclass(frozen=True)
class StateNotWritten(Fact):
    """What was not written down about how the bed stood."""

    keys: tuple[str, ...]
    when: str
    """before | after | before or after."""


def check_same_bed(before: Bed, after: Bed) -> None:
    """Refuse two surveys that cannot be of one bed.

    Raises
    ------
    AnalysisError
        Where the lengths differ or no face is described in both.
    """
    where = f"{before.name} and {after.name}"
    if abs(before.length_mm - after.length_mm) > MISSED_MM:
        raise AnalysisError(
            where,
            f"beds of {before.length_mm:g} and {after.length_mm:g} mm",
            "two surveys of one bed",
            "name the survey from before the work first, the present one second",
        )
    if not before.faces.keys() & after.faces.keys():
        raise AnalysisError(where, "no face is described in both", "two surveys of one bed with equal names")


def other_face(before: Face, after: Face) -> str:
    """What is described otherwise about a face, so that its heights are other heights; empty: nothing."""
    keys = keys_of_other_face(before, after)
    return f"described otherwise before and after ({', '.join(keys)})" if keys else ""


def is_same_instrument(before: Instrument, after: Instrument) -> bool:
    """Whether two descriptions are of one instrument, whatever cable it hangs on.

    Examples
    --------
    >>> level = Instrument("level", "slope", "um/m", base_mm=100)
    >>> is_same_instrument(level, replace(level, lag_s=0.1)), is_same_instrument(
    ...     level, replace(level, base_mm=200))
    (True, False)
    """
    bare = [replace(each, port=None, wire={}, lag_s=0.0, range=None) for each in (before, after)]
    return bare[0] == bare[1]


def instrument_differences(before: Sequence[Traverse], after: Sequence[Traverse]) -> tuple[Fact, ...]:
    """What was measured with other instruments before and after."""
    old, new = _instruments_by_subject(before), _instruments_by_subject(after)
    found: list[Fact] = [
        OtherInstruments(subject, tuple(old[subject]), tuple(new[subject]))
        for subject in old
        if subject in new and old[subject].keys() != new[subject].keys()
    ]
    found += [
        InstrumentDescribedOtherwise(then.name, _changed_keys(then, now))
        for then, now in redescribed(before, after)
    ]
    return tuple(found)


def redescribed(
    before: Sequence[Traverse], after: Sequence[Traverse]
) -> tuple[tuple[Instrument, Instrument], ...]:
    """Instruments of one name that are not one instrument, as described before and after.

    A level that lay both along and across is held against itself as it lay.
    """
    old, new = (
        {(t.instrument.name, t.instrument.quantity): t.instrument for t in each} for each in (before, after)
    )
    changed = [key for key in old if key in new and not is_same_instrument(old[key], new[key])]
    return tuple({key[0]: (old[key], new[key]) for key in changed}.values())


def _changed_keys(before: Instrument, after: Instrument) -> tuple[tuple[str, object, object], ...]:
    return tuple(
        (key, getattr(before, key), getattr(after, key))
        for key in vars(before)
        if key not in ("port", "wire", "lag_s", "range") and getattr(before, key) != getattr(after, key)
    )


def _instruments_by_subject(traverses: Sequence[Traverse]) -> dict[str, dict[str, None]]:
    found: dict[str, dict[str, None]] = {}
    for each in sorted(traverses, key=lambda t: t.setup.instrument):
        found.setdefault(each.setup.subject, {})[each.setup.instrument] = None
    return found


def state_differences(before: Sequence[Traverse], after: Sequence[Traverse], bed: Bed) -> tuple[Fact, ...]:
    """How the bed stood otherwise before than after."""
    found = [*(_stood_otherwise(before, after, key) for key in ASKED), _warmed(before, after, bed)]
    return tuple(each for each in found if each is not None)


def not_said(before: Sequence[Traverse], after: Sequence[Traverse]) -> tuple[Fact, ...]:
    """What was not written down about how the bed stood, so that nothing shows whether it stood alike."""
    old, new = (
        {key for key in ASKED if not any(t.setup.state.get(key) is not None for t in traverses)}
        for traverses in (before, after)
    )
    sides = (("before or after", old & new), ("before", old - new), ("after", new - old))
    return tuple(
        StateNotWritten(tuple(key for key in ASKED if key in missing), when)
        for when, missing in sides
        if missing
    )


def _stood_otherwise(before: Sequence[Traverse], after: Sequence[Traverse], key: str) -> Fact | None:
    old, new = (
        {value for t in each if (value := how_it_stood(t, key)) is not None} for each in (before, after)
    )
    if not old or not new or old == new:
        return None
    return StoodOtherwiseSince(key, tuple(old), tuple(new))


def _warmed(before: Sequence[Traverse], after: Sequence[Traverse], bed: Bed) -> Fact | None:
    old, new = ([k for t in each if (k := warmer_by_k(t)) is not None] for each in (before, after))
    if not old or not new:
        return None
    pairs = [(high - low, low, high) for low in old for high in new]
    change, then, now = max(pairs, key=lambda pair: abs(pair[0]))
    if bed.depth_mm is None:
        return None if abs(change) < LEAST_DIFFERENCE_K else WarmedSince(then, now, None)
    bend_um = abs(bend_by_temperature_um(change, bed.length_mm, bed.depth_mm))
    return None if bend_um < LEAST_BEND_UM else WarmedSince(then, now, bend_um)
