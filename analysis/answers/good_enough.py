"""Whether a face is known well enough to start from: its uncertainty small against what it is to be good to.

"Straight within what could be seen" says little where little could be seen.  What a datum is to be good
to, T, is in this order

    the limit asked for; the owner's limit for the face in bed.toml; a third of the largest departure from
    straight that any face of the bed is seen to have (that is what is to be found from the datum)

and the face serves where its departure from straight and the expanded uncertainty of that together stay
within T (as ISO 14253-1 has it for a limit, from memory).  Against a stated T the departure is the minimum
zone.  Where nothing is stated and no face is seen to depart there is no T, and whether the face serves
cannot be told: how well it is known is said, for none is built in.

Where not all of a face is good to T: over which length it is, and what would have to come off.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.answers.face_map import FaceMap
from analysis.linear.fact import Fact
from analysis.linear.profile import COVERAGE_FACTOR, Profile
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


ROUNDING_UM = 1e-9


@dataclass(frozen=True)
class Stretch:
    """A stretch that is straight within a limit, its uncertainty counted."""

    face: str
    from_mm: float
    to_mm: float
    straightness_um: float
    """Minimum zone."""
    expanded_um: float


@dataclass(frozen=True, eq=False)
class Relief:
    """The least to take off for a whole face to come within a limit."""

    station_mm: NDArray[np.float64]
    removal_um: NDArray[np.float64]


def good_stretch(profile: Profile, within_um: float) -> Stretch | None:
    """The longest stretch whose minimum zone and its expanded uncertainty stay within a limit.

    A minimum zone never shrinks as its stretch grows, so that two pointers find it, and of those
    only stretches that are longer than the best are asked; three stations at least (two lie on a
    line whatever they are).

    Examples
    --------
    >>> x, h = np.arange(0, 1001, 100.0), [0, 1, -1, 0, 2, 6, 9, 7, 3, -1, 0]
    >>> face = Profile("f", x, h, np.zeros((11, 11)))
    >>> [(s.from_mm, s.to_mm) for s in (good_stretch(face, um) for um in (3, 4, 5))]
    [(0.0, 400.0), (0.0, 500.0), (0.0, 700.0)]
    """
    best: Stretch | None = None
    x, first = profile.station_mm, 0
    for last in range(2, x.size):
        while last - first >= 2 and (best is None or x[last] - x[first] > best.to_mm - best.from_mm):
            found = _zone(profile, first, last)
            if found.straightness_um + found.expanded_um <= within_um + ROUNDING_UM:
                best = found
                break
            first += 1
    return best


def _zone(profile: Profile, first: int, last: int) -> Stretch:
    """Minimum zone from one station to another."""
    part = slice(first, last + 1)
    found = straightness(
        Profile(
            profile.face,
            profile.station_mm[part],
            profile.height_um[part],
            profile.covariance_um2[part, part],
        ),
        "minimum-zone",
    )
    x = profile.station_mm
    return Stretch(profile.face, float(x[first]), float(x[last]), found.range_um, found.expanded_um)


def relief(profile: Profile, within_um: float) -> Relief:
    """The least metal off for every place to lie within a limit above one line: min Σr, 0 ≤ h − r − line ≤ X.

    Examples
    --------
    >>> x, h = np.arange(0, 1001, 100.0), [0, 1, -1, 0, 2, 6, 9, 7, 3, -1, 0]
    >>> relief(Profile("f", x, h, np.zeros((11, 11))), 5).removal_um.round(6).tolist()
    [0.0, 0.0, 0.0, 0.0, 0.0, 2.0, 5.0, 3.0, 0.0, 0.0, 0.0]
    """
    from scipy.optimize import linprog  # imported where used: it takes as long as all that other answers need

    x, h = profile.station_mm, profile.height_um
    n = x.size
    line = np.column_stack([np.ones(n), (x - x[0]) / np.ptp(x)])
    # unknowns: what comes off at each station, then the two of the line
    rows = np.block([[np.eye(n), line], [-np.eye(n), -line]])
    bounds = [(0, None)] * n + [(None, None)] * 2
    cost = np.r_[np.ones(n), 0, 0]
    found = linprog(cost, A_ub=rows, b_ub=np.r_[h, within_um - h], bounds=bounds, method="highs")
    return Relief(x, np.where(found.x[:n] < 1e-9, 0.0, found.x[:n]))
