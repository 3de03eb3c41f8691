"""What bed.toml states of an instrument, as it enters its readings: numbers by hand."""

import numpy as np
import pytest

from acquire.model.bed import Instrument
from analysis.observe.uncertainty import scale_nuisances


@pytest.mark.parametrize(
    ("stated", "share"),
    [
        ({}, None),
        ({"scale_uncertainty": 0.012}, 0.012),
        ({"base_uncertainty_mm": 0.5}, 0.005),
        ({"base_uncertainty_mm": 0.5, "scale_uncertainty": 0.012}, 0.013),
    ],
)
def test_scale_and_base_are_one_error_that_all_readings_share(stated, share):
    """√(0.5² + 1.2²) % = 1.3 % of every reading, of a level 100 mm from foot to foot."""
    level = Instrument("level", "slope", "um/m", base_mm=100, **stated)
    found = scale_nuisances(level, np.array([10.0, -20.0]))
    if share is None:
        assert found == ()
    else:
        (one,) = found
        assert one.prior_sd == pytest.approx(share)
        np.testing.assert_array_equal(one.column, [10.0, -20.0])
