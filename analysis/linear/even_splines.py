"""Cubic B-splines on evenly spaced knots: what each is worth at each place, and its slope, as sparse rows.

Between two knots, with u from 0 to 1, four splines are not zero:

    (1 − u)³/6,  (3u³ − 6u² + 4)/6,  (−3u³ + 3u² + 3u + 1)/6,  u³/6.

Source: the uniform cubic B-spline is textbook matter (from memory); held against scipy's.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

Array = NDArray[np.float64]


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

    def values(self, place: Array) -> sparse.csr_array:
        """Value of each spline at each place within the stretch, shape (places, pieces + 3).

        Examples
        --------
        >>> EvenSplines(0.0, 10.0, 2).values(np.array([10.0])).toarray().round(4)
        array([[0.    , 0.1667, 0.6667, 0.1667, 0.    ]])
        """
        piece, u = self._within(place)
        left = 1 - u
        middle = 3 * u**3 - 6 * u**2 + 4, 3 * left**3 - 6 * left**2 + 4
        return self._rows(piece, np.stack([left**3, *middle, u**3], axis=1) / 6)

    def slopes(self, place: Array) -> sparse.csr_array:
        """Slope of each spline at each place within the stretch, shape (places, pieces + 3).

        Examples
        --------
        >>> EvenSplines(0.0, 10.0, 2).slopes(np.array([10.0])).toarray()
        array([[ 0.  , -0.05,  0.  ,  0.05,  0.  ]])
        """
        piece, u = self._within(place)
        left = 1 - u
        middle = 3 * u**2 - 4 * u, 4 * left - 3 * left**2
        return self._rows(piece, np.stack([-(left**2), *middle, u**2], axis=1) / (2 * self.step))

    def _within(self, place: Array) -> tuple[NDArray[np.intp], Array]:
        along = (place - self.first) / self.step
        piece = np.clip(along.astype(np.intp), 0, self.pieces - 1)
        return piece, along - piece

    def _rows(self, piece: NDArray[np.intp], entries: Array) -> sparse.csr_array:
        column = piece[:, None] + np.arange(4)
        ends = np.arange(0, entries.size + 1, 4)
        return sparse.csr_array((entries.ravel(), column.ravel(), ends), shape=(len(piece), self.pieces + 3))
