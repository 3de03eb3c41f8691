"""Short form of the coverage benchmark: stated intervals hold the truth as often as they say."""

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest

pytestmark = pytest.mark.statistics


@pytest.fixture(scope="module")
def benchmark():
    path = Path(__file__).parent.parent / "benchmarks" / "coverage.py"
    sys.path.insert(0, str(path.parent))
    spec = importlib.util.spec_from_file_location("coverage_of_intervals", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    sys.path.remove(str(path.parent))
    return module


@pytest.mark.parametrize(
    "case", ["level there and back", "levels, cross level, dial", "straightedge, turned over"]
)
def test_intervals_hold_the_truth_and_are_no_wider_than_need_be(benchmark, case):
    """60 seeded surveys, some 500 independent heights: the share held is sure to about ± 1 %."""
    tally = benchmark.run_case(case, 60, seed=11)
    heights, _, wind, spread = tally.row()
    assert 0.92 <= heights <= 0.985
    assert spread == pytest.approx(1.0, abs=0.08)
    assert wind is None or wind >= 0.87
    straight, winding = tally.spreads()
    assert 0.75 <= straight <= 1.25, "twice too wide would be 0.5"
    assert winding is None or 0.75 <= winding <= 1.3
    assert tally.sizes()[1] <= 4.5


def test_mean_width_is_that_of_the_closed_form(benchmark):
    """A level stepped there and back over n = 12 steps: each height after the least-squares line has
    the variance of σ²·M·K·M, K = min(i, j), σ of one step averaged over two runs (derived: sums of
    independent steps; a steady drift is told by the return and costs the heights nothing)."""
    step_um = np.hypot(1.0 * 0.1, 2**0.5 * 0.4) / 2**0.5
    i = np.arange(13)
    lines = np.vander(i, 2)
    straighten = np.eye(13) - lines @ np.linalg.pinv(lines)
    variance = np.diag(straighten @ np.minimum.outer(i, i) @ straighten.T) * step_um**2
    width_um, _ = benchmark.run_case("level there and back", 30, seed=11).sizes()
    assert width_um == pytest.approx(2 * np.mean(np.sqrt(variance)), rel=0.04)


def test_real_ground_under_real_noise_is_held(benchmark):
    """Profiles of a digital elevation model as ways, a recorded electroencephalogram as noise (both
    from matplotlib's sample data): neither is normal, smooth or of our making."""
    tally = benchmark.run_case("real ground, real noise", 40, seed=11)
    heights, _, wind, spread = tally.row()
    assert 0.92 <= heights <= 0.99
    assert 0.8 <= spread <= 1.1
    assert wind >= 0.87
    assert tally.sizes()[1] <= 4.5


def test_real_ground_under_a_drawn_level_is_held(benchmark):
    tally = benchmark.run_case("real ground, real noise, drawn", 8, seed=11)
    heights, _, _, spread = tally.row()
    assert heights >= 0.9
    assert 0.4 <= spread <= 1.2
    assert tally.sizes()[1] <= 4.5


def test_recording_used_as_noise_is_a_recording(benchmark):
    """Heavier in its tails than a normal distribution (kurtosis 3), and slow: neighbours go together."""
    kept = benchmark.real.recorded()
    assert kept.shape == (4, 800)
    assert np.mean(kept**4) > 3.2
    assert np.mean(kept[:, 1:] * kept[:, :-1]) > 0.8
    assert benchmark.real.ground().shape == (344, 403)


def test_noise_twice_what_is_claimed_is_met_by_wider_intervals(benchmark):
    tally = benchmark.run_case("noisier than claimed", 60, seed=11)
    assert 0.91 <= tally.row()[0] <= 0.985


@pytest.mark.parametrize("case", ["drawn levels, two bases", "drawn level, scraped way"])
def test_intervals_of_drawn_levels_hold_the_truth_on_smooth_and_on_scraped_ways(benchmark, case):
    """Heights of one survey go together: the share held is sure to about ± 2 %."""
    heights, _, _, spread = benchmark.run_case(case, 30, seed=11).row()
    assert 0.92 <= heights <= 0.99
    assert 0.78 <= spread <= 1.2  # averaged kinds of ways are wide on smooth ones, near one on scraped ones


@pytest.mark.parametrize(("size", "verdict"), [(0.5, "wide"), (1.0, ""), (1.6, "narrow")])
def test_row_whose_intervals_are_too_wide_or_too_narrow_is_marked(benchmark, size, verdict):
    """Errors of 60 surveys of 13 heights, of stated size, half of it and far more."""
    rng = np.random.default_rng(3)
    ratios = [size * rng.normal(size=13) for _ in range(60)]
    tally = benchmark.Tally(ratios, [], [], [np.ones(13)])
    assert tally.verdict("level there and back") == verdict


def test_dips_about_as_wide_as_the_base_are_held(benchmark):
    """3.75 bases along the bed; heights of one survey go together: 10 are sure to about ± 5 %."""
    case = "drawn dips, 3.75 bases"
    tally = benchmark.run_case(case, 10, seed=11)
    assert tally.row()[0] >= 0.9
    assert tally.verdict(case) == ""
