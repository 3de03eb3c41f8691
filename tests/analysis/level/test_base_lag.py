"""Heights one base apart and smoothing by a base: consistency with numbers derived for this project."""

import numpy as np
import pytest

from acquire.model.errors import AnalysisError
from analysis.level.base_lag import base_lag_stations, chain_of_runs
from analysis.level.blindness import moving_average_weights
from analysis.level.slopes import continuous_run


def dip(x):
    return np.where(np.abs(x - 750) <= 250, -50 * (1 + np.cos(2 * np.pi * (x - 750) / 500)), 0.0)


def run_over(way, base, step=2.0):
    x = np.arange(base / 2, 1500 - base / 2 + 0.1, step)
    return continuous_run(x, (way(x + base / 2) - way(x - base / 2)) / base * 1000, 2.0, base)


@pytest.mark.parametrize(("base", "shown"), [(200, 88), (400, 62)])
def test_plain_integral_and_smoothing_by_the_base_show_the_same_shallow_dip(base, shown):
    """*Derived*: a dip 100 µm deep and 500 mm long reads 88 and 62 µm."""
    run = run_over(dip, base, 0.5)
    plain = np.r_[0, np.cumsum((run.slope_um_per_m[1:] + run.slope_um_per_m[:-1]) / 2 * 0.5e-3)]
    grid = np.arange(0, 1501, 0.5)
    smooth = moving_average_weights(grid, base, run.station_mm[::50]) @ dip(grid)
    assert -plain.min() + plain[0] == pytest.approx(shown, abs=0.5)
    np.testing.assert_allclose(smooth - smooth[0], plain[::50], atol=0.01)


def test_chain_gives_the_true_heights_at_base_lag_stations():
    chain = base_lag_stations(run_over(dip, 200), rho=0.0, first_mm=50)
    assert chain.station_mm.tolist() == [50, 250, 450, 650, 850, 1050, 1250, 1450]
    np.testing.assert_allclose(chain.height_um, dip(chain.station_mm) - dip(50.0), atol=0.06)


def test_chain_does_not_care_about_ripple_between_the_stations_that_the_base_cannot_see():
    with_ripple = run_over(lambda x: dip(x) + 30 * np.sin(2 * np.pi * x / 100), 200)
    one, other = (base_lag_stations(run, rho=0.3) for run in (with_ripple, run_over(dip, 200)))
    np.testing.assert_allclose(one.height_um, other.height_um, atol=1e-9)


@pytest.mark.statistics
@pytest.mark.parametrize("rho", [0.0, 0.7])
def test_covariance_of_the_chain_agrees_with_monte_carlo(rho):
    rng = np.random.default_rng(5)
    run = run_over(dip, 200)
    quiet = base_lag_stations(run, rho=rho)
    n, rounds = len(run.station_mm), 1500
    noise = rng.normal(size=(n, rounds))
    for i in range(1, n):
        noise[i] = rho * noise[i - 1] + np.sqrt(1 - rho**2) * noise[i]
    heights = [
        base_lag_stations(
            continuous_run(run.station_mm, run.slope_um_per_m + 2 * e, 2.0, 200), rho=rho
        ).height_um
        for e in noise.T
    ]
    spread = np.cov(np.array(heights).T)
    np.testing.assert_allclose(np.diag(spread)[1:], np.diag(quiet.covariance_um2)[1:], rtol=0.15)
    assert spread[2, -1] == pytest.approx(quiet.covariance_um2[2, -1], rel=0.3)


def test_hole_in_the_samples_under_a_step_is_refused_with_its_place():
    run = run_over(dip, 200)
    keep = np.abs(run.station_mm - 550) > 30
    holed = continuous_run(run.station_mm[keep], run.slope_um_per_m[keep], 2.0, 200)
    with pytest.raises(AnalysisError, match="550 mm"):
        base_lag_stations(holed, rho=0.0, first_mm=50)


def test_impossible_requests_are_refused():
    run = run_over(dip, 200)
    with pytest.raises(AnalysisError, match="correlation of 1"):
        base_lag_stations(run, rho=1.0)
    with pytest.raises(AnalysisError, match="no step"):
        base_lag_stations(run, rho=0.0, first_mm=1450)
    with pytest.raises(AnalysisError, match="from an end of the map"):
        moving_average_weights([0, 100, 200], 100, [20])


def test_smoothing_carries_the_covariance_by_second_method():
    rng = np.random.default_rng(2)
    station = np.array([0, 70, 100, 180, 300, 400.0])
    root = rng.normal(size=(6, 6))
    weights = moving_average_weights(station, 150, [100, 250])
    draws = root @ rng.normal(size=(6, 4000))
    fine = np.linspace(-75, 75, 1501)
    share = [[np.interp(at + fine, station, one).mean() for at in (100, 250)] for one in np.eye(6)]
    averaged = draws.T @ np.array(share)
    np.testing.assert_allclose(np.cov(averaged.T), weights @ root @ root.T @ weights.T, rtol=0.1)


def test_runs_there_and_back_are_averaged_into_one_chain_with_less_noise():
    rng = np.random.default_rng(6)
    there = run_over(dip, 200)
    runs = [
        continuous_run(there.station_mm, there.slope_um_per_m + zero + 2 * rng.normal(size=651), 2.0, 200)
        for zero in (0.0, 90.0)
    ]
    one = chain_of_runs(runs[:1], [0.0], [1.0], np.arange(0, 1501, 50.0))
    both = chain_of_runs(runs, [0.0] * 2, [1.0] * 2, np.arange(0, 1501, 50.0))
    assert one.station_mm.tolist() == both.station_mm.tolist() == [50 + 200 * k for k in range(8)]
    np.testing.assert_allclose(both.covariance_um2, one.covariance_um2 / 2, rtol=1e-12)
    off = both.height_um - dip(both.station_mm)
    off -= np.polyval(np.polyfit(both.station_mm, off, 1), both.station_mm)
    assert np.max(np.abs(off)) < 1.2


def test_shortest_base_that_covers_the_way_is_chained_and_a_short_stretch_is_not():
    runs = [run_over(dip, 400), run_over(dip, 250)]
    x = np.arange(300, 501, 2.0)
    runs.append(continuous_run(x, np.zeros(101), 2.0, 50))
    assert chain_of_runs(runs, [0.0] * 3, [1.0] * 3).base_mm == 250


def test_hole_is_stepped_around_or_there_is_no_chain():
    whole = run_over(dip, 200)
    kept = np.abs(whole.station_mm - 350) > 15
    holed = continuous_run(whole.station_mm[kept], whole.slope_um_per_m[kept], 2.0, 200)
    chain = chain_of_runs([holed], [0.0], [1.0], np.arange(0, 101, 10.0))
    assert np.min(np.abs(chain.station_mm + 100 - 350)) >= 15
    assert chain_of_runs([run_over(dip, 800)], [0.0], [1.0]) is None


def even_run(slope, u, step=2.0, first=0.0, base=200.0):
    x = np.arange(100.0 + first, 901.0, step)
    return continuous_run(x, slope(x), u, base)


@pytest.mark.parametrize("rho", [0.0, 0.6])
def test_height_of_a_chain_is_unsure_by_the_means_of_its_windows(rho):
    """Eleven samples of u = 3 in each window of 20 mm; their mean has u²·Σρ^|i−j|/11² (derived), times the
    base of 0.2 m, and the chain adds one window at each step: min(i, j) of them."""
    chain = base_lag_stations(even_run(lambda x: 0 * x, 3.0), rho=rho, first_mm=50.0)
    i = np.arange(11)
    of_mean = 9.0 * np.sum(rho ** np.abs(i[:, None] - i[None, :]) if rho else np.eye(11)) / 121
    steps = np.arange(len(chain.station_mm))
    np.testing.assert_allclose(
        chain.covariance_um2, 0.2**2 * of_mean * np.minimum.outer(steps, steps), rtol=1e-9
    )


def test_slope_at_the_middle_of_a_window_is_read_off_a_line_where_samples_lie_to_one_side():
    """A way bent evenly has the slope 0.3·(x − 500): samples 7 mm apart stand askew about every middle."""
    run = even_run(lambda x: 0.3 * (x - 500), 1.0, step=7.0, first=1.0)
    chain = base_lag_stations(run, rho=0.0, first_mm=2.0)
    middle = chain.station_mm[:-1] + 100
    np.testing.assert_allclose(np.diff(chain.height_um), 0.2 * 0.3 * (middle - 500), atol=1e-9)


def test_noisier_of_two_runs_counts_the_less():
    """u 1 and 3: weights 9 and 1, so that 0 and 10 average to 1, with 9/10 of the better variance."""
    good, bad = even_run(lambda x: 0 * x, 1.0), even_run(lambda x: 0 * x + 50.0, 3.0)
    alone = chain_of_runs([good], (0,), (1,), [0.0])
    both = chain_of_runs([good, bad], (0, 0), (1, 1), [0.0])
    np.testing.assert_allclose(both.height_um, 5.0 / 50 * 50.0 * 0.2 * np.arange(len(both.height_um)))
    np.testing.assert_allclose(both.covariance_um2, 0.9 * alone.covariance_um2, rtol=1e-9)


def test_run_noisier_than_claimed_by_a_factor_has_a_chain_as_much_less_sure():
    run = even_run(lambda x: 0 * x, 1.0)
    claimed, judged = (chain_of_runs([run], (0,), (size,), [0.0]).covariance_um2 for size in (1, 3))
    np.testing.assert_allclose(judged, 9 * claimed, rtol=1e-9)
