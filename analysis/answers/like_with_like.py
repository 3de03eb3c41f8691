"""What was not alike between two surveys of one bed: how it stood, and what it was measured with."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from acquire.model.bed import Bed, Face, Instrument
from acquire.model.errors import AnalysisError
from acquire.model.traverse import Traverse
from analysis.observe.differences import bend_by_temperature_um
from analysis.observe.states import LEAST_DIFFERENCE_K, STOOD

LENGTH_MM = 1.0
"""Lengths of one bed written down twice agree within this."""
LEAST_BEND_UM = 0.5
FACE_KEYS = ("normal", "shape", "form", "flank_angles_deg", "across_mm")
ASKED: Mapping[str, str] = {
    "stands_on": "what it stood on",
    "clamped": "whether it was clamped",
    "headstock_on": "whether the headstock was on",
    "carriage_on": "whether the carriage was on",
}


def check_same_bed(before: Bed, after: Bed) -> None:
    """Refuse two surveys that cannot be of one bed.

    Raises
    ------
    AnalysisError
        Where the lengths differ or no face is described in both.
    """
    where = f"{before.name} and {after.name}"
    if abs(before.length_mm - after.length_mm) > LENGTH_MM:
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
    keys = [key for key in FACE_KEYS if getattr(before, key) != getattr(after, key)]
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


def instrument_differences(before: Sequence[Traverse], after: Sequence[Traverse]) -> tuple[str, ...]:
    """What was measured with other instruments before and after, in words."""
    old, new = _instruments_by_subject(before), _instruments_by_subject(after)
    words = [
        f"{subject} was measured with {' and '.join(old[subject])} before and "
        f"{' and '.join(new[subject])} after: an error of either stands in the change"
        for subject in old
        if subject in new and old[subject].keys() != new[subject].keys()
    ]
    first = {t.setup.instrument: t.instrument for t in before}
    second = {t.setup.instrument: t.instrument for t in after}
    words += [
        f"{name} is described otherwise before and after ({_changed_keys(first[name], second[name])}): "
        "taken as two instruments"
        for name in first
        if name in second and not is_same_instrument(first[name], second[name])
    ]
    return tuple(words)


def _changed_keys(before: Instrument, after: Instrument) -> str:
    keys = [
        key
        for key in vars(before)
        if key not in ("port", "wire", "lag_s", "range") and getattr(before, key) != getattr(after, key)
    ]
    return ", ".join(f"{key} {getattr(before, key)} then, {getattr(after, key)} now" for key in keys)


def _instruments_by_subject(traverses: Sequence[Traverse]) -> dict[str, dict[str, None]]:
    found: dict[str, dict[str, None]] = {}
    for each in sorted(traverses, key=lambda t: t.setup.instrument):
        found.setdefault(each.setup.subject, {})[each.setup.instrument] = None
    return found


def state_differences(before: Sequence[Traverse], after: Sequence[Traverse], bed: Bed) -> tuple[str, ...]:
    """How the bed stood otherwise before than after, in words."""
    words = [
        _stood_otherwise(before, after, lambda state: state.get("stands_on") and f"on {state['stands_on']}"),
        *(
            _stood_otherwise(before, after, lambda state, key=key: _in_words(state, key))  # type: ignore[misc]
            for key in STOOD
        ),
        _warmed(before, after, bed),
    ]
    return tuple(each for each in words if each)


def not_said(before: Sequence[Traverse], after: Sequence[Traverse]) -> tuple[str, ...]:
    """What was not written down about how the bed stood, so that nothing shows whether it stood alike."""
    old, new = (
        {key for key in ASKED if not any(t.setup.state.get(key) is not None for t in traverses)}
        for traverses in (before, after)
    )
    sides = (("before or after", old & new), ("before", old - new), ("after", new - old))
    return tuple(_not_written(when, missing) for when, missing in sides if missing)


def _not_written(when: str, missing: set[str]) -> str:
    told = [what for key, what in ASKED.items() if key in missing]
    what = "how the bed stood" if len(told) == len(ASKED) else " and ".join(told)
    return f"{what} was not written down {when} ([state] in bed.toml)"


def _in_words(state: Mapping[str, Any], key: str) -> str | None:
    return STOOD[key][0 if state[key] else 1] if state.get(key) is not None else None


def _stood_otherwise(
    before: Sequence[Traverse], after: Sequence[Traverse], told: Callable[[Mapping[str, Any]], str | None]
) -> str:
    old, new = ({words for t in each if (words := told(t.setup.state))} for each in (before, after))
    if not old or not new or old == new:
        return ""
    return (
        f"the bed stood {' and '.join(sorted(old))} before, {' and '.join(sorted(new))} after: "
        "that alone can bend or twist it"
    )


def _warmed(before: Sequence[Traverse], after: Sequence[Traverse], bed: Bed) -> str:
    old, new = _warmer(before), _warmer(after)
    if not old or not new:
        return ""
    pairs = [(high - low, low, high) for low in old for high in new]
    change, then, now = max(pairs, key=lambda pair: abs(pair[0]))
    if bed.depth_mm is None:
        bend_um, is_little = None, abs(change) < LEAST_DIFFERENCE_K
    else:
        bend_um = abs(bend_by_temperature_um(change, bed.length_mm, bed.depth_mm))
        is_little = bend_um < LEAST_BEND_UM
    if is_little:
        return ""
    by = "" if bend_um is None else f" by about {bend_um:.1f} µm over its length"
    return (
        f"the bed's top was {then:+.1f} °C against its bottom before and {now:+.1f} °C after: that alone "
        f"makes it more {'crowned' if change > 0 else 'hollow'}{by}"
    )


def _warmer(traverses: Sequence[Traverse]) -> list[float]:
    keys = ("temperature_top_degC", "temperature_bottom_degC")
    states = [each.setup.state for each in traverses]
    return [
        float(s[keys[0]]) - float(s[keys[1]]) for s in states if all(s.get(key) is not None for key in keys)
    ]
