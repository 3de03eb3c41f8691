"""The sum by hand: published cases, closed forms against Monte Carlo and other routes."""

import numpy as np
import pytest

from acquire.model.errors import AnalysisError
from analysis.level.cumulative import (
    hand_check,
    heights_covariance,
    heights_from_slopes,
    profile_from_slopes,
    step_uncertainty_um_per_m,
)
from analysis.linear.reference_lines import remove_line, straightness

ACCEPTANCE_SLOPES = [12, 8.5, 3, -1.5, -6, -4, 0.5, 2, 5.5, 9]


def end_point_covariance(steps, sigma_um):
    """Derived: after the line through the ends σ²·(min(i, j) − i·j/n), largest in the middle."""
    i = np.arange(steps + 1)
    return sigma_um**2 * (np.minimum.outer(i, i) - np.outer(i, i) / steps)


def least_squares_covariance(steps, sigma_um):
    """Derived: σ²·M·min(i, j)·M with M = I − X(XᵀX)⁻¹Xᵀ, largest at the ends."""
    i = np.arange(steps + 1.0)
    design = np.stack([np.ones_like(i), i], axis=1)
    M = np.eye(i.size) - design @ np.linalg.pinv(design)
    return sigma_um**2 * M @ np.minimum.outer(i, i) @ M


def arcseconds(minutes_seconds):
    minutes, seconds = np.array(minutes_seconds).T
    return 60 * minutes + seconds


def slopes_and_profile(reading, um_per_reading, base_mm):
    """Slopes of the steps after the datum reading, and their profile."""
    slope = (reading - reading[0]) * um_per_reading * 1000 / base_mm
    middle = base_mm * (np.arange(slope.size) + 0.5)
    return slope, profile_from_slopes("f", middle, slope, base_mm, 1e-6)


def test_published_slides_give_three_micrometres(reference_case):
    case = reference_case("autocollimator_slides_six_steps")
    forward = arcseconds(case["forward_arcminutes_arcseconds"])
    backward = arcseconds(case["backward_arcminutes_arcseconds"])
    mean = (forward + backward) / 2
    assert mean.tolist() == case["derived"]["mean_arcseconds"]
    per_um_m = case["um_per_arcsecond"] * 1000 / case["base_mm"]
    slope = (mean - mean[0])[1:] * per_um_m
    profile = profile_from_slopes("f", 100 * np.arange(6) + 50, slope, case["base_mm"], 1e-6)
    np.testing.assert_allclose(profile.height_um, case["derived"]["height_um"], atol=1e-12)
    ends = remove_line(profile, "ends").height_um
    np.testing.assert_allclose(ends, case["derived"]["deviation_um"], atol=1e-12)
    published = case["published"]
    assert straightness(profile, "ends").range_um == pytest.approx(published["end_point_range_um"])
    assert (ends.max(), ends.min()) == pytest.approx((published["highest_um"], published["lowest_um"]))
    derived = case["derived"]
    assert straightness(profile, "least-squares").range_um == pytest.approx(
        derived["least_squares_range_um"], abs=1e-6
    )
    assert straightness(profile, "minimum-zone").range_um == pytest.approx(derived["minimum_zone_um"])
    exact = derived["exact_um_per_arcsecond"] / case["um_per_arcsecond"]
    assert exact * np.ptp(ends) == pytest.approx(derived["end_point_range_with_exact_scale_um"], abs=2e-6)


def test_published_student_report_gives_its_rise_and_slope(reference_case):
    case = reference_case("autocollimator_student_report_eight_steps")
    minutes = arcseconds(case["reading_arcminutes_arcseconds"]) / 60
    _, profile = slopes_and_profile(minutes, case["um_per_arcminute"], case["base_mm"])
    published, derived = case["published"], case["derived"]
    assert profile.height_um[-1] == pytest.approx(published["total_rise_um"], abs=5e-4)
    assert profile.height_um[-1] / 8 == pytest.approx(published["end_point_slope_um_per_step"], abs=5e-5)
    np.testing.assert_allclose(profile.height_um, derived["height_um"], atol=5e-5)
    for kind, key in (
        ("ends", "end_point_range_um"),
        ("least-squares", "least_squares_range_um"),
        ("minimum-zone", "minimum_zone_um"),
    ):
        assert straightness(profile, kind).range_um == pytest.approx(derived[key], abs=5e-4)


def test_acceptance_slopes_sum_to_their_heights():
    """Worked out for this project."""
    expected = [0, 1.2, 2.05, 2.35, 2.2, 1.6, 1.2, 1.25, 1.45, 2.0, 2.9]
    np.testing.assert_allclose(heights_from_slopes(ACCEPTANCE_SLOPES, 100), expected, atol=1e-12)


def test_closed_forms_have_their_acceptance_values():
    """Worked out for this project: n = 20, base 100 mm, 2 µm/m, so σ = 0.2 µm; tolerance 1e-4."""
    profile = profile_from_slopes("f", 100 * np.arange(20) + 50, np.zeros(20), 100, 2)
    ends, fitted = (remove_line(profile, kind) for kind in ("ends", "least-squares"))
    assert ends.standard_uncertainty_um[[5, 10]] == pytest.approx([0.3873, 0.4472], abs=1e-4)
    assert fitted.standard_uncertainty_um[[0, 10]] == pytest.approx([0.2999, 0.2643], abs=1e-4)
    assert ends.covariance_um2[5, 15] == pytest.approx(0.05, abs=1e-4)
    assert fitted.covariance_um2[5, 15] == pytest.approx(-0.007475, abs=1e-6)


@pytest.mark.parametrize(
    ("kind", "closed"), [("ends", end_point_covariance), ("least-squares", least_squares_covariance)]
)
def test_profile_with_its_line_removed_has_the_closed_form_covariance(kind, closed):
    profile = profile_from_slopes("f", 100 * np.arange(20) + 50, np.zeros(20), 100, 2)
    np.testing.assert_allclose(remove_line(profile, kind).covariance_um2, closed(20, 0.2), atol=1e-12)


@pytest.mark.statistics
def test_covariance_of_unequal_steps_is_what_monte_carlo_finds():
    rng = np.random.default_rng(1)
    u = rng.uniform(1, 5, 12)
    sums = np.array([heights_from_slopes(row, 200) for row in rng.normal(0, u, (20_000, 12))])
    stated = heights_covariance(u, 200)
    # 20 000 draws: variances to 1 % (one sigma).
    np.testing.assert_allclose(np.cov(sums.T), stated, atol=0.04 * stated.max())


def test_seating_of_a_foot_costs_what_practice_says():
    """Half a micrometre a foot is 3.5 µm/m on a 200 mm base; with 2 µm/m beside it 4.06."""
    assert step_uncertainty_um_per_m([0, 2], 0.5, 200) == pytest.approx([3.5355, 4.0620], abs=1e-4)


def test_walking_the_way_backwards_mirrors_the_heights():
    slope = np.array(ACCEPTANCE_SLOPES)
    there, back = heights_from_slopes(slope, 100), heights_from_slopes(-slope[::-1], 100)
    np.testing.assert_allclose(back[::-1] - back[-1], there, atol=1e-12)


def test_metres_and_millimetres_agree():
    """A slope of 1000 µm/m is 1 mm/m: a base of 1000 mm rises by 1000 µm, one mm."""
    assert heights_from_slopes([1000], 1000).tolist() == [0, 1000]


def test_hand_check_can_be_followed_line_by_line():
    table = hand_check("front-vee", 100 * np.arange(10) + 50, ACCEPTANCE_SLOPES, 100, 2)
    first, second = table.stations[:2]
    assert (first.reading_um_per_m, first.rise_um, first.height_um) == (None, None, 0)
    assert (second.station_mm, second.reading_um_per_m) == (100, 12)
    running = 0.0
    for row in table.stations[1:]:
        assert row.rise_um == pytest.approx(row.reading_um_per_m * 0.1)
        running += row.rise_um
        assert row.height_um == pytest.approx(running)
        assert row.line_um == pytest.approx(2.9 * row.station_mm / 1000)
        assert row.deviation_um == pytest.approx(row.height_um - row.line_um)
    assert table.range_um == pytest.approx(2.35)
    uncertainties = [row.standard_uncertainty_um for row in table.stations]
    assert uncertainties == pytest.approx(np.sqrt(np.diag(end_point_covariance(10, 0.2))), abs=1e-7)


@pytest.mark.parametrize("kind", ["least-squares", "minimum-zone", "unworn"])
def test_hand_check_follows_the_chosen_line(kind):
    table = hand_check("f", 100 * np.arange(10) + 50, ACCEPTANCE_SLOPES, 100, 2, kind, [[0, 200]])
    rows = table.stations
    assert [r.height_um - r.line_um for r in rows] == pytest.approx([r.deviation_um for r in rows])
    bends = np.diff([r.line_um for r in rows], 2)
    np.testing.assert_allclose(bends, 0, atol=1e-12)


def test_missing_step_is_refused_by_its_number():
    with pytest.raises(AnalysisError, match="step 2 of 3 has no reading"):
        heights_from_slopes([1, np.nan, 2], 100)


@pytest.mark.parametrize("base", [0, -100, np.nan, np.inf])
def test_base_that_cannot_be_is_refused(base):
    with pytest.raises(AnalysisError, match="a length above 0 mm"):
        heights_from_slopes([1, 2], base)


@pytest.mark.parametrize("middle", [[50, 150, 260], [50, 100, 150], [250, 150, 50]])
def test_steps_that_are_not_the_base_are_refused_and_told_where_to_go(middle):
    with pytest.raises(AnalysisError, match="Use the combination"):
        profile_from_slopes("f", middle, [1, 2, 3], 100, 1)


def test_placing_a_hair_off_is_taken_and_the_feet_share_it():
    profile = profile_from_slopes("f", [50, 151, 250], [1, 2, 3], 100, 1)
    assert profile.station_mm.tolist() == [0, 100.5, 200.5, 300]
