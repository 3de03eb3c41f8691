"""Orders and groups of unknowns against scipy's, on random graphs in one part or many."""

import numpy as np
import pytest
from scipy import sparse
from scipy.sparse.csgraph import connected_components, reverse_cuthill_mckee

from analysis.linear.banded import width
from analysis.linear.neighbours import least_connected, narrow_order


def graph(seed, most=80):
    rng = np.random.default_rng(seed)
    count = int(rng.integers(1, most))
    half = sparse.random(count, count, rng.uniform(0.01, 0.1), random_state=seed)
    return sparse.csr_matrix(half + half.T + sparse.identity(count))


def width_in(pattern, order):
    return width(sparse.coo_array(pattern), np.argsort(order))


def test_order_is_as_narrow_as_scipys():
    """Among equals each may begin elsewhere: by a little now and then, and neither way on the whole."""
    widths = []
    for seed in range(200):
        pattern = graph(seed)
        order = narrow_order(pattern)
        assert sorted(order) == list(range(pattern.shape[0]))
        theirs = reverse_cuthill_mckee(pattern, symmetric_mode=True)
        widths.append((width_in(pattern, order), width_in(pattern, theirs)))
    own, theirs = np.array(widths).T
    assert np.mean(own) <= 1.02 * np.mean(theirs) and np.all(own <= 1.25 * theirs + 3)


def test_two_ways_tied_along_their_length_are_as_narrow_as_their_ties():
    """Stations of two ways, each tied to the next and to its neighbour across: four places at most."""
    ways = sparse.kron(sparse.diags([1.0, 1.0, 1.0], [-1, 0, 1], (300, 300)), np.ones((2, 2)))
    shuffled = np.random.default_rng(3).permutation(600)
    pattern = sparse.csr_matrix(ways)[shuffled][:, shuffled]
    assert width_in(pattern, narrow_order(pattern)) <= 4


@pytest.mark.parametrize("seed", range(50))
def test_what_hangs_together_is_what_scipy_finds(seed):
    pattern = graph(seed)
    found = least_connected(pattern)
    _, theirs = connected_components(pattern, directed=False)
    for label in np.unique(theirs):
        members = np.flatnonzero(theirs == label)
        assert np.all(found[members] == members[0])


def test_a_long_chain_hangs_together():
    chain = sparse.csr_matrix(sparse.diags([1.0, 1.0, 1.0], [-1, 0, 1], (20_000, 20_000)))
    shuffled = np.random.default_rng(4).permutation(20_000)
    assert not np.any(least_connected(chain[shuffled][:, shuffled]))


def test_nothing_has_an_order_and_no_groups():
    nothing = sparse.csr_matrix((0, 0))
    assert len(narrow_order(nothing)) == 0
