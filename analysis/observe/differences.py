"""Warnings about one traverse's description: what is not stated, and what has changed since."""

import math

from acquire.model.bed import Bed
from acquire.model.traverse import Traverse

HOGGING_PER_K = 11.5e-6
"""Thermal expansion of cast iron and steel, 1/K (textbook value)."""
LEAST_BEND_UM = 0.5
LEAST_DIFFERENCE_K = 0.5
"""Worth a word where the depth of the bed, and so the bend, is not known."""
INSTRUMENT_KEYS = (
    "quantity", "unit", "per_division", "base_mm", "gravity", "sign", "standard_uncertainty", "seating_um",
    "scale_uncertainty", "base_uncertainty_mm", "carrier_feet_mm", "overhang_along_mm",
    "overhang_across_mm", "arm_height_mm",
)  # fmt: skip
"""What of an instrument's description changes what its readings mean."""


def description_warnings(traverse: Traverse, bed: Bed) -> tuple[str, ...]:
    """Everything about a traverse's description that a person should know."""
    found = [
        _changed_faces(traverse, bed),
        _changed_instrument(traverse, bed),
        _no_uncertainty(traverse),
        _whole_footprint(traverse),
        _bent_by_heat(traverse, bed),
    ]
    return tuple(words for words in found if words)


def bend_by_temperature_um(difference_k: float, length_mm: float, depth_mm: float) -> float:
    """How far a bed hogs whose top is warmer than its bottom: α·ΔT·L²/(8·depth).

    Examples
    --------
    >>> round(bend_by_temperature_um(1.0, 1000.0, 300.0), 2)
    4.79
    """
    return HOGGING_PER_K * difference_k * length_mm**2 / (8 * depth_mm) * 1000


def _changed_faces(traverse: Traverse, bed: Bed) -> str:
    then = traverse.setup.bed
    changed = [
        name
        for name in then.faces
        if name in bed.faces
        and any(
            getattr(then.faces[name], key) != getattr(bed.faces[name], key)
            for key in ("normal", "shape", "form", "flank_angles_deg", "across_mm")
        )
    ]
    if not changed:
        return ""
    return (
        f"traverse {traverse.number}: {', '.join(changed)} described otherwise now than when it was "
        "recorded; the present bed.toml is used, the gauge width as it stood"
    )


def _changed_instrument(traverse: Traverse, bed: Bed) -> str:
    then, now = traverse.instrument, bed.instruments.get(traverse.instrument.name)
    now = None if now is None else now.as_laid(traverse.setup.quantity)
    changed = [key for key in INSTRUMENT_KEYS if now is not None and getattr(then, key) != getattr(now, key)]
    if not changed:
        return ""
    return (
        f"traverse {traverse.number}: {then.name} described otherwise now ({', '.join(changed)}); what was "
        "true when it was recorded is used"
    )


def _no_uncertainty(traverse: Traverse) -> str:
    if traverse.instrument.standard_uncertainty or traverse.instrument.resolution:
        return ""
    return f"{traverse.instrument.name}: no uncertainty stated, so the maps look surer than they can be"


def _whole_footprint(traverse: Traverse) -> str:
    if traverse.instrument.footprint != "full":
        return ""
    return (
        f"{traverse.instrument.name}: lies on its whole length and is taken as standing on two feet "
        f"{traverse.instrument.base_mm or 0:g} mm apart; the shape is only as good as that"
    )


def _bent_by_heat(traverse: Traverse, bed: Bed) -> str:
    state = traverse.setup.state
    top, bottom = state.get("temperature_top_degC"), state.get("temperature_bottom_degC")
    if top is None or bottom is None:
        return ""
    if bed.depth_mm is None:
        return _bent_by_so_much(traverse, float(top) - float(bottom))
    bend_um = bend_by_temperature_um(float(top) - float(bottom), bed.length_mm, bed.depth_mm)
    if not math.isfinite(bend_um) or abs(bend_um) < LEAST_BEND_UM:
        return ""
    sense = "crowned" if bend_um > 0 else "hollow"
    return (
        f"{_warmer(traverse, float(top) - float(bottom))}; that alone bends its whole length {sense} by "
        f"about {abs(bend_um):.1f} µm"
    )


def _bent_by_so_much(traverse: Traverse, difference_k: float) -> str:
    if abs(difference_k) < LEAST_DIFFERENCE_K:
        return ""
    sense = "crowned" if difference_k > 0 else "hollow"
    return (
        f"{_warmer(traverse, difference_k)}; that alone bends it {sense}, and depth_mm in bed.toml would "
        "tell by how much"
    )


def _warmer(traverse: Traverse, difference_k: float) -> str:
    return (
        f"traverse {traverse.number}: the bed's top was {abs(difference_k):.1f} °C "
        f"{'warmer' if difference_k > 0 else 'colder'} than its bottom"
    )
