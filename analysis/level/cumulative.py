"""Heights from the slopes of a level stepped foot to foot: the calculation a person can check by hand.

Each step starts where the last one ended, so the heights are running sums.  Slopes are
µm/m, positive when the way rises away from the headstock; the base is the distance of
the feet in mm; heights are µm and start at 0.  A constant slope, a level's zero
included, is a tilt and goes with any line removed.

With independent steps of uncertainty σ = base · slope uncertainty, the covariance of
the heights is σ²·min(i, j) (derived, confirmed by simulation in the tests).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from acquire.model.errors import AnalysisError
from analysis.linear.profile import Profile
from analysis.linear.reference_lines import remove_line
from analysis.linear.straight_line import Stretches, line_rows

STEP_TOLERANCE = 0.02
"""How far a step may be from the base, as a part of it, and still count as foot to foot."""


@dataclass(frozen=True)
class StationLine:
    """One line of the calculation on paper; what belongs to a step stands at the foot it ends on."""

    station_mm: float
    reading_um_per_m: float | None
    """Slope of the step that ends here; None at the first foot."""
    rise_um: float | None
    """Base times slope."""
    height_um: float
    """Sum of the rises so far."""
    line_um: float
    """Height of the reference line here."""
    deviation_um: float
    """Height minus line."""
    standard_uncertainty_um: float
    """Of the deviation, with the line's own uncertainty in it."""


@dataclass(frozen=True)
class HandCheck:
    """The calculation of a stepped level's map, station by station."""

    face: str
    line: str
    base_mm: float
    stations: tuple[StationLine, ...]
    range_um: float
    """Largest minus smallest deviation."""


def heights_from_slopes(slope_um_per_m: ArrayLike, base_mm: float) -> NDArray[np.float64]:
    """Sum the slopes of successive steps into heights along the way.

    Parameters
    ----------
    slope_um_per_m : array, shape (n,)
        Slope of each step in order of station, in µm/m.
    base_mm : float
        Distance between the feet, which is also the step, in mm.

    Returns
    -------
    array, shape (n + 1,)
        Height under each foot in µm, the first 0 by definition; tilt is left in.

    Raises
    ------
    AnalysisError
        If a slope is missing (NaN), for a height after a gap is unknown, or the base
        is not above zero.

    Examples
    --------
    A way that climbs one micrometre per 100 mm and then drops back:

    >>> heights_from_slopes([10, 10, -20], base_mm=100)
    array([0., 1., 2., 0.])
    """
    slope = _slopes(slope_um_per_m)
    return np.concatenate([[0.0], np.cumsum(slope * _metres(base_mm))])


def step_uncertainty_um_per_m(
    standard_uncertainty_um_per_m: ArrayLike, seating_um: float, base_mm: float
) -> NDArray[np.float64]:
    """Uncertainty of one step's slope with the seating of both feet in it.

    Each foot sits anew at every placing, so two seatings enter, divided by the base.

    Examples
    --------
    Half a micrometre a foot on a 200 mm base, a perfect level:

    >>> round(float(step_uncertainty_um_per_m(0, 0.5, 200)), 4)
    3.5355
    """
    seating = np.sqrt(2) * seating_um / _metres(base_mm)
    return np.hypot(np.asarray(standard_uncertainty_um_per_m, float), seating)


def heights_covariance(slope_uncertainty_um_per_m: ArrayLike, base_mm: float) -> NDArray[np.float64]:
    """Covariance of the summed heights when the steps are independent.

    Two heights share the errors of all steps before the nearer one: with equal steps
    of σ µm this is σ²·min(i, j).

    Parameters
    ----------
    slope_uncertainty_um_per_m : array, shape (n,)
        Standard uncertainty of each slope, µm/m.
    base_mm : float
        Distance between the feet.

    Returns
    -------
    array, shape (n + 1, n + 1)
        In µm²; the first foot is exact by definition.

    Examples
    --------
    >>> heights_covariance([10, 10], base_mm=100)
    array([[0., 0., 0.],
           [0., 1., 1.],
           [0., 1., 2.]])
    """
    step = (_slopes(slope_uncertainty_um_per_m) * _metres(base_mm)) ** 2
    sums = np.concatenate([[0.0], np.cumsum(step)])
    return np.minimum.outer(sums, sums)


def profile_from_slopes(
    face: str,
    middle_mm: ArrayLike,
    slope_um_per_m: ArrayLike,
    base_mm: float,
    standard_uncertainty_um_per_m: ArrayLike,
) -> Profile:
    """Sum a stepped traverse into the profile at its feet.

    Parameters
    ----------
    face : str
        The face's id.
    middle_mm : array, shape (n,)
        Middle of the base at each step, rising.
    slope_um_per_m : array, shape (n,)
        Slope of each step.
    base_mm : float
        Distance between the feet.
    standard_uncertainty_um_per_m : float or array, shape (n,)
        Of each slope, independent from step to step (seating included: `step_uncertainty_um_per_m`).

    Raises
    ------
    AnalysisError
        If the steps are not one base apart: then a plain sum is not the height.

    Examples
    --------
    >>> profile_from_slopes("front-vee", [100, 300], [10, -10], 200, 1).station_mm
    array([  0., 200., 400.])
    """
    slope = _slopes(slope_um_per_m)
    feet = _feet(face, np.asarray(middle_mm, float), slope.size, base_mm)
    uncertainty = np.broadcast_to(np.asarray(standard_uncertainty_um_per_m, float), slope.shape)
    heights = heights_from_slopes(slope, base_mm)
    return Profile(face, feet, heights, heights_covariance(uncertainty, base_mm))


def hand_check(
    face: str,
    middle_mm: ArrayLike,
    slope_um_per_m: ArrayLike,
    base_mm: float,
    standard_uncertainty_um_per_m: ArrayLike,
    kind: str = "ends",
    unworn_mm: Stretches = (),
) -> HandCheck:
    """Lay the calculation out station by station, as one would on paper.

    Parameters are those of `profile_from_slopes` and `remove_line`.

    Examples
    --------
    >>> table = hand_check("f", [50, 150], [10, -10], 100, 1)
    >>> [(s.station_mm, s.rise_um, s.height_um, s.line_um, s.deviation_um) for s in table.stations]
    [(0.0, None, 0.0, 0.0, 0.0), (100.0, 1.0, 1.0, 0.0, 1.0), (200.0, -1.0, 0.0, 0.0, 0.0)]
    """
    profile = profile_from_slopes(face, middle_mm, slope_um_per_m, base_mm, standard_uncertainty_um_per_m)
    level = remove_line(profile, kind, unworn_mm)
    rows = line_rows(kind, profile.station_mm, profile.height_um, unworn_mm)
    middle_height, slope = rows @ profile.height_um
    line = middle_height + slope * (profile.station_mm - np.mean(profile.station_mm))
    readings = _slopes(slope_um_per_m).tolist()
    columns = zip(
        profile.station_mm.tolist(),
        [None, *readings],
        [None, *(reading * _metres(base_mm) for reading in readings)],
        profile.height_um.tolist(),
        line.tolist(),
        level.height_um.tolist(),
        level.standard_uncertainty_um.tolist(),
        strict=True,
    )
    return HandCheck(
        face,
        kind,
        float(base_mm),
        tuple(StationLine(*column) for column in columns),
        float(np.ptp(level.height_um)),
    )


def _metres(base_mm: float) -> float:
    if not (np.isfinite(base_mm) and base_mm > 0):
        raise AnalysisError("base of the level", f"found {base_mm:g} mm", "a length above 0 mm")
    return base_mm / 1000


def _slopes(values: ArrayLike) -> NDArray[np.float64]:
    slope = np.atleast_1d(np.asarray(values, float))
    missing = np.flatnonzero(~np.isfinite(slope))
    if slope.ndim != 1 or slope.size == 0:
        raise AnalysisError("stepped level", f"slopes of shape {slope.shape}", "one slope for each step")
    if missing.size:
        raise AnalysisError(
            "stepped level",
            f"step {missing[0] + 1} of {slope.size} has no reading",
            "a reading for every step: heights after a gap are not known",
            "read that step again",
        )
    return slope


def _feet(face: str, middle: NDArray, steps: int, base_mm: float) -> NDArray[np.float64]:
    """Stations of the feet; where two placings differ by a hair the mean of both."""
    half = 500 * _metres(base_mm)
    if middle.shape != (steps,):
        raise AnalysisError(f"level on {face}", f"{middle.size} stations for {steps} slopes", "one for each")
    wrong = np.flatnonzero(~(np.abs(np.diff(middle) - base_mm) <= STEP_TOLERANCE * base_mm))
    if wrong.size or not np.isfinite(middle).all():
        a, b = middle[wrong[0]], middle[wrong[0] + 1]
        raise AnalysisError(
            f"level on {face}",
            f"a step of {b - a:g} mm from {a:g} to {b:g} mm",
            f"steps of the base, {base_mm:g} mm, for a plain sum",
            "use the combination, which takes any steps",
        )
    ends = np.stack([middle - half, middle + half])
    inner = (ends[1, :-1] + ends[0, 1:]) / 2
    return np.concatenate([[ends[0, 0]], inner, [ends[1, -1]]])
