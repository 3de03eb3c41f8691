"""Is the column square to the table, or is the square out?

A lean is + where the top stands towards +x.  Runs are read up a guide with the plunger pointing to
+x, pushed in is +; their lines are least squares (as ISO 230-1 has it, from memory).

- A square and the same square turned about its blade: guide (m₁ + m₂)/2, square (m₁ − m₂)/2.
- A cylinder read, turned 180° and read again: its lean cancels, half its taper stays.
- A frame level with its zero reversed on each face, read in one sense on both (+ where its end towards
  +x is high): a column whose top leans to +x turns it the other way, so the lean is horizontal less
  vertical.  Its own angle cancels only with a reading on the opposite side of the column, else it stays.
- An indicator swept round the spindle: (A − C)/2r, A at +x, C at −x.
- Two guides of one machine, column against table travel: with the square lying untouched on the table the
  dial goes up its blade on the column's slide, m = lean − own error + tilt, and then along its foot on a
  table that travels in +x, k = rise − tilt.  m + k is the lean against the travel; how the square lies
  plays no part, and its own error goes when it is turned about its blade and both are read again.
- A square that was not turned: its stated error is in the ±; where none is stated nothing is claimed.

Derived for this project.  The foot of a square on a bed stands on one stretch of it: the map says how
that stretch lies to the whole.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from acquire.model.errors import AnalysisError
from acquire.model.places import SAME_STATION_MM
from acquire.model.units import MM_PER_M
from analysis.adjust.bed_map import BedMap
from analysis.answers.assumptions import TYPED, Assumption, assumptions
from analysis.answers.carriage_path import slope_row
from analysis.answers.face_map import own_shape
from analysis.answers.measured import Measured
from analysis.linear.pieces import straight_rows


@dataclass(frozen=True)
class Square:
    """How a guide stands to what the square stood on."""

    lean_um_per_m: Measured
    """+ top towards +x."""
    tool_um_per_m: Measured | None
    """The square's own error (or the cylinder's lean, the frame level's angle) where turning it told it."""
    height_mm: float | None
    """Over which it was read; None for a sweep or a level."""
    whole_um_per_m: Measured | None = None
    """Against the line along the whole face that it stood on, where the map tells it."""
    stood_on: str | None = None
    assumptions: tuple[Assumption, ...] = TYPED
    """What the uncertainty takes for granted."""


def slope_of_run(height_mm: float, reading_um: Sequence[float], reading_uncertainty_um: float) -> Measured:
    """Slope of the least-squares line through readings spaced evenly over a height, in µm/m.

    Its uncertainty is that of the readings as stated, or as they scatter about the line if that is more.

    Raises
    ------
    AnalysisError
        If there are fewer than two readings, or no height.

    Examples
    --------
    >>> slope_of_run(300, [0, 3], 1.0).value
    10.0
    """
    y = np.asarray(reading_um, float)
    if y.size < 2 or not height_mm > 0:
        raise AnalysisError(
            "run up the guide", f"found {y.size} readings over {height_mm:g} mm", "two at least"
        )
    x = np.linspace(0.0, height_mm, y.size)
    row = slope_row(x)
    left = y - y.mean() - row @ y / MM_PER_M * (x - x.mean())
    scatter = float(np.sqrt(left @ left / (y.size - 2))) if y.size > 2 else 0.0
    return Measured(float(row @ y), max(reading_uncertainty_um, scatter) * float(np.linalg.norm(row)))


def square_turned(
    height_mm: float,
    first_um: Sequence[float],
    uncertainty_um: float,
    turned_um: Sequence[float] | None = None,
    *,
    square_uncertainty_um: float | None = None,
) -> Square:
    """A guide by a square, turned about its blade and read again; or once, by the square's stated error.

    Parameters
    ----------
    height_mm : float
        Over which each run is read.
    first_um, turned_um : sequence
        Readings from the foot up; None: not turned.
    uncertainty_um : float
        Standard uncertainty of one reading.
    square_uncertainty_um : float, optional
        Standard uncertainty of the square over that height, where it is not turned.

    Raises
    ------
    AnalysisError
        If it was not turned and no error of the square is stated.

    Examples
    --------
    >>> found = square_turned(300, [0, 9], 1.0, [0, 3])
    >>> round(found.lean_um_per_m.value), round(found.tool_um_per_m.value)
    (20, 10)
    >>> round(found.lean_um_per_m.standard_uncertainty, 1)
    3.3
    """
    runs = [first_um] if turned_um is None else [first_um, turned_um]
    if turned_um is None and square_uncertainty_um is None:
        raise AnalysisError(
            "square",
            "found one run, so that its own error cannot be told from the guide's",
            "a second run with it turned about its blade, or its stated error",
            "turn it: that costs five minutes and no certificate",
        )
    leans = [slope_of_run(height_mm, run, uncertainty_um) for run in runs]
    return _own_error_apart(leans, height_mm, square_uncertainty_um or 0.0)


def guides_joined(
    height_mm: float,
    up_um: Sequence[Sequence[float]],
    travel_mm: float,
    along_um: Sequence[Sequence[float]],
    reading_uncertainty_um: float,
    *,
    square_uncertainty_um: float | None = None,
) -> Square:
    """One guide against another by a square that lies on the table: column against table travel.

    Parameters
    ----------
    height_mm : float
        Over which each run up the blade is read.
    up_um : sequence of runs
        As the square lies, and turned about its blade where it was; from the foot up.
    travel_mm : float
        Over which each run along its foot is read.
    along_um : sequence of runs
        With the same settings of the square, the table travelling towards +x; + where the plunger, which
        points down, is pushed in.
    reading_uncertainty_um : float
    square_uncertainty_um : float, optional
        Standard uncertainty of the square over that height, where it is not turned.

    Raises
    ------
    AnalysisError
        If runs up and along do not belong together, or the square was not turned and no error is stated.

    Examples
    --------
    A column that leans 40, a table that rises 10, a square 20 out that lies tilted by 5, then by −8 µm/m:

    >>> found = guides_joined(
    ...     300, [[0, 7.5], [0, 15.6]], 200, [[0, 1.0], [0, 3.6]], 1.0
    ... )
    >>> round(found.lean_um_per_m.value, 6), round(found.tool_um_per_m.value, 6)
    (50.0, -20.0)
    """
    if len(up_um) != len(along_um) or len(up_um) not in (1, 2):
        raise AnalysisError(
            "square on the table", f"found {len(up_um)} runs up and {len(along_um)} along",
            "one of each, or two of each with the square turned between",
        )  # fmt: skip
    sums = []
    for up, along in zip(up_um, along_um, strict=True):
        one = slope_of_run(height_mm, up, reading_uncertainty_um)
        sums.append(one.plus(slope_of_run(travel_mm, along, reading_uncertainty_um)))
    if len(sums) == 1 and square_uncertainty_um is None:
        raise AnalysisError(
            "square on the table",
            "found one setting, so that its own error cannot be told from the guides'",
            "both runs again with it turned about its blade, or its stated error",
        )
    return _own_error_apart(sums, height_mm, square_uncertainty_um or 0.0)


def cylinder_turned(
    height_mm: float,
    first_um: Sequence[float],
    turned_um: Sequence[float],
    uncertainty_um: float,
    *,
    taper_uncertainty_um: float,
) -> Square:
    """A guide by a cylinder square, turned 180° about its own axis: half its taper stays in the ±.

    Parameters
    ----------
    height_mm : float
    first_um, turned_um : sequence
    uncertainty_um : float
        Standard uncertainty of one reading.
    taper_uncertainty_um : float
        Standard uncertainty of the difference of its diameters over that height.

    Examples
    --------
    >>> found = cylinder_turned(300, [0, 6], [0, 0], 1.0, taper_uncertainty_um=2.0)
    >>> round(found.lean_um_per_m.value), round(found.lean_um_per_m.standard_uncertainty, 1)
    (10, 4.7)
    """
    both = square_turned(height_mm, first_um, uncertainty_um, turned_um)
    stays = Measured(0.0, taper_uncertainty_um / 2 / height_mm * MM_PER_M)
    return Square(both.lean_um_per_m.plus(stays), both.tool_um_per_m, height_mm)


def frame_level(
    table_um_per_m: Sequence[float],
    column_um_per_m: Sequence[float],
    uncertainty_um_per_m: float,
    *,
    opposite_um_per_m: Sequence[float] | None = None,
    angle_uncertainty_um_per_m: float | None = None,
) -> Square:
    """A column against a table by a frame level, each face read twice with the level turned end for end.

    Parameters
    ----------
    table_um_per_m, column_um_per_m : pair
        As it lies, + where its end towards +x is high; and turned end for end, read at the same end of the
        vial.
    uncertainty_um_per_m : float
        Standard uncertainty of one reading.
    opposite_um_per_m : pair, optional
        On the opposite side of the column, likewise.
    angle_uncertainty_um_per_m : float, optional
        Standard uncertainty of the level's own right angle, where the opposite side was not read.

    Raises
    ------
    AnalysisError
        If neither the opposite side nor the level's own angle is given.

    Examples
    --------
    A table that rises 10 µm/m, a column that leans 30 from plumb, a level 15 out of square, its zero 2:

    >>> found = frame_level((12, -8), (-13, 17), 1.0, opposite_um_per_m=(-43, 47))
    >>> found.lean_um_per_m.value, found.tool_um_per_m.value
    (40.0, 15.0)
    """
    table, column = (_reversed(each, uncertainty_um_per_m) for each in (table_um_per_m, column_um_per_m))
    if opposite_um_per_m is not None:
        other = _reversed(opposite_um_per_m, uncertainty_um_per_m)
        return Square(table.plus(_half(column, other, 1).times(-1)), _half(column, other, -1), None)
    if angle_uncertainty_um_per_m is None:
        raise AnalysisError(
            "frame level",
            "found one side of the column, so that the level's own angle cannot be told from the column's",
            "readings on its opposite side too, or the level's stated error",
        )
    own = Measured(0.0, angle_uncertainty_um_per_m)
    return Square(table.plus(column.times(-1)).plus(own), None, None)


def swept(reading_um: Sequence[float], radius_mm: float, uncertainty_um: float) -> Square:
    """A spindle against a table by an indicator swept round it: (A − C)/2r.

    Parameters
    ----------
    reading_um : pair
        A and C, at +x and at −x.
    radius_mm : float
    uncertainty_um : float
        Standard uncertainty of one reading.

    Examples
    --------
    >>> round(swept((12, 0), 150, 1.0).lean_um_per_m.value, 6)
    40.0
    """
    if not radius_mm > 0:
        raise AnalysisError("swept indicator", f"found a radius of {radius_mm:g} mm", "above 0")
    a_um, c_um = reading_um
    difference = Measured(a_um - c_um, 2**0.5 * uncertainty_um)
    return Square(difference.times(MM_PER_M / (2 * radius_mm)), None, None)


def against_whole(bed_map: BedMap, found: Square, face: str, from_mm: float, to_mm: float) -> Square:
    """The same lean against the line along a whole face, the foot having stood on one stretch of it.

    +x is away from the headstock.

    Raises
    ------
    AnalysisError
        If the shape of the face is not known over that stretch.
    """
    profile, _ = own_shape(bed_map, face)
    x = profile.station_mm
    if not x[0] - SAME_STATION_MM <= from_mm < to_mm <= x[-1] + SAME_STATION_MM:
        raise AnalysisError(face, f"found {from_mm:g} to {to_mm:g} mm", f"{x[0]:g} to {x[-1]:g} mm")
    ends = straight_rows(x, (from_mm, to_mm))
    row = (ends[1] - ends[0]) / (to_mm - from_mm) * MM_PER_M - slope_row(x)
    # a stretch that rises towards +x leans what stands on it towards −x
    leant = Measured.of(-row @ profile.height_um, row @ profile.covariance_um2 @ row)
    whole = found.lean_um_per_m.plus(leant)
    taken = (*found.assumptions, *(each for each in assumptions(bed_map, [face]) if each not in TYPED))
    return Square(found.lean_um_per_m, found.tool_um_per_m, found.height_mm, whole, face, taken)


def _own_error_apart(leans: Sequence[Measured], height_mm: float, square_uncertainty_um: float) -> Square:
    """The mean of two leans is the guide's, half their difference the tool's; of one its own error stays."""
    if len(leans) == 2:
        one, other = leans
        return Square(_half(one, other, 1.0), _half(one, other, -1.0), height_mm)
    own = Measured(0.0, square_uncertainty_um / height_mm * MM_PER_M)
    return Square(leans[0].plus(own), None, height_mm)


def _half(one: Measured, other: Measured, sign: float) -> Measured:
    return one.plus(other.times(sign)).times(0.5)


def _reversed(pair: Sequence[float], uncertainty_um_per_m: float) -> Measured:
    """What a level says of a face, its zero taken out by turning it end for end."""
    as_it_lies, turned = pair
    return Measured((as_it_lies - turned) / 2, uncertainty_um_per_m / 2**0.5)
