"""What to mind about readings: how they were taken, what is not stated of them, what they cannot see."""

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analysis.level.blindness import ShapeNotSeen
    from analysis.observe.differences import (
        BentByHeat,
        FacesChanged,
        InstrumentChanged,
    )
    from analysis.observe.lateness import ReadLate
    from analysis.observe.states import StoodOtherwise

STOOD: Mapping[str, tuple[str, str]] = {
    "clamped": ("clamped down", "not clamped"),
    "headstock_on": ("with the headstock on", "with the headstock off"),
    "carriage_on": ("with the carriage on", "with the carriage off"),
}
"""How the bed stood, where it is true and where it is not."""


def stood(key: str, value: str | bool) -> str:
    """How the bed stood, in words.

    Examples
    --------
    >>> stood("stands_on", "jacks"), stood("clamped", False)
    ('on jacks', 'not clamped')
    """
    return f"on {value}" if key == "stands_on" else STOOD[key][0 if value else 1]


def _faces_changed(fact: "FacesChanged") -> str:
    return (
        f"traverse {fact.traverse}: {', '.join(fact.faces)} described otherwise now than when it was "
        "recorded; the present bed.toml is used, the gauge width as it stood"
    )


def _instrument_changed(fact: "InstrumentChanged") -> str:
    return (
        f"traverse {fact.traverse}: {fact.instrument} described otherwise now ({', '.join(fact.keys)}); what "
        "was true when it was recorded is used"
    )


def _bent_by_heat(fact: "BentByHeat") -> str:
    warmer = (
        f"traverse {fact.traverse}: the bed's top was {abs(fact.difference_k):.1f} °C "
        f"{'warmer' if fact.difference_k > 0 else 'colder'} than its bottom"
    )
    sense = "crowned" if fact.difference_k > 0 else "hollow"
    if fact.bend_um is None:
        return f"{warmer}; that alone bends it {sense}, and depth_mm in bed.toml would tell by how much"
    return f"{warmer}; that alone bends its whole length {sense} by about {abs(fact.bend_um):.1f} µm"


def _stood_otherwise(fact: "StoodOtherwise") -> str:
    parts = [f"{stood(fact.key, value)} for {traverses(which)}" for value, which in fact.stood]
    return f"the bed stood {', '.join(parts)}: that alone can bend or twist it"


def traverses(numbers: Sequence[int]) -> str:
    """Numbers of traverses as people say them.

    Examples
    --------
    >>> traverses([3]), traverses([3, 4])
    ('traverse 3', 'traverses 3, 4')
    """
    return f"traverse{'s' if len(numbers) > 1 else ''} {', '.join(map(str, numbers))}"


def _read_late(fact: "ReadLate") -> str:
    return (
        f"readings of {fact.instrument} {'lag' if fact.lag_s > 0 else 'lead'} the position by "
        f"{abs(fact.lag_s):.2f} ± {max(fact.expanded_s, 0.01):.2f} s; taken into account"
    )


def _shape_not_seen(fact: "ShapeNotSeen") -> str:
    bases = " and ".join(f"{base:g}" for base in fact.bases_mm)
    ripples = ", ".join(f"{round(wave, 1):g}" for wave in fact.ripples_mm)
    return (
        f"Feet {bases} mm apart on {fact.covered_mm:.0f} mm of way cannot see ripples {ripples} mm long: "
        "the shape between stations one base apart is an assumption, and its band is no 95 % band. "
        "Run it again with a second base, or add an indicator or straightedge."
    )


SENTENCES: Mapping[str, str | Callable[[Any], str]] = {
    "FacesChanged": _faces_changed,
    "InstrumentChanged": _instrument_changed,
    "EdgeChanged": lambda fact: (
        f"traverse {fact.traverse}: straightedge {fact.straightedge} described otherwise now "
        f"({', '.join(fact.keys)}) than when it was recorded; the present bed.toml is used: where the edge "
        "was moved, give it a name of its own for each place"
    ),
    "NoUncertaintyStated": "{instrument}: no uncertainty stated, so the maps look surer than they can be",
    "WholeFootprint": (
        "{instrument}: lies on its whole length and is taken as standing on two feet "
        "{base_mm:g} mm apart; the shape is only as good as that"
    ),
    "BentByHeat": _bent_by_heat,
    "StoodOtherwise": _stood_otherwise,
    "WarmedBetween": (
        "the bed's top was {most_k:+.1f} °C against its bottom in traverse {most} and "
        "{least_k:+.1f} °C in traverse {least}: a bed bends with that, and the ± counts it; let "
        "it come to one temperature"
    ),
    "ReadLate": _read_late,
    "NoisierThanClaimed": (
        "traverse {traverse}: averages of the readings are {factor:.1f} times as uncertain as "
        "{instrument} claims; the uncertainty of the map is enlarged by that"
    ),
    "SagLeftOut": (
        "straightedge {straightedge}: its own sag is left out; supports_mm, depth_mm and material in "
        "bed.toml would put it in"
    ),
    "CurveNotSeen": lambda fact: f"{fact.face}: {_shape_not_seen(fact.why)}",
}
