"""Over which length a face is good to a limit, and what would have to come off for all of it to be."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.linear.profile import Profile
from analysis.linear.reference_lines import straightness

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

    A minimum zone never shrinks as its stretch grows, so that two pointers find it; three
    stations at least (two lie on a line whatever they are).

    Examples
    --------
    >>> x, h = np.arange(0, 1001, 100.0), [0, 1, -1, 0, 2, 6, 9, 7, 3, -1, 0]
    >>> face = Profile("f", x, h, np.zeros((11, 11)))
    >>> [(s.from_mm, s.to_mm) for s in (good_stretch(face, um) for um in (3, 4, 5))]
    [(0.0, 400.0), (0.0, 500.0), (0.0, 700.0)]
    """
    best: Stretch | None = None
    first = 0
    for last in range(2, profile.station_mm.size):
        found = _zone(profile, first, last)
        while found is not None and found.straightness_um + found.expanded_um > within_um + ROUNDING_UM:
            first += 1
            found = _zone(profile, first, last)
        if found is not None and (best is None or found.to_mm - found.from_mm > best.to_mm - best.from_mm):
            best = found
    return best


def _zone(profile: Profile, first: int, last: int) -> Stretch | None:
    """Minimum zone from one station to another; None for fewer than three."""
    if last - first < 2:
        return None
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
