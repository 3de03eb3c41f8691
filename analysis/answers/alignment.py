"""Spindle, quill, centres and cross slide against the path of the carriage, from a few readings.

An indicator that the carriage takes along reads the path of the carriage as well: each result is
against that path between the two places, and the map of the ways says how these lie to the whole.

- Test bar in the spindle, read near and far (d apart), turned 0° and 180°, on top and in front: the
  mean of both turns is the axis, half their difference the run-out.  Rise of the axis
  (Δtop + Δsag)/d, to the rear −Δfront/d.
- A quill that is run out, likewise over its extension, held where it leaves the casting; or by a bar in its
  taper, turned.  Against the guide of the carriage: rise and rear as above, the map adds how the stretch
  between the two places lies to the whole.
- Two collars turned without a centre: D₂ − D₁ = 2(β d + C Δφ − Δs), β the axis to the rear of the
  carriage's line, φ the carriage's roll (rear high), s its sway to the rear, C the height of the axis.
- Facing: an indicator on the same slide reads, on the far side of the centre, twice what the slide is
  out of square: γ = reading/(2r), + where the face is hollow.

Derived for this project.  A plunger that is pushed in reads plus; the axis runs away from the headstock.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot

import numpy as np

from acquire.model.errors import AnalysisError
from acquire.model.units import MM_PER_M
from analysis.answers.assumptions import TYPED, Assumption
from analysis.answers.measured import Measured
from analysis.observe.sag import MATERIALS, STANDARD_GRAVITY

SAG_UNCERTAINTY = 0.10
"""Of a bar's sag: modulus and density of handbooks, a holder taken as stiff."""


@dataclass(frozen=True)
class Bar:
    """A test bar of steel, for its sag and for what its own taper may do."""

    diameter_mm: float
    length_mm: float
    """From where it is held to its free end."""
    taper_uncertainty_um: float = 0.0
    """Standard uncertainty of the difference between its diameters at the two places."""


@dataclass(frozen=True)
class Line:
    """How a line (axis, quill) lies against the path of the carriage between the two places read."""

    rise_um_per_m: Measured
    """+ away from the headstock it rises."""
    rear_um_per_m: Measured
    """+ away from the headstock it runs to the rear."""
    run_out_um: tuple[float, float] | None
    """Half the largest difference between the two turns, near and far; None where it was not turned."""
    sag_um: float
    """Of the bar between the two places, put in."""


def bar_sag_um(bar: Bar, at_mm: float) -> float:
    """How far a bar held at one end hangs down at a place, by its own weight.

    Parameters
    ----------
    bar : Bar
    at_mm : float
        From where it is held.

    Raises
    ------
    AnalysisError
        If the place is beyond its end.

    References
    ----------
    A cantilever under its own weight, w x² (6l² − 4lx + x²)/24EI, at its end wl⁴/8EI (textbooks of
    strength of materials, from memory); for a round bar w/EI = 16 ρ g/(E d²).

    Examples
    --------
    >>> steel = Bar(diameter_mm=32, length_mm=300)
    >>> round(bar_sag_um(steel, 300), 1), round(bar_sag_um(steel, 300) - bar_sag_um(steel, 50), 1)
    (5.9, 5.6)
    """
    if not 0 <= at_mm <= bar.length_mm or not bar.diameter_mm > 0:
        raise AnalysisError("test bar", f"found a place {at_mm:g} mm along it", f"0 to {bar.length_mm:g} mm")
    density, modulus = MATERIALS["steel"]
    x, length, thick = at_mm / 1000, bar.length_mm / 1000, bar.diameter_mm / 1000
    stiffness = modulus * thick**2 / (16 * density * STANDARD_GRAVITY)
    return 1e6 * x**2 * (6 * length**2 - 4 * length * x + x**2) / (24 * stiffness)


def axis_of_bar(
    top_um: Sequence[float],
    front_um: Sequence[float],
    distance_mm: float,
    reading_uncertainty_um: float,
    *,
    bar: Bar | None = None,
    near_mm: float = 0.0,
) -> Line:
    """The axis that a bar turns about, or the line of a quill or a bar that is not turned.

    Parameters
    ----------
    top_um, front_um : sequence
        Near and far, then near and far turned by 180° (four), or near and far alone (two).
    distance_mm : float
        Between near and far.
    reading_uncertainty_um : float
        Standard uncertainty of one reading.
    bar : Bar, optional
        For its sag; none is put in without it.
    near_mm : float
        From where the bar is held to the near place.

    Raises
    ------
    AnalysisError
        If there are not two or four readings of each, or no distance between them.

    Examples
    --------
    Near 2, far 11; turned 4 and 5, over 250 mm:

    >>> line = axis_of_bar([2, 11, 4, 5], [0, 0, 0, 0], 250, 1.0)
    >>> line.rise_um_per_m, line.run_out_um
    (Measured(value=20.0, standard_uncertainty=4.0), (1.0, 3.0))
    """
    if len(top_um) not in (2, 4) or len(front_um) != len(top_um):
        raise AnalysisError(
            "test bar",
            f"found {len(top_um)} readings on top and {len(front_um)} in front",
            "near, far, and both again turned by 180°",
        )
    _above_zero("distance between near and far", distance_mm)
    turns = len(top_um) // 2
    top, front = (np.asarray(each, float).reshape(turns, 2) for each in (top_um, front_um))
    taper = 0.0 if bar is None else bar.taper_uncertainty_um / 2
    sag = 0.0 if bar is None else bar_sag_um(bar, near_mm + distance_mm) - bar_sag_um(bar, near_mm)
    u = hypot(reading_uncertainty_um * (2 / turns) ** 0.5, taper) / distance_mm * MM_PER_M
    u_rise = hypot(u, SAG_UNCERTAINTY * sag / distance_mm * MM_PER_M)
    rise = (float(np.diff(top.mean(axis=0))[0]) + sag) / distance_mm * MM_PER_M
    rear = -float(np.diff(front.mean(axis=0))[0]) / distance_mm * MM_PER_M
    out = [float(max(np.ptp(each[:, place]) for each in (top, front)) / 2) for place in (0, 1)]
    run_out = (out[0], out[1]) if turns == 2 else None
    return Line(Measured(rise, u_rise), Measured(rear + 0.0, u), run_out, sag)


@dataclass(frozen=True)
class Collars:
    """Two collars turned without a centre, split into what made them differ."""

    taper_um: Measured
    """Diameter at the far collar less that at the near one."""
    from_roll_um: Measured | None
    """By the change of the carriage's roll between them; None where the map does not tell it."""
    from_sway_um: Measured | None
    headstock_um_per_m: Measured | None
    """The axis against the carriage's line, + to the rear; None where roll or sway is not known."""
    twist_to_hide_um_per_m: float | None
    """Roll over the distance that would hide the headstock's error: right for this one length alone."""


def headstock_of_collars(
    taper_um: float,
    distance_mm: float,
    centre_mm: float,
    roll_um_per_m: float,
    sway_um: float,
    covariance: np.ndarray,
) -> Measured:
    """The axis to the rear of the carriage's line, from two turned collars and the map.

    Parameters
    ----------
    taper_um : float
        Far diameter less near diameter.
    distance_mm, centre_mm : float
        Between the collars; height of the axis above the ways.
    roll_um_per_m, sway_um : float
        Change of the carriage's roll and sway from near to far.
    covariance : array, shape (3, 3)
        Joint covariance of these three, in their units.

    Examples
    --------
    24 µm of taper over 250 mm; a roll of 40 µm/m at 170 mm makes 13.6 of it:

    >>> found = headstock_of_collars(24, 250, 170, 40, -2, np.diag([2 * 2.0**2, 3.0**2, 1.0**2]))
    >>> round(found.value, 1), round(found.standard_uncertainty, 1), found.is_shown
    (12.8, 7.2, False)
    """
    _above_zero("distance between the collars", distance_mm)
    row = np.array([0.5, -centre_mm / MM_PER_M, 1.0]) * MM_PER_M / distance_mm
    change = np.array([taper_um, roll_um_per_m, sway_um])
    return Measured.of(row @ change, row @ covariance @ row)


def twist_to_hide_um_per_m(headstock_um_per_m: float, distance_mm: float, centre_mm: float) -> float:
    """The change of roll between the collars that would hide a headstock's error at this distance alone.

    Examples
    --------
    >>> round(twist_to_hide_um_per_m(12.8, 250, 170), 1)
    -18.8
    """
    return -headstock_um_per_m * distance_mm / centre_mm


def push_off_um(force_n: float, stick_out_mm: float, diameter_mm: float) -> float:
    """How far the cut bends a steel bar held at one end away: Fl³/3EI, at the end (textbooks, from memory).

    Examples
    --------
    10 N on steel Ø25, 250 mm out:

    >>> round(push_off_um(10, 250, 25), 1)
    13.2
    """
    _above_zero("bar", min(stick_out_mm, diameter_mm))
    modulus = MATERIALS["steel"][1]
    second_moment = np.pi * (diameter_mm / 1000) ** 4 / 64
    return float(1e6 * force_n * (stick_out_mm / 1000) ** 3 / (3 * modulus * second_moment))


@dataclass(frozen=True)
class Centres:
    """The tailstock's centre against the headstock's, along the path of the carriage."""

    higher_um: Measured
    rear_um: Measured
    taper_um: Measured
    """What that does to a part turned between them: diameter at the tailstock less that at the headstock."""
    assumptions: tuple[Assumption, ...] = TYPED
    """What the uncertainty takes for granted."""


def centres_of_bar(top_um: Sequence[float], front_um: Sequence[float], uncertainty_um: float) -> Centres:
    """Both centres from a bar between them, read at both ends, swapped end for end and read again.

    A centre e to the front makes the part 2e thinner there: the tool stands on that side.

    Parameters
    ----------
    top_um, front_um : sequence of four
        Headstock end, tailstock end; then the same with the bar swapped end for end.
    uncertainty_um : float
        Standard uncertainty of one reading.

    Examples
    --------
    >>> found = centres_of_bar([0, 10, 4, 6], [0, 8, 2, 6], 1.0)
    >>> found.higher_um.value, found.rear_um.value, found.taper_um.value
    (6.0, -6.0, -12.0)
    """
    if len(top_um) != 4 or len(front_um) != 4:
        raise AnalysisError(
            "bar between centres",
            f"found {len(top_um)} and {len(front_um)} readings",
            "headstock end, tailstock end, and both again with the bar swapped end for end",
        )
    higher, front = (
        Measured(float(np.diff(np.reshape(r, (2, 2)).mean(axis=0))[0]), uncertainty_um)
        for r in (top_um, front_um)
    )
    return Centres(higher, front.times(-1), front.times(-2))


@dataclass(frozen=True)
class Facing:
    """The cross slide against the spindle axis, from a face that it turned."""

    hollow_um_per_m: Measured
    """+ where the face is hollow (concave), as most owners want it."""
    depth_um: Measured
    """Over the diameter asked for."""
    diameter_mm: float
    assumptions: tuple[Assumption, ...] = TYPED
    """What the uncertainty takes for granted."""


def facing_test(reading_um: float, radius_mm: float, diameter_mm: float, uncertainty_um: float) -> Facing:
    """How hollow a slide faces, from an indicator on the same slide read at the centre and on the far side.

    Parameters
    ----------
    reading_um : float
        Far side less centre: the slide's error twice. The near side, which it turned itself, reads nothing.
    radius_mm : float
        Where it was read.
    diameter_mm : float
        For the depth.
    uncertainty_um : float
        Standard uncertainty of one of the two readings.

    Examples
    --------
    >>> found = facing_test(5.6, 140, 300, 0.7)
    >>> round(found.hollow_um_per_m.value, 6), round(found.depth_um.value, 6)
    (20.0, 3.0)
    """
    _above_zero("radius", min(radius_mm, diameter_mm))
    hollow = Measured(reading_um, 2**0.5 * uncertainty_um).times(MM_PER_M / (2 * radius_mm))
    return Facing(hollow, hollow.times(diameter_mm / 2 / MM_PER_M), diameter_mm)


def _above_zero(what: str, mm: float) -> None:
    if not mm > 0:
        raise AnalysisError(what, f"found {mm:g} mm", "above 0")
