"""The line that touches heights from above, along the edge of their hull."""

import numpy as np
import pytest

from analysis.linear.touching_line import line_above


@pytest.mark.parametrize("end", [40.0, -40.0])
def test_line_through_a_middle_corner_still_lies_above_every_point(end):
    x, y = np.linspace(0, 1000, 5), np.array([-5, -4, 0, -2, -5.0])
    y[-1 if end > 0 else 0] -= abs(end)
    line = line_above(x, y, 500)
    assert np.all(y - line.at(x) <= 1e-9)
    assert line.at(500) == pytest.approx(0)
