"""Cubic B-splines on evenly spaced knots: what each is worth at each place, and its slope.

Between two knots, with u from 0 to 1, four splines are not zero:

    (1 − u)³/6,  (3u³ − 6u² + 4)/6,  (−3u³ + 3u² + 3u + 1)/6,  u³/6.

Source: the uniform cubic B-spline is textbook matter (from memory); held against scipy's.
"""

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class SplineRows:
    """A row for each place: four splines in succession are not zero there."""

    first: NDArray[np.intp]
    """The first of the four, shape (n,)."""
    entries: Array
    """What these are worth, shape (n, 4)."""
    splines: int
    """How many there are in all."""

    def __matmul__(self, unknown: Array) -> Array:
        """The rows times one number a spline, shape (n,)."""
        return np.asarray(np.sum(self.entries * unknown[self._columns], axis=1))

    def transposed_times(self, column: Array) -> Array:
        """What one number a row, or several, come to at each spline, shape (splines,) or (splines, k)."""
        parts = [
            np.bincount(self._columns.ravel(), (self.entries * each[:, None]).ravel(), self.splines)
            for each in np.atleast_2d(column.T)
        ]
        return np.array(parts, np.float64).T.reshape(self.splines, *column.shape[1:])

    def squared(self) -> Array:
        """Rows, transposed, times rows, as LAPACK's lower band of shape (4, splines)."""
        band = np.zeros((4, self.splines), order="F")
        for one in range(4):
            for other in range(one, 4):
                product = self.entries[:, one] * self.entries[:, other]
                band[other - one] += np.bincount(self.first + one, product, self.splines)
        return band

    def against(self, other: "SplineRows") -> Array:
        """Rows, transposed, times other rows at the same places, shape (splines, splines)."""
        found = np.zeros(self.splines**2)
        for one, another in itertools.product(range(4), repeat=2):
            place = (self.first + one) * self.splines + self.first + another
            found += np.bincount(place, self.entries[:, one] * other.entries[:, another], len(found))
        return found.reshape(self.splines, self.splines)

    def times_rows(self, factor: Array) -> "SplineRows":
        """Each row multiplied by a number of its own."""
        return SplineRows(self.first, self.entries * factor[:, None], self.splines)

    def full(self) -> Array:
        """The rows with all their zeros, shape (n, splines)."""
        rows = np.zeros((len(self.first), self.splines))
        np.put_along_axis(rows, self._columns, self.entries, axis=1)
        return rows

    @property
    def _columns(self) -> NDArray[np.intp]:
        return np.asarray(self.first[:, None] + np.arange(4))


@dataclass(frozen=True)
class EvenSplines:
    """Cubic B-splines over a stretch cut into pieces of one length."""

    first: float
    """Where the first piece begins; the first spline reaches from three pieces before to its end."""
    step: float
    """Length of a piece."""
    pieces: int
    """How many pieces there are: three splines fewer than splines."""

    @property
    def last(self) -> float:
        """Where the last piece ends."""
        return self.first + self.step * self.pieces

    def values(self, place: Array) -> SplineRows:
        """Value of each spline at each place within the stretch, shape (places, pieces + 3).

        Examples
        --------
        >>> EvenSplines(0.0, 10.0, 2).values(np.array([10.0])).full().round(4)
        array([[0.    , 0.1667, 0.6667, 0.1667, 0.    ]])
        """
        piece, u = self._within(place)
        left = 1 - u
        middle = (3 * u - 6) * u**2 + 4, (3 * left - 6) * left**2 + 4
        return SplineRows(piece, np.stack([left**2 * left, *middle, u**2 * u], axis=1) / 6, self.pieces + 3)

    def slopes(self, place: Array) -> SplineRows:
        """Slope of each spline at each place within the stretch, shape (places, pieces + 3).

        Examples
        --------
        >>> EvenSplines(0.0, 10.0, 2).slopes(np.array([10.0])).full()
        array([[ 0.  , -0.05,  0.  ,  0.05,  0.  ]])
        """
        piece, u = self._within(place)
        left = 1 - u
        middle = 3 * u**2 - 4 * u, 4 * left - 3 * left**2
        entries = np.stack([-(left**2), *middle, u**2], axis=1) / (2 * self.step)
        return SplineRows(piece, entries, self.pieces + 3)

    def _within(self, place: Array) -> tuple[NDArray[np.intp], Array]:
        along = (place - self.first) / self.step
        piece = np.clip(along.astype(np.intp), 0, self.pieces - 1)
        return piece, along - piece
