"""Fewer points where a curve has more than paper can show; its extremes stay."""

import itertools

import numpy as np

MOST_POINTS = 2000
LEAST_ROOM = 0.7
"""Of the room that a figure has where most of them stand: still enough for one."""


def thinned(height: np.ndarray) -> np.ndarray:
    """Which points of a curve to draw: all of a short one, the extremes of every stretch of a long one.

    Parameters
    ----------
    height : array, shape (n,)
        NaN where there is no value; a gap stays a gap.

    Returns
    -------
    array of int
        Rising; the first and the last point, the lowest and the highest are among them.

    Examples
    --------
    >>> wave = np.sin(np.linspace(0, 400, 100_000))
    >>> kept = thinned(wave)
    >>> bool(len(kept) <= 2000), bool(wave[kept].max() == wave.max())
    (True, True)
    """
    height = np.asarray(height, float)
    if len(height) <= MOST_POINTS:
        return np.arange(len(height))
    edges = np.linspace(0, len(height), (MOST_POINTS - 2) // 3 + 1).astype(int)
    kept = {0, len(height) - 1}
    for start, end in itertools.pairwise(edges.tolist()):
        kept |= _marked(height[start:end], start)
    return np.array(sorted(kept))


def _marked(stretch: np.ndarray, start: int) -> set[int]:
    """Lowest and highest of a stretch, and one gap if it has any."""
    is_gap = np.isnan(stretch)
    marked = {start + int(is_gap.argmax())} if is_gap.any() else set()
    if not is_gap.all():
        marked |= {start + int(np.nanargmin(stretch)), start + int(np.nanargmax(stretch))}
    return marked


def with_figures(x: np.ndarray, y: np.ndarray, most: int) -> list[int]:
    """Stations whose figure is written: all of a few, else evenly along the face, and the lowest.

    Parameters
    ----------
    x, y : array, shape (n,)
        Stations and values; no figure where the value is NaN.
    most : int
        More figures would run together.

    Examples
    --------
    >>> with_figures(np.arange(5.0), np.zeros(5), 9)
    [0, 1, 2, 3, 4]
    >>> with_figures(np.arange(9.0), np.array([0, 0, 0, -7.0, 0, 0, 0, 0, 0]), 5)
    [0, 3, 6, 8]
    """
    known = np.flatnonzero(np.isfinite(y))
    if len(known) < 2:
        return [int(index) for index in known]
    pitch = (x[known[-1]] - x[known[0]]) / (most - 1)
    if np.min(np.diff(x[known])) >= LEAST_ROOM * pitch:
        return [int(index) for index in known]
    wanted = np.linspace(x[known[0]], x[known[-1]], most)
    even = {int(known[np.argmin(np.abs(x[known] - place))]) for place in wanted}
    lowest = int(known[np.argmin(y[known])])
    return sorted({i for i in even if abs(x[i] - x[lowest]) > 0.9 * pitch} | {lowest})
