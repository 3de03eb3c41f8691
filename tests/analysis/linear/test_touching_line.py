"""Lines that touch heights from below or above, along the edge of their hull."""

import numpy as np
import pytest

from analysis.linear.touching_line import line_above, line_below

X = np.arange(0, 1001, 200.0)
Y = np.array([0, -6, -11, -9, -2, 1.0])


@pytest.mark.parametrize("end", [40.0, -40.0])
def test_line_through_a_middle_corner_still_lies_below_every_point(end):
    x, y = np.linspace(0, 1000, 5), np.array([5, 4, 0, 2, 5.0])
    y[-1 if end > 0 else 0] += abs(end)
    line = line_below(x, y, 500)
    assert np.all(y - line.at(x) >= -1e-9)
    assert line.at(500) == pytest.approx(0)


def test_line_above_is_line_below_upside_down():
    up, down = line_above(X, -Y, 500), line_below(X, Y, 500)
    assert (up.slope, up.intercept, up.touching) == (-down.slope, -down.intercept, down.touching)
