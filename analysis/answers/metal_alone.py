"""What of a face's change is metal and what is the bed, by faces that nobody scraped.

A section moves as a body: a face at p across that looks up rises by dz + dθ p.  Faces that were not
scraped, at two places across or more, give dz and dθ at every station by least squares; at a scraped
face what is left is metal,

    Δm(x) = Δh(x) - u [1, p] A⁺ Δh_k(x),    A = u_k [1, p_k]

u the upward part of each normal.  Each change is known up to a line only, and so is the metal.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquire.model.bed import Bed
from acquire.model.errors import AnalysisError
from analysis.adjust.bed_map import BedMap
from analysis.answers.two_maps import AFTER, BEFORE, LEAST_STATIONS, own, rows_by_station
from analysis.linear.agreement import agreement
from analysis.linear.reference_lines import remove_line

CHANCE = 0.01


@dataclass(frozen=True)
class BedMoved:
    """Whether the bed itself moved between two measurements, by faces that were not scraped."""

    by: tuple[str, ...]
    is_seen: bool
    """Whether chance explains the change of these faces in fewer than one survey in a hundred."""
    largest_um: float
    """Largest change of one of them from its line."""


def unscraped_faces(bed: Bed, measured: Sequence[str], scraped: Sequence[str]) -> tuple[str, ...]:
    """Faces that give the movement of the section: all but the scraped ones, or those nothing runs on.

    Parameters
    ----------
    bed : Bed
    measured : sequence of str
        Both before and after.
    scraped : sequence of str
        As the person names them; empty where nobody did.
    """
    kept = [
        face
        for face in measured
        if bed.faces[face].upward
        and bed.faces[face].across_mm is not None
        and (face not in scraped if scraped else not bed.faces[face].runs)
    ]
    return tuple(kept)


def section_weights(bed: Bed, face: str, others: Sequence[str]) -> NDArray[np.float64] | None:
    """What of each unscraped face's change the bed makes of this face's; None where they tell no roll.

    Examples
    --------
    Unscraped at 250 and 80 across, scraped at 0; they rose by 8 and 4.6: the bed raised it by 3.

    >>> from acquire.model.bed import Face
    >>> faces = {n: Face(n, "up", across_mm=p) for n, p in (("f", 0.0), ("r", 250.0), ("t", 80.0))}
    >>> weights = section_weights(Bed("bench", 1000.0, (0.0,), faces), "f", ("r", "t"))
    >>> round(float(weights @ [8.0, 4.6]), 6)
    3.0
    """
    described = bed.faces[face]
    if described.across_mm is None or not described.upward:
        return None
    design = np.array([_row(bed, other) for other in others]).reshape(-1, 2)
    if len({row[1] / row[0] for row in design}) < 2:
        return None
    return np.asarray(_row(bed, face) @ np.linalg.pinv(design))


def _row(bed: Bed, face: str) -> NDArray[np.float64]:
    described = bed.faces[face]
    return described.upward * np.array([1.0, described.across_mm or 0.0])


def metal_rows(joint: BedMap, bed: Bed, face: str, others: Sequence[str]) -> tuple[NDArray, NDArray] | None:
    """Stations, and rows over the heights of both times for the metal there; None where it is not told.

    Parameters
    ----------
    joint : BedMap
        With the heights of both times.
    bed : Bed
    face : str
    others : sequence of str
        Not scraped.
    """
    weights = section_weights(bed, face, others)
    if face in others or weights is None:
        return None
    tables = {name: _change_rows(joint, name) for name in (face, *others)}
    common = sorted(set.intersection(*(set(each) for each in tables.values())))
    if len(common) < LEAST_STATIONS:
        return None
    rows = [
        tables[face][at] - sum(w * tables[name][at] for w, name in zip(weights, others, strict=True))
        for at in common
    ]
    return np.array(common), np.array(rows)


def _change_rows(joint: BedMap, face: str) -> Mapping[float, NDArray]:
    before, after = (rows_by_station(joint, {own(face, tag): 1}) for tag in (BEFORE, AFTER))
    return {at: after[at] - before[at] for at in before.keys() & after.keys()}


def bed_moved(joint: BedMap, others: Sequence[str]) -> BedMoved | None:
    """Whether faces that were not scraped changed their shape; None where none is known both times."""
    found = []
    for face in others:
        table = _change_rows(joint, face)
        station = np.array(sorted(table))
        if station.size < LEAST_STATIONS:
            continue
        try:
            change = joint.combined(face, station, np.array([table[at] for at in sorted(table)]))
        except AnalysisError:
            continue
        level = remove_line(change, "least-squares")
        judged = agreement(level.height_um, level.covariance_um2, level.station_mm)
        found.append((judged.p_value, float(np.max(np.abs(level.height_um)))))
    if not found:
        return None
    least = min(p for p, _ in found)
    return BedMoved(tuple(others), least < CHANCE / len(found), max(um for _, um in found))
