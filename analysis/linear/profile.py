"""The heights of one face, or of one difference of faces, and how well they are known together.

Heights are deviations along the face's outward normal: positive is metal standing
proud.  A profile never comes without its positions, and its uncertainty is a full
covariance: heights along a way share the errors of the steps before them, so the
standard uncertainties alone would misjudge every line drawn through them.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from acquire.model.errors import AnalysisError
from acquire.model.places import SAME_STATION_MM
from analysis.linear.shown import Shown

COVERAGE_FACTOR = 2.0
"""Of expanded uncertainties: k = 2, 95.4 % where errors are normal."""
_SYMMETRY = 1e-9


def standard_uncertainty(covariance: NDArray[np.float64]) -> NDArray[np.float64]:
    """Of each of several figures from their joint covariance, shape (n, n); rounding below 0 counts as 0."""
    return np.sqrt(np.clip(np.diag(covariance), 0.0, None))


@dataclass(frozen=True, eq=False, repr=False)
class Profile(Shown):
    """Heights at stations, with their joint covariance.

    Raises
    ------
    AnalysisError
        If the shapes do not fit, a value is not finite, the stations do not rise
        from one to the next, or the covariance is not symmetric or has a negative
        variance or an impossible correlation.

    Examples
    --------
    >>> profile = Profile("front-vee", [0, 100, 200], [0, -3, 0], np.diag([1, 4, 1]))
    >>> profile.standard_uncertainty_um
    array([1., 2., 1.])
    """

    face: str
    """The face's id, or what the difference is of."""
    station_mm: NDArray[np.float64]
    """Positions along the bed, shape (n,), rising."""
    height_um: NDArray[np.float64]
    """Heights, shape (n,)."""
    covariance_um2: NDArray[np.float64]
    """Covariance of the heights, shape (n, n)."""

    def __post_init__(self) -> None:
        where = f"profile of {self.face}" if self.face else "profile"
        station = _finite(where, "station_mm", self.station_mm)
        height = _finite(where, "height_um", self.height_um)
        covariance = _finite(where, "covariance_um2", self.covariance_um2)
        _check_shapes(where, station, height, covariance)
        _check_rising(where, station)
        _check_covariance(where, covariance)
        object.__setattr__(self, "station_mm", _frozen(station))
        object.__setattr__(self, "height_um", _frozen(height))
        object.__setattr__(self, "covariance_um2", _frozen((covariance + covariance.T) / 2))

    @property
    def standard_uncertainty_um(self) -> NDArray[np.float64]:
        """Standard uncertainty of each height, shape (n,), before or after whatever line was removed."""
        return standard_uncertainty(self.covariance_um2)

    def through(self, matrix: ArrayLike, station_mm: ArrayLike) -> "Profile":
        """Return linear combinations of the heights as a profile at `station_mm`, covariance included.

        Parameters
        ----------
        matrix : array, shape (m, n)
            Each row makes one new height out of the present ones.
        station_mm : array, shape (m,)
            Where the new heights are.

        Examples
        --------
        The mean of two stations of equal, independent uncertainty:

        >>> halves = Profile("f", [0, 100], [1, 3], np.eye(2)).through([[0.5, 0.5]], [50])
        >>> float(halves.height_um[0]), float(halves.covariance_um2[0, 0])
        (2.0, 0.5)
        """
        rows = np.asarray(matrix, float)
        covariance = rows @ self.covariance_um2 @ rows.T
        covariance = (covariance + covariance.T) / 2  # large weights that cancel leave rounding
        return Profile(
            self.face,
            np.asarray(station_mm, float),
            rows @ self.height_um,
            (covariance + covariance.T) / 2,
        )

    def at_those_of(self, station_mm: ArrayLike) -> "Profile":
        """The heights at those of its stations that are among these.

        Examples
        --------
        >>> Profile("f", [0, 100], [1, 3], np.eye(2)).at_those_of([100, 200]).height_um
        array([3.])
        """
        here, _ = in_common(self.station_mm, np.asarray(station_mm, float))
        covariance = self.covariance_um2[np.ix_(here, here)]
        return Profile(self.face, self.station_mm[here], self.height_um[here], covariance)

    def minus(self, other: "Profile", *, cross_covariance_um2: ArrayLike | None) -> "Profile":
        """Subtract `other` at the stations both have.

        Parameters
        ----------
        other : Profile
            What is subtracted.
        cross_covariance_um2 : array, shape (n, m), or None
            Covariance of each height here (rows) with each height of `other`
            (columns); the errors they share cancel.  None says that they share none.
            There is no default: leaving the shared part out by oversight would
            overstate, or hide, a disagreement.

        Raises
        ------
        AnalysisError
            If no station is common, or the cross-covariance has the wrong shape.

        Examples
        --------
        The same map held against itself differs by nothing, with certainty:

        >>> a = Profile("f", [0, 100], [1, 3], np.eye(2))
        >>> same = a.minus(a, cross_covariance_um2=np.eye(2))
        >>> same.height_um, same.standard_uncertainty_um
        (array([0., 0.]), array([0., 0.]))
        """
        where = f"{self.face} minus {other.face}"
        here, there = _common(where, self.station_mm, other.station_mm)
        covariance = self.covariance_um2[np.ix_(here, here)] + other.covariance_um2[np.ix_(there, there)]
        if cross_covariance_um2 is not None:
            cross = _finite(where, "cross_covariance_um2", cross_covariance_um2)
            if cross.shape != (needed := (self.station_mm.size, other.station_mm.size)):
                raise AnalysisError(where, f"cross-covariance of shape {cross.shape}", f"shape {needed}")
            shared = cross[np.ix_(here, there)]
            covariance = covariance - shared - shared.T
        difference = self.height_um[here] - other.height_um[there]
        return Profile(f"{self.face} − {other.face}", self.station_mm[here], difference, covariance)


def _finite(where: str, name: str, values: ArrayLike) -> NDArray[np.float64]:
    array = np.asarray(values, float)
    wrong = np.argwhere(~np.isfinite(array))
    if wrong.size:
        place = ", ".join(str(i) for i in wrong[0])
        raise AnalysisError(where, f"{name}[{place}] is not a finite number", "finite numbers only")
    return array


def _check_shapes(where: str, station: NDArray, height: NDArray, covariance: NDArray) -> None:
    n = station.size
    if station.ndim != 1 or n == 0 or height.shape != (n,) or covariance.shape != (n, n):
        raise AnalysisError(
            where,
            f"stations {station.shape}, heights {height.shape}, covariance {covariance.shape}",
            "one height for each station and a square covariance of that size",
        )


def _check_rising(where: str, station: NDArray) -> None:
    fall = np.flatnonzero(np.diff(station) <= 0)
    if fall.size:
        i = fall[0]
        raise AnalysisError(
            where, f"station {station[i + 1]:g} mm after {station[i]:g} mm", "stations that rise, each once"
        )


def _check_covariance(where: str, covariance: NDArray) -> None:
    slack = _SYMMETRY * np.max(np.abs(covariance))
    if np.any(np.abs(covariance - covariance.T) > slack):
        raise AnalysisError(where, "covariance that is not symmetric", "cov(i, j) equal to cov(j, i)")
    variance = np.diag(covariance)
    if np.any(variance < -slack):
        raise AnalysisError(where, f"variance of {variance.min():g} µm²", "variances of 0 or more")
    deviation = np.sqrt(np.clip(variance, 0, None) + slack)
    if np.any(np.abs(covariance) > np.outer(deviation, deviation) + slack):
        raise AnalysisError(where, "covariance larger than its variances allow", "correlations within ±1")


def nearest_place(rising_mm: NDArray, at_mm: NDArray) -> NDArray[np.intp]:
    """Which of some places, rising, is nearest to each of others; of two as near the first.

    Examples
    --------
    >>> nearest_place(np.array([0.0, 100.0, 200.0]), np.array([-9.0, 50.0, 51.0, 240.0])).tolist()
    [0, 0, 1, 2]
    """
    right = np.minimum(np.searchsorted(rising_mm, at_mm), len(rising_mm) - 1)
    left = np.maximum(right - 1, 0)
    is_left = np.abs(at_mm - rising_mm[left]) <= np.abs(rising_mm[right] - at_mm)
    return np.where(is_left, left, right)


def in_common(
    one_mm: NDArray, other_mm: NDArray, within_mm: float = SAME_STATION_MM
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Which of some places, rising, are among others, rising, and which these are there.

    Examples
    --------
    >>> [each.tolist() for each in in_common(np.array([0.0, 100, 200]), np.array([50.0, 100, 200, 300]))]
    [[1, 2], [1, 2]]
    """
    if not len(other_mm):
        return np.zeros(0, np.intp), np.zeros(0, np.intp)
    nearest = nearest_place(other_mm, one_mm)
    here = np.flatnonzero(np.abs(one_mm - other_mm[nearest]) <= within_mm)
    return here, nearest[here]


def _frozen(array: NDArray) -> NDArray:
    own = array.copy()
    own.flags.writeable = False
    return own


def _common(where: str, a: NDArray, b: NDArray) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    here, there = in_common(a, b)
    if not here.size:
        raise AnalysisError(
            where,
            f"stations {a[0]:g} to {a[-1]:g} mm and {b[0]:g} to {b[-1]:g} mm, none of them shared",
            "at least one common station",
        )
    return here, there


DRAWS = 2000
_SEED = 1
_UNSEEN = 1e-12


def error_draws(covariance: NDArray) -> NDArray[np.float64]:
    """Errors drawn from a covariance, shape (draws, n).

    Those of one place lie side by side in memory: what each draw reaches at the most is found
    several times as fast so.
    """
    root = _root(covariance)
    return (root @ _standard(len(root)).T).T


@lru_cache(maxsize=4)
def _standard(count: int) -> NDArray[np.float64]:
    """Draws without unit, kept: one answer asks for those of a face several times."""
    draws = np.random.default_rng(_SEED).standard_normal((DRAWS, count))
    draws.setflags(write=False)
    return draws


def _root(covariance: NDArray) -> NDArray[np.float64]:
    """A root of the covariance that is the same in other units; what rounding left of a zero stays out.

    A line removed leaves the covariance singular: the triangular root, which is quick, then needs
    a variance too small to see on the diagonal; where that does not help the symmetric one is taken.
    """
    unseen = _UNSEEN * float(np.max(np.diag(covariance), initial=0.0))
    try:
        return np.asarray(np.linalg.cholesky(covariance + unseen * np.eye(len(covariance))), float)
    except np.linalg.LinAlgError:
        value, vector = np.linalg.eigh(covariance)
        return np.asarray((vector * np.sqrt(np.clip(value, 0, None))) @ vector.T)
