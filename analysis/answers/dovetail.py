"""A dovetail measured over or between two pins: width, angle, taper, and which flank is worn.

    M = W ± d (1 + cot(α/2))     + over pins on a male slide, − between pins in a female one

W is from corner to corner on the flat where the pins lie, d the diameter of the pins, α the angle
of the flanks from that flat.  Quoted publicly from Machinery's Handbook, which was not read: W 1, d 0.25,
60° give 1.683013.  The rest is derived for this project: two sizes of pins tell the angle,
cot(α/2) = ±ΔM/Δd − 1; a flank worn w along its normal stands w/sin α further in, so that over pins both
take off 2w/sin α; a flat that is down by t takes off 2t cot α; a play g takes a gib g sin α thicker, and one
of taper 1:n is driven n g sin α.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import atan, degrees, hypot, radians, sin, tan

import numpy as np

from acquire.model.errors import AnalysisError
from acquire.model.units import MM_PER_M
from analysis.answers.assumptions import TYPED, Assumption
from analysis.answers.carriage_path import slope_row
from analysis.answers.measured import Measured
from analysis.linear.largest_difference import LargestDifference, largest_difference

ANGLE_RANGE_DEG = (30.0, 85.0)


@dataclass(frozen=True)
class Dovetail:
    """A dovetail along its length."""

    angle_deg: float
    pin_mm: float
    is_over: bool
    station_mm: tuple[float, ...]
    width_mm: tuple[float, ...]
    """From corner to corner on the flat where the pins lie."""
    width_uncertainty_um: float
    """Standard uncertainty of each width: of the reading, the pins and the angle, the last two common."""
    taper_um_per_m: Measured | None
    """+ wider away from station 0; None with one place."""
    varies_um: LargestDifference | None
    """Between places; what is common to them, pins and angle, plays no part."""
    flanks_um: tuple[tuple[float, ...], tuple[float, ...]] | None
    """Each flank along its normal, + proud, from the first place: the one the indicator read, the other."""
    flank_uncertainty_um: tuple[float, float] | None
    """Standard uncertainties of those, as differences from the first place."""
    assumptions: tuple[Assumption, ...] = TYPED
    """What the uncertainty takes for granted."""


def cot_half(angle_deg: float) -> float:
    """cot(α/2).

    Raises
    ------
    AnalysisError
        If it is no angle of a dovetail.

    Examples
    --------
    Machinery's Handbook as quoted publicly: W 1, d 0.25, 60°, over pins:

    >>> round(1 + 0.25 * (1 + cot_half(60)), 6)
    1.683013
    """
    low, high = ANGLE_RANGE_DEG
    if not low <= angle_deg <= high:
        raise AnalysisError("dovetail", f"found an angle of {angle_deg:g}°", f"{low:g} to {high:g}°")
    return 1 / tan(radians(angle_deg) / 2)


def width_mm(measure_mm: float, pin_mm: float, angle_deg: float, *, is_over: bool) -> float:
    """Width from corner to corner.

    Examples
    --------
    >>> round(width_mm(1.683013, 0.25, 60, is_over=True), 6)
    1.0
    """
    return measure_mm - (1 if is_over else -1) * pin_mm * (1 + cot_half(angle_deg))


def angle_of_pins(
    measures_mm: tuple[float, float],
    pins_mm: tuple[float, float],
    reading_uncertainty_um: float,
    *,
    is_over: bool,
) -> Measured:
    """Angle of the flanks from two sizes of pins at one place, in degrees.

    Raises
    ------
    AnalysisError
        If the pins are alike, or no dovetail gives such measures.

    Examples
    --------
    Pins 10 mm apart in size, readings of 2 µm:

    >>> grown = 10 * (1 + cot_half(60))
    >>> found = angle_of_pins((50, 50 + grown), (6, 16), 2.0, is_over=True)
    >>> round(found.value, 6), round(found.standard_uncertainty * 3600)
    (60.0, 29)
    """
    grown, larger = measures_mm[1] - measures_mm[0], pins_mm[1] - pins_mm[0]
    if larger == 0:
        raise AnalysisError("dovetail", f"found pins of {pins_mm[0]:g} and {pins_mm[1]:g} mm", "two sizes")
    cot = (1 if is_over else -1) * grown / larger - 1
    if not cot > 0:
        raise AnalysisError(
            "dovetail",
            f"found {measures_mm[0]:g}, {measures_mm[1]:g} mm by pins of {pins_mm[0]:g}, {pins_mm[1]:g}",
            "a measure that grows with the pins over a male slide, shrinks between a female one's",
        )
    u = 2 / (1 + cot**2) * 2**0.5 * reading_uncertainty_um / 1000 / abs(larger)
    found = Measured(degrees(2 * atan(1 / cot)), degrees(u))
    cot_half(found.value)
    return found


def dovetail(
    station_mm: Sequence[float],
    measure_mm: Sequence[float],
    pin_mm: float,
    angle_deg: float,
    *,
    is_over: bool = True,
    reading_uncertainty_um: float = 2.0,
    angle_uncertainty_deg: float = 0.0,
    side_um: Sequence[float] | None = None,
    side_uncertainty_um: float = 1.0,
) -> Dovetail:
    """A dovetail from measures along its length, the flat where the pins lie taken as sound.

    Parameters
    ----------
    station_mm, measure_mm : sequence
        Places, rising, and what was measured over or between the pins there.
    pin_mm, angle_deg : float
    is_over : bool
        Over pins on a male slide; False: between pins in a female one.
    reading_uncertainty_um, angle_uncertainty_deg : float
        Standard uncertainties; the diameter of the pins is taken as stated.
    side_um : sequence, optional
        An indicator guided by a sound side, its plunger on one pin, pushed in +: tells which flank it is.

    Raises
    ------
    AnalysisError
        If places do not rise, or lists differ in length.
    """
    x, m = np.asarray(station_mm, float), np.asarray(measure_mm, float)
    if x.size < 1 or x.size != m.size or np.any(np.diff(x) <= 0):
        raise AnalysisError(
            "dovetail", f"found {m.size} measures at {x.size} places", "places that rise, one each"
        )
    cot = cot_half(angle_deg)
    by_angle = pin_mm * (1 + cot**2) / 2 * radians(angle_uncertainty_deg) * 1000
    u_width = hypot(reading_uncertainty_um, by_angle)
    flanks = None if side_um is None else _flanks(m, np.asarray(side_um, float), angle_deg, is_over)
    row = slope_row(x) if x.size > 1 else None
    return Dovetail(
        angle_deg=angle_deg,
        pin_mm=pin_mm,
        is_over=is_over,
        station_mm=tuple(x.tolist()),
        width_mm=tuple((m - (1 if is_over else -1) * pin_mm * (1 + cot)).tolist()),
        width_uncertainty_um=u_width,
        taper_um_per_m=None
        if row is None
        else Measured(float(row @ m) * 1000, float(np.linalg.norm(row)) * reading_uncertainty_um),
        varies_um=None
        if row is None
        else largest_difference(m * 1000, reading_uncertainty_um**2 * np.eye(x.size)),
        flanks_um=flanks,
        flank_uncertainty_um=None
        if side_um is None
        else (
            sin(radians(angle_deg)) * 2**0.5 * side_uncertainty_um,
            sin(radians(angle_deg)) * 2**0.5 * hypot(side_uncertainty_um, reading_uncertainty_um),
        ),
    )


def _flanks(
    measure_mm: np.ndarray, side_um: np.ndarray, angle_deg: float, is_over: bool
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Both flanks along their normals from the first place: the read one, and what the measure leaves."""
    if side_um.size != measure_mm.size:
        raise AnalysisError(
            "dovetail", f"found {side_um.size} side readings", f"{measure_mm.size}, one a place"
        )
    further_out = side_um - side_um[0]
    both = (1 if is_over else -1) * (measure_mm - measure_mm[0]) * 1000
    per = sin(radians(angle_deg))
    return tuple((per * further_out).tolist()), tuple((per * (both - further_out)).tolist())


@dataclass(frozen=True)
class Gib:
    """What takes up a play."""

    thicker_um: float
    driven_mm: float | None
    """How far a tapered gib goes further in; None for a parallel one."""
    assumptions: tuple[Assumption, ...] = TYPED
    """What the uncertainty takes for granted."""


def gib_for(play_um: float, angle_deg: float, one_in: float | None = None) -> Gib:
    """Thickness that takes up a sideways play, and how far a tapered gib is driven for it.

    Examples
    --------
    >>> found = gib_for(40, 60, 60)
    >>> round(found.thicker_um, 1), round(found.driven_mm, 2)
    (34.6, 2.08)
    """
    if play_um < 0 or (one_in is not None and not one_in > 0):
        raise AnalysisError("gib", f"found a play of {play_um:g} µm, taper 1:{one_in}", "0 or more, above 0")
    thicker = play_um * sin(radians(angle_deg))
    return Gib(thicker, None if one_in is None else one_in * thicker / MM_PER_M)
