"""A way cut into pieces a base long: how far their mean may be from a way without a blind ripple.

A level sees how the pieces differ from each other, never what is common to all.  Where
nothing repeats with the base the mean over N pieces, at each place within the base, is off
zero only by chance: by the scatter between the pieces over √N.  That scatter is seen, and
half of its variance in the mean is added to the covariance, whatever the priors make of it
(the other half is on average in what the opinions differ by).  Waves longer than about a
base are no chance and are taken off first.

Source: derived for this project, as the variance of a mean over like pieces.
"""

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

Array = NDArray[np.float64]

WAVES_PER_PIECE = 1.5
"""Half waves along the whole that are taken off, in parts of the number of pieces."""
ADDED = 0.5
"""Share of the variance of the mean piece that is added."""


def covariance_of_mean_piece(
    node_mm: Array, height_um: Array, piece_mm: float, target: sparse.csr_array
) -> Array:
    """Covariance at stations of what all pieces may have in common by chance.

    Parameters
    ----------
    node_mm, height_um : array, shape (n,)
        Evenly spaced nodes, a whole number to a piece, and the heights there.
    piece_mm : float
        Length of a piece: the longest wavelength that nothing sees; it must fit in twice.
    target : sparse array, shape (k, n)
        Heights at stations from those at nodes.

    Examples
    --------
    Pieces that are all alike say nothing against each other:

    >>> node = np.arange(0.0, 400.0, 5.0)
    >>> ripple = np.sin(2 * np.pi * node / 20)
    >>> bool(covariance_of_mean_piece(node, ripple, 100, sparse.eye_array(80, format="csr")).max() < 1e-2)
    True
    """
    period = round(piece_mm / (node_mm[1] - node_mm[0]))
    pieces = len(node_mm) // period
    first = (len(node_mm) - pieces * period) // 2
    rest = _without_long_waves(node_mm, height_um, piece_mm)[first : first + pieces * period]
    by_piece = rest.reshape(pieces, period)
    by_piece = (by_piece - by_piece.mean(axis=0)) / np.sqrt(pieces * (pieces - 1))
    phase = (np.arange(len(node_mm)) - first) % period
    seen = np.array([target @ each[phase] for each in by_piece])
    return ADDED * seen.T @ seen


def _without_long_waves(node_mm: Array, height_um: Array, piece_mm: float) -> Array:
    """What is left of the heights without their line and waves along the whole."""
    length = float(node_mm[-1] - node_mm[0]) * len(node_mm) / (len(node_mm) - 1)
    part = (np.arange(len(node_mm)) + 0.5) / len(node_mm)
    waves = np.arange(1, int(WAVES_PER_PIECE * length / piece_mm) + 1)
    columns = np.column_stack([np.ones(len(part)), part - 0.5, np.cos(np.pi * np.outer(part, waves))])
    basis = np.linalg.qr(columns)[0]
    return height_um - basis @ (basis.T @ height_um)
