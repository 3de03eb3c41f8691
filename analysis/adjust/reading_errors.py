"""Errors that readings have besides their own noise: steps of a display, and feet off their node.

Readings come in steps: runs that repeat to the digit do not average the step away.  Where the noise
is small against the step, every run along the same face reads the same, and is off by the same.
k equal readings of one instrument at one place, in k runs, share step²/12.  Each is given k times
that share, so that their mean keeps it whole; no further unknown is needed.  Readings that differ by
a step or more are rounded independently.

Feet of a stepped level stood a little off the node where they are taken to stand: positions read off
a scale scatter by a millimetre or two about the station that was meant, and a base is hardly ever the
pitch to a tenth of a millimetre.  The mean slope between its feet is taken as that between their nodes
(`weight_at_nodes`).  Where the feet are off by δ on average, and B apart in place of A, the level read

    s(x) + δ·ds/dx + (B² − A²)/24·d²s/dx²

(the first terms of the mean of a slope over B about x + δ, less that over A about x; derived).  How the
slope changes, the level's own neighbouring readings tell, and what that makes is taken off.  That a way
bends evenly between two readings they do not tell: at a node X it may slope otherwise by g(X), and a
foot that is off by δ lifts its end by δ·g(X).  Half of what ds/dx changes by from one node to the next,
over one base, is about what g is where the way is kinked (standard uncertainty); it is a third of that
where the way is smooth.  It is one unknown for each node: whatever stands there, the next step, the run
back or another level, is off by the same.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
from scipy import sparse

from acquire.model.places import PLACED_MM
from analysis.adjust.nodes import Layout
from analysis.linear.fact import Fact
from analysis.linear.profile import nearest_place
from analysis.observe import Nuisance, Observations, Unknown
from analysis.observe.uncertainty import shared_at_stations, visits

Covariance: TypeAlias = np.ndarray | sparse.spmatrix
_Key = tuple[object, ...]


def covariances_with_steps(observations: Sequence[Observations]) -> list[Covariance]:
    """Covariance of each traverse's readings, with what equal readings of other traverses share with it.

    Parameters
    ----------
    observations : sequence of Observations

    Returns
    -------
    list of array
        In the same order, each (m,) or (m, m) as it was.
    """
    keys = [_keys(each) for each in observations]
    runs = Counter(key for own in keys for key in set(own))
    others = (np.array([runs[key] - 1.0 for key in own]) for own in keys)
    return [_widened(*both) for both in zip(observations, others, strict=True)]


def least_factor(each: Observations) -> float:
    """The least that the variance of these readings can be multiplied by: their steps stay.

    Readings that repeat to the digit look as if the instrument had no noise at all.
    """
    return each.step_variance / float(np.min(each.variance)) if each.step_variance else 0.0


def _keys(each: Observations) -> list[_Key]:
    """What readings that are off by the same have in common."""
    if not each.step_variance:
        return []
    manner = (each.instrument, each.faces, each.quantity, each.turned, each.edges)
    size = each.step_variance**0.5
    return [
        (*manner, round(float(station), 1), round(float(reading) / size, 3))
        for station, reading in zip(each.station_mm, each.reading, strict=True)
    ]


def _widened(each: Observations, others: np.ndarray) -> Covariance:
    if not np.any(others):
        return each.covariance
    shared = others * each.step_variance
    if each.covariance.ndim == 1:
        return each.covariance + shared
    return each.covariance + shared_at_stations(visits(each.station_mm), shared)


BEND_AT_FOOT = "bend at foot"
"""How a way bends at a node that feet stood beside."""
LEAST_READINGS = 3
WORTH_A_WORD = 0.5
"""Of a reading's standard uncertainty."""


@dataclass(frozen=True)
class FeetOffStations(Fact):
    """A level whose feet stood off the stations where they are taken to have stood, on a way that bends."""

    traverse: int
    off_mm: float


def at_their_nodes(each: Observations, layout: Layout) -> Observations:
    """The same readings with what an even bend makes of feet off their nodes as corrections, and what an
    uneven one may make of them as unknowns."""
    off_mm = _off_mm(each, layout)
    off_mm = np.where(np.abs(off_mm) > PLACED_MM, off_mm, 0.0)
    at_mm, index = np.unique(np.round(each.station_mm, 3), return_inverse=True)
    if not np.any(off_mm) or len(at_mm) < LEAST_READINGS:
        return each
    slope = np.bincount(index, each.reading) / np.bincount(index)
    rate = np.diff(slope) / np.diff(at_mm)
    bend = np.pad(2 * np.diff(rate) / (at_mm[2:] - at_mm[:-2]), 1, mode="edge")
    base_mm = np.diff(_stood_mm(each), axis=0)[0]
    longer_mm2 = base_mm**2 - (base_mm - np.diff(off_mm, axis=0)[0]) ** 2
    evenly = off_mm.mean(axis=0) * np.gradient(slope, at_mm)[index] + longer_mm2 / 24 * bend[index]
    squares = np.convolve(np.pad(np.diff(rate) ** 2, 2, mode="edge"), np.full(5, 1 / 5), mode="valid")
    unevenly = _at_each_node(each, off_mm, np.interp(_stood_mm(each) - off_mm, at_mm[1:-1], squares**0.5 / 2))
    return replace(each, correction=each.correction + evenly, nuisances=(*each.nuisances, *unevenly))


def _at_each_node(each: Observations, off_mm: np.ndarray, rate: np.ndarray) -> list[Nuisance]:
    """What a bend that is uneven by some rate adds to each reading, a node each; shapes (2, m)."""
    node_mm = np.round(_stood_mm(each) - off_mm, 3)
    adds = np.array([[-1], [1]]) * off_mm * rate
    return [
        Nuisance(Unknown(BEND_AT_FOOT, (each.faces[0], f"{node:.3f}")), np.sum(adds, axis=0, where=here), 1.0)
        for node in np.unique(node_mm)
        if np.any(adds, where=(here := node_mm == node))
    ]


def weight_at_nodes(each: Observations, layout: Layout) -> np.ndarray:
    """By what heights weigh more in each reading at the nodes of its feet than at the feet, shape (m,).

    A level reads the mean slope between its feet, which is that between their nodes but for the bend of
    the way.  A rise over one base between nodes that are not one base apart would have a straight way read
    otherwise from step to step: heights beyond such a step would not be known up to a line.
    """
    off_mm = _off_mm(each, layout)
    if not np.any(off_mm):
        return np.ones(len(each))
    base_mm = np.diff(_stood_mm(each), axis=0)[0]
    apart_mm = base_mm - np.diff(off_mm, axis=0)[0]
    return np.divide(base_mm, apart_mm, out=np.ones(len(each)), where=apart_mm > 0)


def moved_feet(observations: Sequence[Observations], layout: Layout) -> Iterable[FeetOffStations]:
    """The traverses whose feet stood so far off that it matters."""
    for each in observations:
        bends = [n.column for n in each.nuisances if n.key.kind == BEND_AT_FOOT]
        if bends and np.any(np.sum(np.square(bends), axis=0) > WORTH_A_WORD**2 * each.variance):
            yield FeetOffStations(each.traverse, float(np.max(np.abs(_off_mm(each, layout)))))


def _stood_mm(each: Observations) -> np.ndarray:
    """Where the near and the far foot of each reading stood, shape (2, m); NaN where it has no feet."""
    feet = [sorted(place.station_mm for place in form if place.role == "foot") for form in each.forms]
    return np.array([both or (np.nan, np.nan) for both in feet]).T


def _off_mm(each: Observations, layout: Layout) -> np.ndarray:
    """How far the near and the far foot of each reading stood beyond their nodes, shape (2, m).

    0 where they are no feet of a level, or stand on none.
    """
    nothing = np.zeros((2, len(each)))
    key = ("height", each.faces[0]) if each.faces else ("", "")
    if not each.is_stepped_level or key not in layout.lines:
        return nothing
    at_mm, columns = layout.columns[key]
    is_node = columns < len(layout.nodes)
    node_mm = at_mm.copy()
    node_mm[is_node] = layout.lines[key].station_mm[columns[is_node] - layout.first[key]]
    if np.array_equal(at_mm, node_mm):
        return nothing
    stood_mm = _stood_mm(each)
    found = nearest_place(at_mm, stood_mm)
    return np.where(np.abs(at_mm[found] - stood_mm) <= 2 * PLACED_MM, stood_mm - node_mm[found], 0.0)
