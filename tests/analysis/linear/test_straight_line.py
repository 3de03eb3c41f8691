"""The least-squares line against published regressions, and line weights against plain definitions."""

import numpy as np
import pytest
from uncertainties import correlated_values

from acquire.model.errors import AnalysisError
from analysis.linear.straight_line import fit_line, line_rows


def test_nist_norris_is_met_to_eleven_digits(reference_case):
    case = reference_case("nist_norris")
    y, x = np.array(case["y_x"]).T
    line, certified = fit_line(x, y), case["published"]
    deviations = np.sqrt(np.diag(line.covariance))
    assert line.intercept == pytest.approx(certified["intercept"], rel=1e-11)
    assert line.slope == pytest.approx(certified["slope"], rel=1e-13)
    assert deviations[0] == pytest.approx(certified["intercept_standard_deviation"], rel=1e-11)
    assert deviations[1] == pytest.approx(certified["slope_standard_deviation"], rel=1e-11)
    assert line.residual_standard_deviation == pytest.approx(
        certified["residual_standard_deviation"], rel=1e-11
    )


@pytest.fixture
def thermometer(reference_case):
    case = reference_case("gum_h3_thermometer")
    x = np.array(case["temperature_degc"]) - case["reference_temperature_degc"]
    return case, fit_line(x, case["correction_degc"])


def test_gum_h3_coefficients_and_their_correlation(thermometer):
    """Tolerances are half the last published digit."""
    case, line = thermometer
    published = case["published"]
    assert line.intercept == pytest.approx(published["y1"], abs=0.5e-4)
    assert line.slope == pytest.approx(published["y2"], abs=0.5e-5)
    u = np.sqrt(np.diag(line.covariance))
    assert u[0] == pytest.approx(published["y1_standard_uncertainty"], abs=0.5e-4)
    assert u[1] == pytest.approx(published["y2_standard_uncertainty"], abs=0.5e-5)
    assert line.correlation == pytest.approx(published["correlation"], abs=0.5e-3)


def test_gum_h3_prediction_needs_the_correlation(thermometer):
    case, line = thermometer
    published = case["published"]
    at = published["predict_at_degc"] - case["reference_temperature_degc"]
    assert line.at(at) == pytest.approx(published["predicted"], abs=0.5e-4)
    assert line.standard_uncertainty_at(at) == pytest.approx(
        published["predicted_standard_uncertainty"], abs=0.5e-4
    )
    without = np.hypot(np.sqrt(line.covariance[0, 0]), at * np.sqrt(line.covariance[1, 1]))
    wrong = case["derived"]["predicted_standard_uncertainty_without_correlation"]
    assert without == pytest.approx(wrong, abs=0.5e-4)


def test_weighted_line_with_given_covariance_agrees_with_a_propagation_library():
    """Second method: the closed formula of the weighted line, carried by `uncertainties`."""
    rng = np.random.default_rng(2)
    x = np.sort(rng.uniform(0, 1000, 8))
    root = rng.normal(size=(8, 8))
    K, w, y = root @ root.T, rng.uniform(0.2, 3, 8), rng.normal(size=8)
    values = np.array(correlated_values(y, K))
    mean_x, mean_y = w @ x / w.sum(), w @ values / w.sum()
    slope = (w * (x - mean_x)) @ values / (w @ (x - mean_x) ** 2)
    predicted = mean_y + slope * (1500 - mean_x)
    line = fit_line(x, y, weight=w, covariance=K)
    assert line.slope == pytest.approx(slope.n, rel=1e-10)
    assert np.sqrt(line.covariance[1, 1]) == pytest.approx(slope.s, rel=1e-9)
    assert line.at(1500) == pytest.approx(predicted.n, rel=1e-9)
    assert line.standard_uncertainty_at(1500) == pytest.approx(predicted.s, rel=1e-9)


def test_weights_of_one_over_variance_agree_with_numpy_polyfit():
    rng = np.random.default_rng(4)
    x, sigma = np.arange(12.0), rng.uniform(0.5, 2, 12)
    y = 3 + 0.5 * x + sigma * rng.normal(size=12)
    coefficients, covariance = np.polyfit(x, y, 1, w=1 / sigma, cov=True)
    line = fit_line(x, y, weight=sigma**-2)
    assert [line.slope, line.intercept] == pytest.approx(coefficients)
    np.testing.assert_allclose(line.covariance[::-1, ::-1], covariance, rtol=1e-9)


@pytest.mark.parametrize("kind", ["ends", "least-squares", "minimum-zone", "unworn"])
def test_rows_of_every_line_return_a_straight_line_as_it_is(kind):
    rng = np.random.default_rng(1)
    x, y = np.sort(rng.uniform(0, 1600, 9)), rng.normal(size=9)
    rows = line_rows(kind, x, y, unworn_mm=[(0, 2000)])
    height, slope = rows @ (7 + 0.03 * x)
    assert slope == pytest.approx(0.03)
    assert height == pytest.approx(7 + 0.03 * np.mean(x))


def test_least_squares_reference_line_is_the_published_one(reference_case):
    """The rows that reference lines are made of give the certified slope of Norris as well."""
    case = reference_case("nist_norris")
    y, x = np.array(sorted(case["y_x"], key=lambda pair: pair[1])).T
    assert (line_rows("least-squares", x, y) @ y)[1] == pytest.approx(case["published"]["slope"], rel=1e-13)


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
        fit_line([3, 3, 3], [1, 2, 3])
