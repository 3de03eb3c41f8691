"""Which unknowns meet in a reading: an order in which they stand near each other, and what hangs together.

scipy.sparse.csgraph has both, and loads scipy's sparse solvers with them, which nothing here needs and
which take as long to load as all of waylog's own arithmetic.

Source: the order is that of Cuthill and McKee (1969), reversed as George proposed (1971), from memory:
places are visited in breadth, from the one with the fewest neighbours, and of a place's neighbours those
first that have few themselves.  Held against scipy's in the tests.
"""

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

Places = NDArray[np.intp]


def narrow_order(pattern: sparse.csr_matrix) -> Places:
    """The order in which entries of a symmetric matrix lie near the diagonal, shape (n,).

    Examples
    --------
    A chain of four, written down in disorder:

    >>> ties = sparse.csr_matrix(np.array([[1, 0, 1, 1], [0, 1, 0, 1], [1, 0, 1, 0], [1, 1, 0, 1]]))
    >>> narrow_order(ties)
    array([2, 0, 3, 1])
    """
    degree = np.diff(pattern.indptr)
    row = np.repeat(np.arange(len(degree)), degree)
    neighbours = pattern.indices[np.lexsort((degree[pattern.indices], row))].tolist()
    first = pattern.indptr.tolist()
    is_seen, order = bytearray(len(degree)), []
    for start in np.argsort(degree, kind="stable").tolist():
        if is_seen[start]:
            continue
        is_seen[start], reached = True, [start]
        for place in reached:  # grows while it is gone through
            for other in neighbours[first[place] : first[place + 1]]:
                if not is_seen[other]:
                    is_seen[other] = True
                    reached.append(other)
        order += reached
    return np.array(order[::-1], np.intp)


def least_connected(pattern: sparse.csr_matrix) -> Places:
    """The least index of all that hang together with each, by however many steps, shape (n,).

    In each round every group joins one beside it that has a lower index, so that half of them go.

    Parameters
    ----------
    pattern : csr matrix, shape (n, n)
        Symmetric, its diagonal without zeros.

    Examples
    --------
    >>> least_connected(sparse.csr_matrix(np.array([[1, 0, 0, 1], [0, 1, 0, 0], [0, 0, 1, 1], [1, 0, 1, 1]])))
    array([0, 1, 0, 0])
    """
    least = np.arange(pattern.shape[0])
    while True:
        beside = np.minimum.reduceat(least[pattern.indices], pattern.indptr[:-1])
        if np.array_equal(beside, least):
            return least
        np.minimum.at(least, least.copy(), beside)
        while not np.array_equal(least, least[least]):
            least = least[least]
