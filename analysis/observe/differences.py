"""What to mind about one traverse's description: what is not stated, and what has changed since."""

import math
from dataclasses import dataclass

from acquire.model.bed import Bed, Face
from acquire.model.traverse import Traverse
from analysis.linear.fact import Fact
from analysis.observe.states import LEAST_DIFFERENCE_K, warmer_by_k

HOGGING_PER_K = 11.5e-6
"""Thermal expansion of cast iron and steel, 1/K (textbook value)."""
LEAST_BEND_UM = 0.5
"""Worth a word where the depth of the bed, and so the bend, is not known."""
FACE_KEYS = ("normal", "shape", "form", "flank_angles_deg", "across_mm")
INSTRUMENT_KEYS = (
    "quantity", "unit", "per_division", "base_mm", "gravity", "sign", "standard_uncertainty", "seating_um",
    "scale_uncertainty", "base_uncertainty_mm", "carrier_feet_mm", "overhang_along_mm",
    "overhang_across_mm", "arm_height_mm",
)  # fmt: skip
"""What of an instrument's description changes what its readings mean."""
EDGE_KEYS = ("start_mm", "length_mm", "supports_mm", "depth_mm", "material")


@dataclass(frozen=True)
class FacesChanged(Fact):
    """Faces are described otherwise now than when the traverse was recorded."""

    traverse: int
    faces: tuple[str, ...]


@dataclass(frozen=True)
class InstrumentChanged(Fact):
    """So is its instrument, in what its readings mean."""

    traverse: int
    instrument: str
    keys: tuple[str, ...]


@dataclass(frozen=True)
class EdgeChanged(Fact):
    """So is the straightedge that it was read along or touched: perhaps it was moved in between."""

    traverse: int
    straightedge: str
    keys: tuple[str, ...]


@dataclass(frozen=True)
class NoUncertaintyStated(Fact):
    """Neither an uncertainty nor a resolution is stated."""

    instrument: str


@dataclass(frozen=True)
class WholeFootprint(Fact):
    """A level that lies on its whole length."""

    instrument: str
    base_mm: float


@dataclass(frozen=True)
class BentByHeat(Fact):
    """Top and bottom of the bed were not equally warm."""

    traverse: int
    difference_k: float
    """Top less bottom."""
    bend_um: float | None
    """By how much the bed hogs with that; None where its depth is not known."""


def description_warnings(traverse: Traverse, bed: Bed) -> tuple[Fact, ...]:
    """Everything about a traverse's description that a person should know."""
    found = [
        _changed_faces(traverse, bed),
        _changed_instrument(traverse, bed),
        _changed_edge(traverse, bed),
        _no_uncertainty(traverse),
        _whole_footprint(traverse),
        _bent_by_heat(traverse, bed),
    ]
    return tuple(each for each in found if each is not None)


def bend_by_temperature_um(difference_k: float, length_mm: float, depth_mm: float) -> float:
    """How far a bed hogs whose top is warmer than its bottom: α·ΔT·L²/(8·depth).

    Examples
    --------
    >>> round(bend_by_temperature_um(1.0, 1000.0, 300.0), 2)
    4.79
    """
    return HOGGING_PER_K * difference_k * length_mm**2 / (8 * depth_mm) * 1000


def keys_of_other_face(then: Face, now: Face) -> list[str]:
    """What is described otherwise about a face, so that its heights are other heights."""
    return [key for key in FACE_KEYS if getattr(then, key) != getattr(now, key)]


def _changed_faces(traverse: Traverse, bed: Bed) -> Fact | None:
    then = traverse.setup.bed
    changed = tuple(
        name
        for name in then.faces
        if name in bed.faces and keys_of_other_face(then.faces[name], bed.faces[name])
    )
    return FacesChanged(traverse.number, changed) if changed else None


def _changed_instrument(traverse: Traverse, bed: Bed) -> Fact | None:
    then, now = traverse.instrument, bed.instruments.get(traverse.instrument.name)
    now = None if now is None else now.as_laid(traverse.setup.quantity)
    changed = [key for key in INSTRUMENT_KEYS if now is not None and getattr(then, key) != getattr(now, key)]
    return InstrumentChanged(traverse.number, then.name, tuple(changed)) if changed else None


def straightedge_of(traverse: Traverse) -> str | None:
    """The straightedge that a traverse was read along or touched."""
    sides = (traverse.setup.touched, traverse.setup.carried_by)
    return next((side.name for side in sides if side is not None and side.kind == "straightedge"), None)


def _changed_edge(traverse: Traverse, bed: Bed) -> Fact | None:
    """What is stated for the first time, or not any more, changes nothing that was said."""
    name = straightedge_of(traverse) or ""
    then, now = traverse.setup.bed.straightedges.get(name), bed.straightedges.get(name)
    if then is None or now is None:
        return None
    both = {key: (getattr(then, key), getattr(now, key)) for key in EDGE_KEYS}
    changed = tuple(key for key, (was, is_now) in both.items() if None not in (was, is_now) and was != is_now)
    return EdgeChanged(traverse.number, name, changed) if changed else None


def _no_uncertainty(traverse: Traverse) -> Fact | None:
    instrument = traverse.instrument
    is_stated = instrument.standard_uncertainty or instrument.resolution
    return None if is_stated else NoUncertaintyStated(instrument.name)


def _whole_footprint(traverse: Traverse) -> Fact | None:
    instrument = traverse.instrument
    is_whole = instrument.footprint == "full"
    return WholeFootprint(instrument.name, instrument.base_mm or 0.0) if is_whole else None


def _bent_by_heat(traverse: Traverse, bed: Bed) -> Fact | None:
    difference_k = warmer_by_k(traverse)
    if difference_k is None:
        return None
    if bed.depth_mm is None:
        is_little = abs(difference_k) < LEAST_DIFFERENCE_K
        return None if is_little else BentByHeat(traverse.number, difference_k, None)
    bend_um = bend_by_temperature_um(difference_k, bed.length_mm, bed.depth_mm)
    if not math.isfinite(bend_um) or abs(bend_um) < LEAST_BEND_UM:
        return None
    return BentByHeat(traverse.number, difference_k, bend_um)
