"""The least-squares line against published regressions, and line weights against plain definitions."""

import numpy as np
import pytest
from uncertainties import correlated_values

from acquire.model.errors import AnalysisError
from analysis.linear.straight_line import least_squares_rows, line_rows


def _coefficients(x, y):
    """Intercept and slope by the rows, their covariance from the scatter s about the line, and s."""
    to_zero = np.array([[1.0, -np.mean(x)], [0.0, 1.0]])
    rows = to_zero @ line_rows("least-squares", x, y)
    intercept, slope = rows @ y
    scatter = np.sqrt(np.sum((y - intercept - slope * x) ** 2) / (len(x) - 2))
    return intercept, slope, scatter**2 * rows @ rows.T, scatter


def test_nist_norris_is_met_to_eleven_digits(reference_case):
    case = reference_case("nist_norris")
    y, x = np.array(case["y_x"]).T
    certified = case["published"]
    intercept, slope, covariance, scatter = _coefficients(x, y)
    deviations = np.sqrt(np.diag(covariance))
    assert intercept == pytest.approx(certified["intercept"], rel=1e-11)
    assert slope == pytest.approx(certified["slope"], rel=1e-13)
    assert deviations[0] == pytest.approx(certified["intercept_standard_deviation"], rel=1e-11)
    assert deviations[1] == pytest.approx(certified["slope_standard_deviation"], rel=1e-11)
    assert scatter == pytest.approx(certified["residual_standard_deviation"], rel=1e-11)


def test_gum_h3_coefficients_and_a_prediction_need_their_correlation(reference_case):
    """Tolerances are half the last published digit."""
    case = reference_case("gum_h3_thermometer")
    published, from_c = case["published"], case["reference_temperature_degc"]
    x = np.array(case["temperature_degc"]) - from_c
    intercept, slope, covariance, _ = _coefficients(x, np.array(case["correction_degc"]))
    assert intercept == pytest.approx(published["y1"], abs=0.5e-4)
    assert slope == pytest.approx(published["y2"], abs=0.5e-5)
    u = np.sqrt(np.diag(covariance))
    assert u[0] == pytest.approx(published["y1_standard_uncertainty"], abs=0.5e-4)
    assert u[1] == pytest.approx(published["y2_standard_uncertainty"], abs=0.5e-5)
    assert covariance[0, 1] / u.prod() == pytest.approx(published["correlation"], abs=0.5e-3)
    at = np.array([1.0, published["predict_at_degc"] - from_c])
    assert at @ (intercept, slope) == pytest.approx(published["predicted"], abs=0.5e-4)
    assert np.sqrt(at @ covariance @ at) == pytest.approx(
        published["predicted_standard_uncertainty"], abs=0.5e-4
    )


def test_rows_of_a_weighted_line_agree_with_a_propagation_library():
    """Second method: the closed formula of the weighted line, carried by `uncertainties`."""
    rng = np.random.default_rng(2)
    x = np.sort(rng.uniform(0, 1000, 8))
    root = rng.normal(size=(8, 8))
    K, w, y = root @ root.T, rng.uniform(0.2, 3, 8), rng.normal(size=8)
    values = np.array(correlated_values(y, K))
    mean_x, mean_y = w @ x / w.sum(), w @ values / w.sum()
    slope = (w * (x - mean_x)) @ values / (w @ (x - mean_x) ** 2)
    predicted = mean_y + slope * (1500 - mean_x)
    rows = least_squares_rows(x, w)
    row = rows[0] + (1500 - np.mean(x)) * rows[1]
    assert rows[1] @ y == pytest.approx(slope.n, rel=1e-10)
    assert np.sqrt(rows[1] @ K @ rows[1]) == pytest.approx(slope.s, rel=1e-9)
    assert row @ y == pytest.approx(predicted.n, rel=1e-9)
    assert np.sqrt(row @ K @ row) == pytest.approx(predicted.s, rel=1e-9)


def test_rows_with_weights_of_one_over_variance_agree_with_numpy_polyfit():
    rng = np.random.default_rng(4)
    x, sigma = np.arange(12.0), rng.uniform(0.5, 2, 12)
    y = 3 + 0.5 * x + sigma * rng.normal(size=12)
    middle, slope = least_squares_rows(x, sigma**-2) @ y
    assert [slope, middle - slope * np.mean(x)] == pytest.approx(np.polyfit(x, y, 1, w=1 / sigma))


@pytest.mark.parametrize("kind", ["ends", "least-squares", "minimum-zone", "unworn"])
def test_rows_of_every_line_return_a_straight_line_as_it_is(kind):
    rng = np.random.default_rng(1)
    x, y = np.sort(rng.uniform(0, 1600, 9)), rng.normal(size=9)
    rows = line_rows(kind, x, y, unworn_mm=[(0, 2000)])
    height, slope = rows @ (7 + 0.03 * x)
    assert slope == pytest.approx(0.03)
    assert height == pytest.approx(7 + 0.03 * np.mean(x))


def test_unworn_line_ignores_everything_outside_its_stretches():
    x = np.arange(0, 1700, 100.0)
    rows = line_rows("unworn", x, 0 * x, unworn_mm=[[0, 100], [1500, 1600]])
    assert np.flatnonzero(np.abs(rows).max(axis=0)).tolist() == [0, 1, 15, 16]


def test_unworn_line_through_one_station_is_refused_with_what_to_do():
    with pytest.raises(AnalysisError, match=r"1 of the stations .* two or more\. Name longer stretches"):
        line_rows("unworn", [0, 100, 200], [0, 0, 0], unworn_mm=[[0, 50]])


def test_unknown_line_is_refused_with_what_is_allowed():
    with pytest.raises(AnalysisError, match=r"ends \| least-squares \| minimum-zone \| unworn"):
        line_rows("best", [0, 1], [0, 0])


def test_line_through_a_single_place_is_refused():
    with pytest.raises(AnalysisError, match="fewer than two different places"):
        line_rows("least-squares", [3, 3, 3], [1, 2, 3])
