"""How many samples count as one."""

import numpy as np
import pytest

from acquire.reduce.tagging.scatter import autocorrelation_time
from tests.invented import autoregressive


@pytest.mark.parametrize("share", [0.0, 0.5, 0.9])
def test_samples_that_resemble_their_neighbours_count_as_fewer(share):
    """Each a share of the one before: (1 + share)/(1 - share) count as one (textbook result, from memory)."""
    noise = np.random.default_rng(5).normal(size=100_000)
    alike = autoregressive(noise, share)
    assert autocorrelation_time([alike]) == pytest.approx((1 + share) / (1 - share), rel=0.15)
