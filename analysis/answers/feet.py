"""Where a stepped level's feet miss the stations that other instruments read, nothing ties the two.

Heights are known at the feet and at the stations read; between feet a curve would be a
guess.  It is said, so that the next traverse is taken where both can meet.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from analysis.adjust.bed_map import BedMap
from analysis.adjust.nodes import FOOT_MM
from analysis.linear.fact import Fact
from analysis.observe import Observations

LEAST_SHARED = 3
"""Two places in common tie no shape: any two heights lie on a line."""


@dataclass(frozen=True)
class FeetUntied(Fact):
    """A level whose feet miss the stations that other instruments read."""

    instrument: str
    face: str
    others: tuple[str, ...]
    """The instruments that read them."""


def untied_feet(bed_map: BedMap, face: str) -> tuple[Fact, ...]:
    """What to mind about stepped levels on a face whose feet meet no other reading.

    Parameters
    ----------
    bed_map : BedMap
    face : str
    """
    if ("height", face) in bed_map.assembly.ways:
        return ()
    others = [o for o in bed_map.observations if not o.measures.has_feet_along and face in o.faces]
    read = _places(others, face)
    found = []
    for level in bed_map.observations:
        if not level.is_stepped_level or face not in level.faces:
            continue
        feet = _places([level], face)
        if min(len(feet), len(read)) >= LEAST_SHARED and _shared(feet, read) < LEAST_SHARED:
            names = tuple(dict.fromkeys(o.instrument for o in others))
            found.append(FeetUntied(level.instrument, face, names))
    return tuple(dict.fromkeys(found))


def _places(observations: Iterable[Observations], face: str) -> np.ndarray:
    """Where these readings touch the face, rising."""
    found = {
        round(place.station_mm, 3)
        for each in observations
        for form in each.forms
        for place in form
        if place.kind == "height" and place.owner == face
    }
    return np.array(sorted(found))


def _shared(feet: np.ndarray, read: np.ndarray) -> int:
    return int(np.count_nonzero(np.abs(feet[:, None] - read[None, :]).min(axis=1) <= FOOT_MM))
