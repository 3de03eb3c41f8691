"""A gap between nodes may be rougher than the rest of its way: a kink, a ledge, the edge of wear.

How rough a way is all along (`between_nodes`) says little of the one place where it is worn to an edge.
Each gap may be t times as rough as the way, of the same kind or of any other, t > 1; larger is rarer.
The eight nodes about a gap judge it by their own

    z = Qᵀh ~ N(0, t²s² QᵀG_H Q + QᵀCQ)

and the variance in the gap is the mean of t²s² over all kinds, s and t by likelihood. Where the nodes run
as the rest of the way does it is hardly more than that of the way.

Derived for this project, checked by simulation (tests/benchmarks/between_stations.py): where all gaps count
as the whole way, 18 of 25 ways with a ledge have a place 25 mm from a node off by more than 4.5 standard
uncertainties; judged gap by gap one has, at a mean ± 9 % larger, 3 to 8 % larger on smooth ways.
"""

import numpy as np

from analysis.adjust.kinds_of_way import Left

ABOUT = 8
"""Nodes that judge a gap: all whose fourth differences reach over it."""
EIGHTHS = 16
"""Of a decade, that t may go up: a hundredfold."""
ROUGHER, OTHER = 0.3, 0.1
"""Shares of gaps that are thought to be rougher than their way, of the same kind and of any other. Choices:
with 0.1 of each, 90 % of places between nodes of scraped ways are held, and 92 % so."""
AT_ONCE = 60


def sizes_by_gap(
    node_mm: np.ndarray,
    height_um: np.ndarray,
    covariance_um2: np.ndarray,
    ways: np.ndarray,
    s2: np.ndarray,
    likely: np.ndarray,
) -> np.ndarray:
    """Mean of t²s² in each gap of one piece of the bed, before its first node and behind its last as well.

    Parameters
    ----------
    node_mm, height_um : array, shape (n,)
    covariance_um2 : array, shape (n, n)
    ways : array, shape (ways, 6)
        What kinds each way consists of.
    s2 : array, shape (sizes,)
        Of the whole way, in eighths of a decade of s.
    likely : array, shape (ways, sizes)
        How likely all nodes together make each.

    Returns
    -------
    array, shape (n + 1, ways)
    """
    count, width = len(node_mm), min(ABOUT, len(node_mm))
    starts = np.arange(count - width + 1)
    further = np.concatenate([s2, s2[-1] * 10.0 ** (np.arange(1, EIGHTHS + 1) / 4)])
    found = np.zeros((len(starts), len(ways)))
    for some in np.array_split(starts, -(-len(starts) // AT_ONCE)):
        mine = some[:, None] + np.arange(width)
        left = Left.of(node_mm[mine], height_um[mine], covariance_um2[mine[:, :, None], mine[:, None, :]])
        found[some] = _averaged(left.unlikelihood(ways, further), further, likely)
    return np.asarray(found[np.clip(np.arange(count + 1) - width // 2, 0, count - width)])


def _averaged(unlikely: np.ndarray, s2: np.ndarray, likely: np.ndarray) -> np.ndarray:
    """Mean of t²s² of each kind in a gap, over what the whole way may be; shape (gaps, ways)."""
    seen = _from_each_size(unlikely)
    seen = np.exp(-(seen - seen.min(axis=(1, 3), keepdims=True)) / 2)
    size = _from_each_size(s2)
    larger = 10.0 ** (-np.arange(1, EIGHTHS + 1) / 8)
    larger /= larger.sum()
    same = seen * np.concatenate([[1.0 - ROUGHER - OTHER], ROUGHER * larger])
    other = seen[..., 1:] * OTHER * larger / len(likely)
    share = likely / (same.sum(axis=-1) + other.sum(axis=(1, 3))[:, None])
    of_other = np.sum((other * size[:, 1:]).sum(axis=-1) * share.sum(axis=1)[:, None], axis=-1)
    return np.asarray(np.sum(share * (same * size).sum(axis=-1), axis=-1) + of_other)


def _from_each_size(values: np.ndarray) -> np.ndarray:
    """Of each s of a way, what belongs to all ts of a gap: one axis more, last."""
    return np.lib.stride_tricks.sliding_window_view(values, EIGHTHS + 1, axis=-1)
