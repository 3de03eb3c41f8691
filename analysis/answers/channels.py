"""Heights of a face, or of a vee sideways, as they were read, and which reading a sum of them hangs on."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquire.model.errors import AnalysisError
from analysis.adjust.bed_map import BedMap

ONE_READING = 0.6
"""Share of the variance of a step from one reading on which it is said to hang on it."""


@dataclass(frozen=True)
class OneReading:
    """A reading that a step hangs on."""

    traverse: int
    station_mm: float
    share: float
    """Of the variance of the step."""


@dataclass(frozen=True, eq=False)
class Channel:
    """One face, or a vee sideways: its heights and what they are made of."""

    face: str
    kind: str
    station_mm: NDArray[np.float64]
    height_um: NDArray[np.float64]
    covariance_um2: NDArray[np.float64]
    rows: NDArray[np.float64] | None
    """Over the nodes of the map; None where a drawn level tells them by itself."""


def known_channels(bed_map: BedMap, *, curves: bool = False) -> tuple[list[Channel], dict[str, str]]:
    """Faces whose own shape is known, vees also sideways; of the others why not.

    Parameters
    ----------
    bed_map : BedMap
    curves : bool
        Take the curve of a drawn level where its band may be quoted, not stations one base apart.
    """
    found, not_known = [], {}
    for face, described in bed_map.bed.faces.items():
        for kind in ("height", "side") if described.is_vee else ("height",):
            try:
                found.append(_channel(bed_map, face, kind, curves))
            except AnalysisError as why:
                if kind == "height":
                    not_known[face] = why.found
    return found, not_known


def _channel(bed_map: BedMap, face: str, kind: str, curves: bool) -> Channel:
    """Heights as they were read: of a drawn level at stations one base apart, unless its curve will do."""
    drawn = bed_map.read(face).drawn if kind == "height" else None
    if drawn is not None and drawn.base_lag is not None and not (curves and drawn.band_is_95_percent):
        base_lag = drawn.base_lag
        return Channel(face, kind, base_lag.station_mm, base_lag.height_um, base_lag.covariance_um2, None)
    profile = bed_map.profile(face, kind)
    rows = bed_map.over_nodes(face, profile.station_mm, kind)
    return Channel(face, kind, profile.station_mm, profile.height_um, profile.covariance_um2, rows)


def hangs_on(bed_map: BedMap, channel: Channel, rows: NDArray) -> OneReading | None:
    """The one reading that most of the variance of a sum of heights comes from, if there is one.

    Parameters
    ----------
    bed_map : BedMap
    channel : Channel
    rows : array, shape (n,)
        What of each height of the channel goes into the sum.
    """
    if channel.rows is None:
        return None
    solution = bed_map.solution
    wide = np.zeros(bed_map.assembly.unknowns)
    wide[: len(bed_map.nodes)] = rows @ channel.rows
    worst: OneReading | None = None
    whole = float(solution.covariance(wide[None])[0, 0])
    for each, block in zip(bed_map.observations, solution.blocks, strict=False):
        if channel.face not in each.faces or each.drawn is not None or whole <= 0:
            continue
        # a reading goes into the sum with its whitened row times the covariance of the unknowns
        for place in range(0, len(each), _AT_ONCE):
            part = block.whitened[place : place + _AT_ONCE].toarray()
            shared = solution.covariance(np.vstack([wide, part]))[0, 1:]
            most = int(np.argmax(np.abs(shared)))
            share = float(shared[most] ** 2 / whole)
            if share >= ONE_READING and (worst is None or share > worst.share):
                worst = OneReading(each.traverse, float(each.station_mm[place + most]), share)
    return worst


_AT_ONCE = 100
