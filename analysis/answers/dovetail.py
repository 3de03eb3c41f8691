"""A dovetail measured over or between two pins: width, angle, taper, and which flank is worn.

    M = W ± d (1 + cot(α/2))     + over pins on a male slide, − between pins in a female one

W is from corner to corner on the flat where the pins lie, d the diameter of the pins, α the angle
of the flanks from that flat.  Quoted publicly from Machinery's Handbook, which was not read: W 1, d 0.25,
60° give 1.683013.  The rest is derived for this project: two sizes of pins tell the angle,
cot(α/2) = ±ΔM/Δd − 1; a flank worn w along its normal stands w/sin α further in, so that over pins both
take off 2w/sin α; a flat that is down by t takes off 2t cot α; a play g takes a gib g sin α thicker, and one
of taper 1:n is driven n g sin α.

An angle that is off by dα makes W wrong by d dα / (2 sin²(α/2)), which is 0.21 mm for 0.5° and pins of 12 mm,
a diameter that is off by dd by (1 + cot(α/2)) dd.  Where two sizes d, D tell the angle, W = M ∓ t (M′ − M)
with t = d/(D − d): each of the two readings and diameters counts (1 + t) or t times.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import atan, degrees, hypot, radians, sin, tan

import numpy as np

from acquire.model.errors import AnalysisError
from acquire.model.units import MM_PER_M
from analysis.answers.assumptions import TYPED, Assumption, typed_and
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
    angle: Measured | None
    """In degrees, by a second size of pins; None where it was stated."""
    width_um_per_degree: float | None
    """By how much the width is wrong where the stated angle is; None where a second size tells it."""
    width_um_per_um_of_pin: float
    """The same of a diameter."""
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
    pin_uncertainty_um: float = 0.0,
) -> Measured:
    """Angle of the flanks from two sizes of pins at one place, in degrees; the ± of each size is the same.

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
    each_um = hypot(reading_uncertainty_um, (1 + cot) * pin_uncertainty_um)
    u = 2 / (1 + cot**2) * 2**0.5 * each_um / 1000 / abs(larger)
    found = Measured(degrees(2 * atan(1 / cot)), degrees(u))
    cot_half(found.value)
    return found


def dovetail(
    station_mm: Sequence[float],
    measure_mm: Sequence[float],
    pin_mm: float,
    angle_deg: float | None = None,
    *,
    second: tuple[float, float] | None = None,
    is_over: bool = True,
    reading_uncertainty_um: float = 2.0,
    angle_uncertainty_deg: float | None = None,
    pin_uncertainty_um: float | None = None,
    side_um: Sequence[float] | None = None,
    side_uncertainty_um: float = 1.0,
) -> Dovetail:
    """A dovetail from measures along its length, the flat where the pins lie taken as sound.

    Parameters
    ----------
    station_mm, measure_mm : sequence
        Places, rising, and what was measured over or between the pins there.
    pin_mm, angle_deg : float
    second : (pin_mm, measure_mm), optional
        A second size of pins at the first place: it tells the angle, in place of `angle_deg`.
    is_over : bool
        Over pins on a male slide; False: between pins in a female one.
    reading_uncertainty_um, angle_uncertainty_deg, pin_uncertainty_um : float
        Standard uncertainties, the last of each diameter; angle and pins are taken as exact without theirs.
    side_um : sequence, optional
        An indicator guided by a sound side, its plunger on one pin, pushed in +: tells which flank it is.

    Raises
    ------
    AnalysisError
        If places do not rise, lists differ in length, or not one of angle and second size is given.
    """
    x, m = np.asarray(station_mm, float), np.asarray(measure_mm, float)
    if x.size < 1 or x.size != m.size or np.any(np.diff(x) <= 0):
        raise AnalysisError(
            "dovetail", f"found {m.size} measures at {x.size} places", "places that rise, one each"
        )
    if (angle_deg is None) == (second is None):
        raise AnalysisError("dovetail", "found angle and second pins both, or neither", "one of the two")
    angle = None
    if second is not None:
        angle = angle_of_pins(
            (float(m[0]), second[1]), (pin_mm, second[0]), reading_uncertainty_um,
            is_over=is_over, pin_uncertainty_um=pin_uncertainty_um or 0.0,
        )  # fmt: skip
        angle_deg = angle.value
    assert angle_deg is not None
    cot = cot_half(angle_deg)
    per_reading, per_degree, per_pin = _worth(pin_mm, cot, None if second is None else second[0])
    flanks = None if side_um is None else _flanks(m, np.asarray(side_um, float), angle_deg, is_over)
    row = slope_row(x) if x.size > 1 else None
    return Dovetail(
        angle_deg=angle_deg,
        pin_mm=pin_mm,
        is_over=is_over,
        station_mm=tuple(x.tolist()),
        width_mm=tuple((m - (1 if is_over else -1) * pin_mm * (1 + cot)).tolist()),
        width_uncertainty_um=hypot(
            per_reading * reading_uncertainty_um,
            (per_degree or 0.0) * (angle_uncertainty_deg or 0.0),
            per_pin * (pin_uncertainty_um or 0.0),
        ),
        angle=angle,
        width_um_per_degree=per_degree,
        width_um_per_um_of_pin=per_pin,
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
        assumptions=typed_and(
            **({"angle": angle_uncertainty_deg} if angle is None else {}), diameters=pin_uncertainty_um
        ),
    )


def _worth(pin_mm: float, cot: float, second_mm: float | None) -> tuple[float, float | None, float]:
    """By how much a width is wrong for 1 µm of each reading, 1° of a stated angle, 1 µm of each diameter."""
    if second_mm is None:
        return 1.0, 1000 * pin_mm * (1 + cot**2) / 2 * radians(1.0), 1 + cot
    share = pin_mm / (second_mm - pin_mm)
    first, others = hypot(1 + share, share), hypot(1, share, share)
    return max(first, others), None, (1 + cot) * first


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
