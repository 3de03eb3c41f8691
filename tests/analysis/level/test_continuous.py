"""Heights from continuous slopes, against invented ways and second methods."""

import numpy as np
import pytest

from acquire.model.errors import AnalysisError
from analysis.level.blindness import blind_wavelengths_mm
from analysis.level.continuous import Belief, heights_from_continuous_slopes, line_free_contrasts
from analysis.level.fit import problem_for
from analysis.level.noise import Noise
from analysis.level.opinions import Hypothesis
from analysis.level.slopes import continuous_run, gathered, spacing_for
from analysis.level.smoothness import FewPlaces

LENGTH = 1500
GRID = np.arange(0, LENGTH + 1, 5.0)


def dip(x):
    return np.where(np.abs(x - 750) <= 250, -50 * (1 + np.cos(2 * np.pi * (x - 750) / 500)), 0.0)


def run_over(way, base, *, noise=None, uncertainty=2.0, zero=0.0, **options):
    x = np.arange(base / 2, LENGTH - base / 2 + 0.1, 2.0)
    slope = (way(x + base / 2) - way(x - base / 2)) / base * 1000 + zero
    return continuous_run(x, slope + (0 if noise is None else noise(len(x))), uncertainty, base, **options)


def line_removed(way, station):
    return way(station) - np.polyval(np.polyfit(station, way(station), 1), station)


def slow_noise(rng, size, rho):
    """Noise of the given size whose neighbours are correlated by rho."""

    def noise(count):
        value = rng.normal(size=count)
        for i in range(1, count):
            value[i] = rho * value[i - 1] + np.sqrt(1 - rho**2) * value[i]
        return size * value

    return noise


def fixed(runs, count):
    """One prior and noise as stated, so that heights are linear in the readings."""
    return Belief(
        (Hypothesis(FewPlaces(np.array([0.0, LENGTH]), np.ones(2)), 10**-3.5, 1.0),),
        Noise((0.0,) * len(runs), 1.0, spacing_for(runs)),
        blind_wavelengths_mm([run.base_mm for run in runs]),
        np.zeros((count, count)),
    )


def given(runs, station):
    return heights_from_continuous_slopes(runs, station, belief=fixed(runs, len(station)))


def test_band_is_claimed_from_three_bases_on_or_with_a_second_base_or_an_anchor():
    station = [0, 750, 1500]
    short, two = given([run_over(dip, 600)], station), given([run_over(dip, b) for b in (600, 400)], station)
    tied, long = given([run_over(dip, 600)], station).tied(True), given([run_over(dip, 400)], station)
    assert short.not_seen.ripples_mm == pytest.approx([600, 300, 200, 150, 120])
    assert not short.band_is_95_percent
    assert [f.not_seen for f in (two, tied, long)] == [None, None, None]


def test_ripples_that_the_uncertainty_does_not_include_are_named_until_a_base_or_an_anchor_sees_them():
    station = [0, 750, 1500]
    one, tied = given([run_over(dip, 200)], station), given([run_over(dip, 200)], station).tied(True)
    assert one.condition_mm[:3] == pytest.approx((200, 100, 66.7), abs=0.1)
    assert tied.condition_mm == given([run_over(dip, b) for b in (200, 143)], station).condition_mm == ()


def test_way_of_less_than_two_bases_is_refused():
    with pytest.raises(AnalysisError, match="covers 1500 mm with feet 800 mm apart"):
        heights_from_continuous_slopes([run_over(dip, 800)], [0, 750, 1500])
    with pytest.raises(AnalysisError, match="1600 mm at least"):
        heights_from_continuous_slopes([run_over(dip, 800)] * 2, [0, 750, 1500])


def test_same_base_twice_is_no_second_base():
    assert not given([run_over(dip, 600)] * 2, [0, 750, 1500]).band_is_95_percent


def test_ripple_of_a_fifth_of_the_base_is_invisible_and_named():
    run = run_over(lambda x: 3 * np.sin(2 * np.pi * x / 80), 400)
    assert np.max(np.abs(run.slope_um_per_m)) < 1e-10
    blind = heights_from_continuous_slopes([run], [0, 750, 1500]).blind_wavelength_mm
    np.testing.assert_allclose(blind, [400, 200, 400 / 3, 100, 80])


def test_two_bases_are_blind_only_where_both_are():
    assert blind_wavelengths_mm([200, 100]) == pytest.approx([100, 50])
    for wave in blind_wavelengths_mm([400, 270], shortest_mm=20):
        assert abs(400 / wave - round(400 / wave)) < 0.05 and abs(270 / wave - round(270 / wave)) < 0.05


def test_heights_at_stations_carry_all_that_the_traverse_says():
    """Joined to three other readings of height they give what one joint solution gives."""
    run = run_over(dip, 200)
    station = np.arange(0, 1501, 100.0)
    block = given([run], station)
    fine = given([run], GRID)
    pick = np.isin(GRID, [300, 700, 1200])
    reading, weight = np.array([1.0, -80.0, 2.0]), 4.0

    def joined(found, where):
        matrix = line_free_contrasts(found.station_mm)
        value, covariance = matrix @ found.height_um, matrix @ found.covariance_um2 @ matrix.T
        observed = np.vstack([matrix, where])
        information = np.zeros((len(observed),) * 2)
        k = len(matrix)
        information[:k, :k] = np.linalg.inv(covariance)
        information[k:, k:] = np.eye(3) * weight
        return np.linalg.solve(
            observed.T @ information @ observed, observed.T @ information @ np.r_[value, reading]
        )

    coarse = joined(block, np.eye(16)[[3, 7, 12]])
    whole = joined(fine, np.eye(len(GRID))[pick])
    np.testing.assert_allclose(coarse, whole[::20], atol=2e-3)


def test_added_tilt_and_zeros_change_nothing_and_walking_backwards_mirrors():
    rng = np.random.default_rng(4)
    runs = [run_over(dip, b, noise=lambda n: rng.normal(size=n)) for b in (200, 130)]
    station = np.arange(0, 1501, 50.0)
    plain, tilted, backwards = (
        given(
            [
                continuous_run(*change(k, r.station_mm, r.slope_um_per_m), 2.0, r.base_mm)
                for k, r in enumerate(runs)
            ],
            station,
        ).height_um
        for change in (
            lambda k, x, slope: (x, slope),
            lambda k, x, slope: (x, slope + 300 - 380 * k),
            lambda k, x, slope: (1500 - x, -slope),
        )
    )
    np.testing.assert_allclose(tilted, plain, atol=1e-6)
    # readings half-way between two cells fall into the other one
    np.testing.assert_allclose(backwards, plain[::-1], atol=0.05)


def test_pads_of_known_length_are_undone():
    """A foot 60 mm long sees the mean beneath it: told so, the dip comes back deeper."""
    station = np.arange(30, 1471, 10.0)
    x = np.arange(130, 1371, 2.0)
    fine = np.arange(-29.5, 30, 1.0)

    def foot(at):
        return dip(at[:, None] + fine).mean(axis=1)

    slope = (foot(x + 100) - foot(x - 100)) / 0.2
    second = (foot(x + 65) - foot(x - 65)) / 0.13
    errors = []
    for pad in (60.0, 0.0):
        runs = [
            continuous_run(x, slope, 1.0, 200, pad_mm=pad),
            continuous_run(x, second, 1.0, 130, pad_mm=pad),
        ]
        found = given(runs, station)
        errors.append(np.sqrt(np.mean((found.height_um - line_removed(dip, station)) ** 2)))
    assert errors[0] < 0.1 < 0.3 < errors[1]


def wear(rng):
    centre, width = rng.uniform(300, 1000), rng.uniform(150, 350)
    depth, bow = rng.uniform(10, 80), rng.normal() * 10
    return lambda x: -depth * np.exp(-0.5 * ((x - centre) / width) ** 2) + bow * ((x - 750) / 750) ** 2


@pytest.mark.statistics
@pytest.mark.parametrize("rho", [0.0, 0.8])
def test_band_covers_invented_wear_and_the_map_is_far_better_than_the_plain_integral(rho):
    rng = np.random.default_rng(11)
    station = np.arange(0, 1501, 50.0)
    inside, square = [], []
    for _ in range(12):
        way = wear(rng)
        found = heights_from_continuous_slopes([run_over(way, 200, noise=slow_noise(rng, 2.0, rho))], station)
        error = found.height_um - line_removed(way, station)
        inside.append(np.abs(error) <= 1.96 * np.sqrt(np.diag(found.covariance_um2)))
        square.append(error**2)
    assert np.mean(inside) >= 0.93
    assert np.sqrt(np.mean(square)) < 0.4


@pytest.mark.statistics
def test_two_bases_find_a_hollow_to_a_tenth_of_a_micrometre_within_their_band():
    rng = np.random.default_rng(12)
    station = np.arange(0, 1501, 50.0)
    inside, square = [], []
    for _ in range(4):
        runs = [run_over(dip, base, noise=slow_noise(rng, 2.0, 0.0)) for base in (200, 130)]
        found = heights_from_continuous_slopes(runs, station)
        error = found.height_um - line_removed(dip, station)
        inside.append(np.abs(error) <= 1.96 * np.sqrt(np.diag(found.covariance_um2)))
        square.append(error**2)
    assert np.mean(inside) >= 0.9
    assert np.sqrt(np.mean(square)) < 0.1  # derived: 0.07


@pytest.mark.statistics
def test_slow_noise_is_seen_as_slow_and_white_noise_is_not():
    rng = np.random.default_rng(8)
    slow, white = (
        heights_from_continuous_slopes(
            [run_over(wear(rng), 200, noise=slow_noise(rng, 2.0, rho))], [0, 750, 1500]
        )
        for rho in (0.8, 0.0)
    )
    assert slow.rho[0] == pytest.approx(0.8, abs=0.12) and slow.inflation[0] > 1.7
    assert white.rho[0] < 0.12 and white.inflation[0] < 1.15


def test_line_free_contrasts_forget_lines_and_nothing_else():
    station = np.array([0, 35, 100, 260, 300.0])
    contrasts = line_free_contrasts(station)
    assert np.max(np.abs(contrasts @ (7 + 0.3 * station))) < 1e-12
    np.testing.assert_allclose(contrasts @ contrasts.T, np.eye(3), atol=1e-12)


@pytest.mark.parametrize(
    ("station", "words"),
    [([0, 750, 1501], "no foot came there"), ([0, 750], "three or more"), ([0, 0.5, 750], "0.5 mm apart")],
)
def test_stations_that_cannot_be_answered_are_refused(station, words):
    with pytest.raises(AnalysisError, match=words):
        heights_from_continuous_slopes([run_over(dip, 200)], station)


@pytest.mark.parametrize(
    ("station", "slope", "uncertainty", "base", "words"),
    [
        ([1, 2, 3], [0, np.nan, 0], 1.0, 200, "slope of sample 2"),
        ([1, 2, 3], [0, 0, 0], 0.0, 200, "uncertainty of 0"),
        ([1, 2, 3], [0, 0, 0], 1.0, 0, "base of 0 mm"),
        ([1, 2], [0, 0], 1.0, 200, "2 stations"),
        ([1, 2, 3], [0, 0, 0], [1.0, 2.0], 200, "differ in number"),
    ],
)
def test_samples_that_cannot_be_are_refused(station, slope, uncertainty, base, words):
    with pytest.raises(AnalysisError, match=words):
        continuous_run(station, slope, uncertainty, base)


def test_no_traverse_and_too_many_nodes_are_refused():
    with pytest.raises(AnalysisError, match="no run"):
        heights_from_continuous_slopes([], [0, 1, 2])
    with pytest.raises(AnalysisError, match="raw a shorter stretch, or with one base"):
        problem_for([run_over(dip, 200), run_over(dip, 130)], 0.02)


@pytest.mark.statistics
def test_slow_noise_is_not_taken_for_the_texture_of_a_scraped_way():
    """Texture 60 mm long and a micrometre high: smooth at its finest, unlike noise that lasts 3 mm."""
    found = []
    for seed in range(6):
        rng = np.random.default_rng(seed)
        grid, window = np.arange(-1.0, LENGTH + 2), np.hanning(60)
        texture = np.convolve(rng.normal(size=len(grid) + 200), window / np.sqrt(window @ window), "same")
        way = wear(rng)

        def scraped(x, way=way, grid=grid, texture=texture[100:-100]):
            return way(x) + np.interp(x, grid, texture)

        run = run_over(scraped, 100, noise=slow_noise(rng, 1.0, 0.7), uncertainty=1.0)
        found.append(heights_from_continuous_slopes([run], [0, 750, 1500]).rho[0])
    assert np.median(found) == pytest.approx(0.7, abs=0.12)


@pytest.mark.statistics
@pytest.mark.parametrize(
    ("length", "base", "spacing", "way"),
    [
        (400, 130, 0.5, lambda x: np.where(x > 200, 30.0, 0.0)),  # a step where two pieces meet
        (8000, 50, 2.0, lambda x: 50 * np.sin(x / 700)),  # 160 bases
        (400, 20, 5.0, lambda x: np.where(x > 203, 30.0, 0.0)),
        (1200, 20, 2.0, lambda x: 5000 * np.sin(x / 200)),  # as no way looks
    ],
)
def test_steps_long_beds_and_violent_shapes_are_solved(length, base, spacing, way):
    x = np.arange(base / 2, length - base / 2 + 1e-6, spacing)
    slope = (way(x + base / 2) - way(x - base / 2)) / base * 1000
    station = np.linspace(0, length, 9)
    noise = np.random.default_rng(4).normal(0, 0.2, len(x))
    found = heights_from_continuous_slopes([continuous_run(x, slope + noise, 0.2, base)], station)
    off = np.abs(found.height_um - line_removed(way, station))
    assert np.all(off <= 5 * np.sqrt(np.diag(found.covariance_um2)) + 1e-3 * np.ptp(way(x)))


@pytest.mark.statistics
def test_sudden_step_in_a_way_is_not_put_down_to_a_level_a_hundred_times_worse_than_claimed():
    """A slope that is off for one base and comes back: slow noise, or two pieces that do not meet."""
    rng = np.random.default_rng(6)

    def stepped(x):
        return np.where(x > 777, 30.0, 0.0) + dip(x) / 5

    run = run_over(stepped, 100, noise=slow_noise(rng, 1.0, 0.0), uncertainty=1.0)
    station = np.arange(0, 1501, 100.0)
    found = heights_from_continuous_slopes([run], station)
    off = np.abs(found.height_um - line_removed(stepped, station))
    assert np.max(off) < 1  # the step taken for noise of the level puts it off by several
    assert np.all(off <= 3 * np.sqrt(np.diag(found.covariance_um2)))
    assert found.inflation[0] < 12


@pytest.mark.statistics
def test_bed_that_drops_by_millimetres_is_found_to_a_few_hundredths_of_a_micrometre():
    """Rounding in the product of the equations would take a tenth of a micrometre off."""
    run = continuous_run(np.arange(65, 2936, 2.0), np.zeros(1436), 0.1, 130)
    x, station = run.station_mm, np.linspace(0, 3000, 16)
    slope = 1e4 * (((x + 65) / 3000) ** 3 - ((x - 65) / 3000) ** 3) / 130 * 1000
    found = heights_from_continuous_slopes([continuous_run(x, slope, 0.1, 130)], station)
    assert found.height_um == pytest.approx(
        line_removed(lambda at: 1e4 * (at / 3000) ** 3, station), abs=0.04
    )


@pytest.mark.statistics
def test_straight_way_is_called_straight_no_more_surely_than_its_readings_can_tell():
    """A bow of 0.04 µm under noise of 11 µm/m over 50 mm: derived, some 0.1 µm of bow can be told."""
    within = []
    for seed in range(8):
        rng = np.random.default_rng(seed)
        x, station = np.arange(25, 376, 0.5), np.linspace(0, 400, 5)
        slope = 1e-6 * ((x + 25 - 200) ** 2 - (x - 25 - 200) ** 2) / 50 * 1000 + rng.normal(0, 11, len(x))
        found = heights_from_continuous_slopes([continuous_run(x, slope, 11.0, 50)], station)
        off = found.height_um - line_removed(lambda at: 1e-6 * (at - 200) ** 2, station)
        within.append(np.all(np.abs(off) <= 3 * np.sqrt(np.diag(found.covariance_um2))))
    assert np.mean(within) >= 0.9


def any_way(rng, length):
    """A straight way, a bowed one, waves long and violent, two pieces that do not meet, a steep drop."""
    return [
        lambda x: 0 * x,
        lambda x: 1e-6 * (x - length / 2) ** 2,
        lambda x: 50 * np.sin(x / 300),
        lambda x: 5000 * np.sin(x / 50),
        lambda x: np.where(x > length / 2, 30.0, 0.0),
        lambda x: 1e4 * (x / length) ** 3,
    ][rng.integers(6)]


@pytest.mark.statistics
@pytest.mark.parametrize("seed", range(12))
def test_whatever_was_drawn_along_has_heights_and_a_covariance(seed):
    """Lengths, bases, pads, noise and shapes at random, most of them unlike any way."""
    rng = np.random.default_rng([41, seed])
    length = rng.choice([600, 1200, 3000])
    base = rng.choice([20, 50, 100, 203.2])
    spacing, pad = rng.choice([1, 2, 5, 12.7]), rng.choice([0, 0.1 * base])
    way, uncertainty = any_way(rng, length), 10.0 ** rng.uniform(-3, 2)
    runs = []
    for _ in range(rng.integers(1, 3)):
        x = np.arange((base + pad) / 2, length - (base + pad) / 2, spacing)
        slope = (way(x + base / 2) - way(x - base / 2)) / base * 1000
        slope = slope + rng.choice([0, 1, 10]) * uncertainty * rng.normal(size=len(x))
        runs.append(continuous_run(x, slope, uncertainty, base, pad_mm=pad))
    found = heights_from_continuous_slopes(runs, np.linspace(runs[0].lowest_mm, runs[0].highest_mm, 7))
    assert np.all(np.isfinite(found.height_um))
    eigenvalue = np.linalg.eigvalsh(found.covariance_um2)
    assert np.all(np.isfinite(eigenvalue)) and eigenvalue[0] >= -1e-6 * eigenvalue[-1] and eigenvalue[-1] > 0


@pytest.mark.statistics
@pytest.mark.parametrize(("base", "rms", "mean"), [(400, 6.0, 13.0), (300, 2.0, 13.0), (200, 0.5, 13.0)])
def test_dip_of_about_a_base_is_held_by_its_intervals(base, rms, mean):
    """One prior picked by likelihood held half of these heights; long form: coverage.py."""
    station = np.arange(0, 1501, 100.0)
    off, wide = [], []
    for seed in range(4):
        rng = np.random.default_rng([7, seed])
        at = 300 + 150 * seed

        def way(x, at=at):
            return np.where(np.abs(x - at) < 240, -100 * np.cos(np.pi * (x - at) / 480) ** 2, 0.0)

        found = heights_from_continuous_slopes(
            [run_over(way, base, noise=slow_noise(rng, 2.0, 0.0))], station
        )
        off.append(found.height_um - line_removed(way, station))
        wide.append(2 * np.sqrt(np.diag(found.covariance_um2)))
    assert np.mean(np.abs(off) <= wide) >= 0.9
    assert np.sqrt(np.mean(np.square(off))) <= rms and np.mean(wide) <= mean


@pytest.mark.statistics
def test_second_base_takes_off_what_one_base_cannot_know():
    station, rng = np.arange(0, 1501, 100.0), np.random.default_rng(3)
    runs = [run_over(dip, base, noise=slow_noise(rng, 2.0, 0.0)) for base in (400, 260)]
    one, both = (heights_from_continuous_slopes(some, station) for some in (runs[:1], runs))
    sizes = [np.sqrt(np.trace(each.covariance_um2)) for each in (one, both)]
    assert sizes[1] < sizes[0] / 10
    foreseen = heights_from_continuous_slopes(runs, station, belief=one.belief.with_run_like(0))
    assert np.sqrt(np.trace(foreseen.covariance_um2)) == pytest.approx(sizes[1], rel=0.5)


def test_same_base_again_is_foreseen_to_leave_what_one_base_cannot_know():
    station, rng = np.arange(0, 1501, 100.0), np.random.default_rng(3)
    runs = [run_over(dip, 400, noise=slow_noise(rng, 2.0, 0.0)) for _ in range(2)]
    one = heights_from_continuous_slopes(runs[:1], station)
    foreseen = heights_from_continuous_slopes(runs, station, belief=one.belief.with_run_like(0))
    assert np.trace(foreseen.covariance_um2) > 0.7 * np.trace(one.covariance_um2)


def test_readings_finer_than_a_millimetre_are_taken_together_and_say_the_same():
    rng = np.random.default_rng(2)
    x = np.arange(100, 1401, 0.05)
    slope = (dip(x + 100) - dip(x - 100)) / 0.2 + rng.normal(0, 2, len(x))
    whole = continuous_run(x, slope, 2.0, 200)
    thin = gathered(whole)
    assert len(thin.station_mm) <= 1304
    one, other = (given([run], [0, 300, 750, 1200, 1500]) for run in (whole, thin))
    np.testing.assert_allclose(one.height_um, other.height_um, atol=2e-3)
    np.testing.assert_allclose(one.covariance_um2, other.covariance_um2, rtol=1e-3, atol=1e-9)


def test_curve_is_called_sure_only_while_something_else_ties_it():
    """Drawn over two bases: sure while an indicator ties it, and neither before nor after."""
    x = np.arange(50.0, 201.0, 2.0)
    alone = heights_from_continuous_slopes([continuous_run(x, 0 * x, 1.0, base_mm=100)], [0, 100, 200])
    tied = alone.tied(True)
    assert (alone.band_is_95_percent, tied.band_is_95_percent) == (False, True)
    assert tied.condition_mm == () and alone.condition_mm[0] == 100.0
    again = tied.tied(False)
    assert not again.band_is_95_percent and again.not_seen is not None
    assert again.condition_mm == alone.condition_mm
