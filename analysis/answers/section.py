"""How a section of the bed follows its feet: it bends and rolls as a body, in pairs of feet from end to end.

In the middle between its feet, m(x), it rises by z(x) and rolls by θ(x), rear up.  From pair to pair z is a
natural cubic spline, straight beyond the last; θ is linear, and constant beyond.  Heights off the middle
follow from both, so that no answer hangs on where `across_mm` is counted from.
"""

from collections.abc import Sequence

import numpy as np
import scipy.linalg

from acquire.model.bed import Bed, Foot
from analysis.linear.pieces import straight_rows

PAIR_MM = 60.0
"""Feet closer than this along the bed are one pair."""


def feet_by_station(bed: Bed) -> list[list[Foot]]:
    """The feet in groups along the bed, those near each other together, each from front to rear."""
    groups: list[list[Foot]] = []
    for foot in sorted(bed.feet.values(), key=lambda each: each.station_mm):
        if groups and foot.station_mm - groups[-1][0].station_mm <= PAIR_MM:
            groups[-1].append(foot)
        else:
            groups.append([foot])
    return [sorted(group, key=lambda each: each.across_mm) for group in groups]


def pairs_mm(bed: Bed) -> tuple[float, ...]:
    """Stations of the pairs of feet: feet near each other along the bed, at its front and its rear."""
    return tuple(float(np.mean([foot.station_mm for foot in pair])) for pair in _pairs(bed))


def _pairs(bed: Bed) -> list[list[Foot]]:
    return [group for group in feet_by_station(bed) if len({foot.across_mm for foot in group}) > 1]


def middle_mm(bed: Bed) -> np.ndarray:
    """Where across the bed the middle of each pair of feet stands."""
    return np.array([(pair[0].across_mm + pair[-1].across_mm) / 2 for pair in _pairs(bed)])


def gauges_mm(bed: Bed) -> np.ndarray:
    """How far apart the feet of each pair stand."""
    return np.array([pair[-1].across_mm - pair[0].across_mm for pair in _pairs(bed)])


def section_rows(bed: Bed, face: str, pairs: Sequence[float], at_mm: np.ndarray) -> np.ndarray:
    """Height of a face, in µm, for one unit of each of (z at the knots, θ at the knots in µm per mm)."""
    described, turned = bed.faces[face], twist_rows(pairs, at_mm)
    arm = float(described.across_mm or 0.0) - turned @ middle_mm(bed)
    return np.asarray(described.upward * np.hstack([bend_rows(pairs, at_mm), arm[:, None] * turned]))


def bend_rows(pairs: Sequence[float], at_mm: np.ndarray) -> np.ndarray:
    """A natural cubic spline with its knots at the pairs, straight beyond them: rows for its values there.

    Examples
    --------
    >>> bend_rows([0, 1000], np.array([500.0]))
    array([[0.5, 0.5]])
    """
    knots = np.asarray(pairs, float)
    if len(knots) == 2:
        share = (np.asarray(at_mm, float) - knots[0]) / (knots[1] - knots[0])
        return np.stack([1 - share, share], axis=1)
    inside = np.clip(at_mm, knots[0], knots[-1])
    beyond = np.asarray(at_mm, float) - inside
    before = np.clip(np.searchsorted(knots, inside, side="right") - 1, 0, len(knots) - 2)
    width = np.diff(knots)[before][:, None]
    right = (inside - knots[before])[:, None] / width
    left = 1 - right
    unit, bend = np.eye(len(knots)), _bend_at_knots(knots)
    low, high = bend[before] * width**2 / 6, bend[before + 1] * width**2 / 6
    value = (
        left * unit[before] + right * unit[before + 1] + (left**3 - left) * low + (right**3 - right) * high
    )
    slope = unit[before + 1] - unit[before] + (3 * right**2 - 1) * high - (3 * left**2 - 1) * low
    return np.asarray(value + beyond[:, None] * slope / width)


def _bend_at_knots(knots: np.ndarray) -> np.ndarray:
    """Second derivatives at the knots of the natural splines that are one at one knot: none at the ends."""
    width = np.diff(knots)
    bend = np.zeros((len(knots), len(knots)))
    slope = np.diff(np.eye(len(knots)), axis=0) / width[:, None]
    band = np.zeros((3, len(knots) - 2))
    band[0, 1:], band[1], band[2, :-1] = width[1:-1], 2 * (width[:-1] + width[1:]), width[1:-1]
    bend[1:-1] = scipy.linalg.solve_banded((1, 1), band, 6 * np.diff(slope, axis=0))
    return bend


def twist_rows(pairs: Sequence[float], at_mm: np.ndarray) -> np.ndarray:
    """Linear from pair to pair and constant beyond: rows for the values at the pairs."""
    return straight_rows(pairs, at_mm)
