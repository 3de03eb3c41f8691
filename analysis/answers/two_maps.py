"""Two maps in one adjustment: heights of their own, sharing only what they share in truth.

The covariance of a difference is then that of the difference.  What they share is an
instrument's scale and a straightedge's own shape.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from acquire.model.bed import Bed, Face
from analysis.adjust.bed_map import BedMap
from analysis.level.blindness import moving_average_weights
from analysis.observe import Form, Observations

LEAST_STATIONS = 3
BEFORE, AFTER = "before", "after"
"""Whose heights are whose, where two surveys of one bed meet."""


def own(owner: str, tag: str) -> str:
    """Name of a face that belongs to one of the two maps alone.

    Examples
    --------
    >>> own("front-vee", "before")
    'front-vee (before)'
    """
    return f"{owner} ({tag})"


def apart(each: Observations, tag: str) -> Observations:
    """The same readings, of heights that belong to the map of this tag alone."""
    return replace(
        each,
        forms=_owned(each.forms, tag),
        plain_forms=None if each.plain_forms is None else _owned(each.plain_forms, tag),
        faces=tuple(own(face, tag) for face in each.faces),
        carriers=tuple(own(face, tag) for face in each.carriers),
        drift_group=own_drift(each, tag),
        drawn=None,  # a block of a drawn level stays as it was solved, under its new name
        drawn_runs=tuple(apart(run, tag) for run in each.drawn_runs),
    )


def own_drift(each: Observations, tag: str) -> tuple[str, ...]:
    """The group that drifts alike, within one map."""
    return (*each.drift_group, tag) if each.drift_group else ()


def doubled_faces(bed: Bed, tags: Iterable[str]) -> dict[str, Face]:
    """The bed's faces, and each once more for every map."""
    return dict(bed.faces) | {own(name, tag): face for tag in tags for name, face in bed.faces.items()}


def rows_by_station(bed_map: BedMap, combination: Mapping[str, int]) -> dict[float, np.ndarray]:
    """Rows of a combination of heights at every station where all of them are nodes."""
    at = {(n.owner, round(n.station_mm, 3)): i for i, n in enumerate(bed_map.nodes) if n.kind == "height"}
    found = {}
    for station in dict.fromkeys(station for _, station in at):
        if all((owner, station) in at for owner in combination):
            row = np.zeros(bed_map.assembly.layout.heights)
            for owner, sign in combination.items():
                row[at[(owner, station)]] += sign
            found[station] = row
    return found


def common_rows(
    bed_map: BedMap, first: Mapping[float, np.ndarray], second: Mapping[float, np.ndarray]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The stations that both have, rising, and the rows of each there."""
    common = sorted(first.keys() & second.keys())
    count = bed_map.assembly.layout.heights
    stacked = [np.array([table[at] for at in common]).reshape(-1, count) for table in (first, second)]
    return np.array(common), stacked[0], stacked[1]


def through_the_coarser_base(
    sides: Sequence[Sequence[Observations]], station: np.ndarray, first: np.ndarray, second: np.ndarray
) -> tuple[float | None, np.ndarray, np.ndarray, np.ndarray]:
    """Both maps averaged over the base that one of them is blind below, so that like meets like."""
    bases = [_blind_below(side) for side in sides]
    base_mm = max((base for base in bases if base is not None), default=None)
    if base_mm is None or bases[0] == bases[1]:
        return None, station, first, second
    inside = (station >= station[0] + base_mm / 2 - 1e-9) & (station <= station[-1] - base_mm / 2 + 1e-9)
    if np.count_nonzero(inside) < LEAST_STATIONS:
        return None, station, first, second
    weights = moving_average_weights(station, base_mm, station[inside])
    return base_mm, station[inside], weights @ first, weights @ second


def _blind_below(observations: Sequence[Observations]) -> float | None:
    """The longest ripple that a level drawn along cannot see: its base, unless a second one helps."""
    blind = [float(mm) for o in observations if o.drawn for mm in o.drawn.heights.blind_wavelength_mm[:1]]
    return max(blind, default=None)


def _owned(forms: tuple[Form, ...], tag: str) -> tuple[Form, ...]:
    return tuple(
        {(p if p.kind == "edge" else p._replace(owner=own(p.owner, tag))): w for p, w in form.items()}
        for form in forms
    )
