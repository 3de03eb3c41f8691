"""Whether a face is known well enough to start from: its uncertainty small against what it is to be good to.

"Straight within what could be seen" says little where little could be seen.  What a datum is to be good
to, T, is in this order

    the limit asked for; the owner's limit for the face in bed.toml; a third of the largest departure from
    straight that any face of the bed is seen to have (that is what is to be found from the datum)

and the face serves where its departure from straight and the expanded uncertainty of that together stay
within T (as ISO 14253-1 has it for a limit, from memory).  Against a stated T the departure is the minimum
zone.  Where nothing is stated and no face is seen to depart there is no T, and whether the face serves
cannot be told: how well it is known is said, for none is built in.
"""

from dataclasses import dataclass

import numpy as np

from analysis.answers.face_map import FaceMap
from analysis.linear.fact import Fact
from analysis.linear.profile import COVERAGE_FACTOR
from analysis.linear.reference_lines import remove_line, straightness

SMALL_AGAINST = 3.0
"""A datum good to a third of what is to be found from it leaves little of it unsure."""
LOOSE = 0.5
"""Places more unsure than this share of the worst are named with it."""


@dataclass(frozen=True)
class GoodTo:
    """What a face is to be good to."""

    um: float | None
    """None where neither a limit nor a departure says it."""
    is_stated: bool
    """By the person asking, or in bed.toml; else from what is to be found on the bed."""


@dataclass(frozen=True)
class KnownTooCoarsely(Fact):
    """A face that shows no more than it is known to, and that is too little to start from."""

    face: str
    expanded_um: float
    """How far from straight it may be."""
    from_mm: float
    to_mm: float
    """Where it is known worst."""
    good_to_um: float | None
    """None where nothing says it."""


def good_to(within_um: float | None, limit_um: float | None, seen_um: float) -> GoodTo:
    """What one face is to be good to.

    Parameters
    ----------
    within_um : float, optional
        As asked for.
    limit_um : float, optional
        The owner's, for this face.
    seen_um : float
        The largest departure seen on any face of the bed; 0 for none.
    """
    stated = within_um if within_um is not None else limit_um
    if stated is not None:
        return GoodTo(stated, True)
    return GoodTo(seen_um / SMALL_AGAINST if seen_um > 0 else None, False)


def serves(shape: FaceMap, at_most_um: float, is_straight: bool, wanted: GoodTo) -> bool:
    """Whether the face is good to what is wanted, its uncertainty counted."""
    if wanted.is_stated and wanted.um is not None and shape.curve_is_sure:
        zone = straightness(shape.profile, "minimum-zone")
        return zone.range_um + zone.expanded_um <= wanted.um
    return is_straight and wanted.um is not None and at_most_um <= wanted.um


def known_too_coarsely(shape: FaceMap, at_most_um: float, wanted: GoodTo) -> KnownTooCoarsely:
    """The fact, with the stretch that is known worst."""
    doubt, x = _doubt_um(shape), shape.profile.station_mm
    loose = x[doubt >= LOOSE * doubt.max()]
    return KnownTooCoarsely(shape.face, at_most_um, float(loose[0]), float(loose[-1]), wanted.um)


def _doubt_um(shape: FaceMap) -> np.ndarray:
    """Expanded uncertainty of every height from the least-squares line."""
    return COVERAGE_FACTOR * remove_line(shape.profile, "least-squares").standard_uncertainty_um
