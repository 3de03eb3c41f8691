"""Smoothness priors against Matérn's textbook covariance, plain filters and plain matrices."""

import numpy as np
import pytest
from scipy.special import gamma, kv

from analysis.level.smoothness import FewPlaces, Stationary
from tests.invented import autoregressive

KINDS = [Stationary(order, length) for order in (1, 2, 3) for length in (20.0, 300.0)]


def matern(nu, length, apart):
    """The general form with a Bessel function of the second kind, from memory: no half-integer shortcut."""
    scaled = np.sqrt(2 * nu) * np.maximum(apart, 1e-9) / length
    return 2 ** (1 - nu) / gamma(nu) * scaled**nu * kv(nu, scaled)


@pytest.mark.parametrize("kind", KINDS, ids=str)
def test_close_nodes_have_the_covariance_of_the_textbook(kind):
    node = np.arange(0.0, 400.0, kind.length_mm / 40)[:60]
    covariance = np.linalg.inv(kind.on(node).precision.toarray())
    apart = np.abs(np.subtract.outer(node, node))
    np.testing.assert_allclose(covariance, matern(kind.order - 0.5, kind.length_mm, apart), atol=0.02)


@pytest.mark.parametrize("kind", KINDS, ids=str)
def test_covariance_and_determinant_are_those_of_noise_filtered_from_long_before(kind):
    """Second method: white noise passed as often as the order says, scaled to variance 1."""
    node, impulse = np.arange(0.0, 100.0, 5.0), np.zeros(6000)
    impulse[0] = 1.0
    for _ in range(kind.order):
        impulse = autoregressive(impulse, kind.kept(5.0))
    lagged = [impulse[k:] @ impulse[: len(impulse) - k] for k in range(len(node))]
    covariance = np.array(lagged)[np.abs(np.subtract.outer(*[np.arange(len(node))] * 2))] / lagged[0]
    prior = kind.on(node)
    np.testing.assert_allclose(np.linalg.inv(prior.precision.toarray()), covariance, atol=2e-5)
    if kind.length_mm < 100:  # of smoother ones the plain determinant is lost in rounding
        assert prior.log_determinant == pytest.approx(-np.linalg.slogdet(covariance)[1], rel=1e-6)


def test_long_smooth_prior_keeps_its_variance_on_many_nodes():
    node = np.arange(0.0, 1500.0, 5.0)
    root = Stationary(3, 2000.0).on(node).root.toarray()
    ends = np.linalg.inv(root)[[0, -1]]
    np.testing.assert_allclose(np.sum(ends**2, axis=1), 1.0, rtol=1e-3)


def test_way_that_bends_in_few_places_lets_curvature_go_where_its_weight_is():
    node = np.arange(0.0, 100.0, 5.0)
    weight = np.where(np.abs(node - 50) < 1, 9.0, 1.0)
    covariance = np.linalg.inv(FewPlaces(node, weight).on(node).precision.toarray())
    second = np.diff(np.eye(len(node)), 2, axis=0)
    np.testing.assert_allclose(second @ covariance @ second.T, np.diag(weight[1:-1]) * 5.0**3, atol=1e-4)
