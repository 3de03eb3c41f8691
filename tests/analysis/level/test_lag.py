"""Lag from two directions: consistency with numbers and a bound derived for this project."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.interpolate import BSpline

from acquire.model.errors import AnalysisError
from analysis.level.lag import TOO_EVEN, lag_from_passes, pass_of


def there_and_back(slope, length, speed, lag, *, noise=None, jump=4.0):
    """A forward and a reverse pass at constant speed, 20 readings a second."""
    time = np.arange(0, length / speed, 0.05)
    passes = []
    for way in (1, -1):
        position = speed * time if way > 0 else length - speed * time
        before = position - way * speed * lag
        reading = slope(before) + (jump if way < 0 else 0.0)
        reading = reading + (0 if noise is None else noise.normal(size=len(time)))
        passes.append(pass_of(time, position, reading, 1.0))
    return passes


def wavy(height):
    return lambda x: height * np.sin(2 * np.pi * x / 300)


@pytest.mark.statistics
def test_lag_of_a_wavy_way_without_noise():
    """*Derived*: 100 µm/m waves 300 mm long, 5 mm/s, lag 0.700 s, jump 4 µm/m: 0.7000 ± 0.0005."""
    found = lag_from_passes(there_and_back(wavy(100.0), 1500, 5.0, 0.7))
    assert found.determinable and found.reason == ""
    assert found.time_s == pytest.approx(0.7, abs=0.0005)


@pytest.mark.statistics
def test_spread_of_the_lag_reaches_the_bound_and_is_what_is_stated():
    noise = np.random.default_rng(21)
    found = [
        lag_from_passes(there_and_back(wavy(6.0), 600, 5.0, 0.7, noise=noise), range_s=(0.0, 2.0))
        for _ in range(60)
    ]
    lags = np.array([f.time_s for f in found])
    count, steepest = 600 / 5 * 20, 6.0 * 2 * np.pi / 300
    bound = np.sqrt(2) / (2 * 5) / np.sqrt(count * steepest**2 / 2)
    stated = np.mean([f.standard_uncertainty_s for f in found])
    assert stated == pytest.approx(bound, rel=0.08)  # the ends left out for the range cost 2 %
    assert lags.std() == pytest.approx(bound, rel=0.25)  # 50 draws know a spread to 10 %
    assert abs(lags.mean() - 0.7) < 4 * bound / np.sqrt(50)


@pytest.mark.statistics
@pytest.mark.parametrize("seed", range(6))
def test_pure_bow_cannot_tell_lag_from_zero(seed):
    noise = np.random.default_rng(seed)
    found = lag_from_passes(there_and_back(lambda x: 0.1 * x, 900, 5.0, 0.7, noise=noise))
    assert not found.determinable and found.reason == TOO_EVEN


@pytest.mark.statistics
def test_faint_waves_leave_the_lag_too_vague_to_use():
    noise = np.random.default_rng(3)
    found = lag_from_passes(there_and_back(wavy(0.6), 600, 5.0, 0.7, noise=noise))
    assert not found.determinable


@pytest.mark.statistics
def test_uneven_hand_feed_is_followed_by_its_actual_positions():
    time = np.arange(0, 120, 0.05)

    def position(t):
        return 5 * t + 4 * np.sin(0.8 * t)

    passes = [
        pass_of(time, position(time), wavy(50.0)(position(time - 0.45)), 1.0),
        pass_of(time, 600 - position(time), wavy(50.0)(600 - position(time - 0.45)), 1.0),
    ]
    assert lag_from_passes(passes).time_s == pytest.approx(0.45, abs=0.002)


def test_passes_that_cannot_answer_are_refused():
    there, back = there_and_back(wavy(50.0), 600, 5.0, 0.2)
    with pytest.raises(AnalysisError, match="one direction"):
        lag_from_passes([there, there])
    with pytest.raises(AnalysisError, match="lasts only"):
        lag_from_passes(
            [there, pass_of(back.time_s[:80], back.position_mm[:80], back.slope_um_per_m[:80], 1.0)]
        )
    elsewhere = pass_of(back.time_s, back.position_mm + 5000, back.slope_um_per_m, 1.0)
    with pytest.raises(AnalysisError, match="share 0 mm"):
        lag_from_passes([there, elsewhere])
    with pytest.raises(AnalysisError, match="time does not rise"):
        pass_of(np.zeros(20), np.arange(20), np.zeros(20), 1.0)


@pytest.mark.parametrize("turned", [False, True])
def test_drift_over_a_short_common_stretch_is_no_lag(turned):
    """5 mm/s and a drift of 8 µm/m in 180 s, noise 0.1: where the slope curves, it shifts as a lag would."""
    noise = np.random.default_rng(5)

    def hollow(x):
        return -20 * np.exp(-(((x - 400) / 250) ** 2))

    passes = []
    for way, first, last in ((1, 50.0, 600.0), (-1, 450.0, 950.0)):
        time = np.arange(0, (last - first) / 5, 0.4)
        position = first + 5 * time if way > 0 else last - 5 * time
        slope = (hollow(position + 50) - hollow(position - 50)) * 10
        read = slope + (-8 if turned else 8) * time / 180 + noise.normal(0, 0.1, len(time))
        passes.append(replace(pass_of(time, position, read, 0.1), is_negated=turned))
    found = lag_from_passes(passes)
    assert not found.determinable or abs(found.time_s) < 3 * found.standard_uncertainty_s


def plain_misfit(passes, lag):
    """The same model, second method: a full design of scipy's splines, solved by singular values."""
    kept = [(one.time_s - 4 >= one.time_s[0]) & (one.time_s + 1 <= one.time_s[-1]) for one in passes]

    def places(lag):
        return [
            np.interp(one.time_s[keep] - lag, one.time_s, one.position_mm)
            for one, keep in zip(passes, kept, strict=True)
        ]

    ends = np.concatenate([*places(-1.0), *places(4.0)])
    knots = np.arange(ends.min() - 12 - 36, ends.max() + 12 + 48, 12.0)
    splines = BSpline.design_matrix(np.concatenate(places(lag)), knots, 3).toarray()
    zero = np.repeat([0.0, 1.0], [keep.sum() for keep in kept])
    drift = np.concatenate([one.time_s[keep] for one, keep in zip(passes, kept, strict=True)])
    design = np.column_stack([splines, zero, drift])
    reading = np.concatenate([one.slope_um_per_m[keep] for one, keep in zip(passes, kept, strict=True)])
    return float(np.sum((reading - design @ np.linalg.lstsq(design, reading, rcond=None)[0]) ** 2))


@pytest.mark.parametrize("seed", [0, *(pytest.param(k, marks=pytest.mark.statistics) for k in range(1, 4))])
def test_lag_is_the_least_squares_of_a_plain_solution_on_ways_at_random(seed):
    random = np.random.default_rng(seed)
    phase, size = random.uniform(0, 6, 5), random.normal(0, 20, 5)

    def slope(x):
        return size @ np.sin(np.outer(1 / (30 * np.arange(1, 6)), x) + phase[:, None])

    passes = there_and_back(slope, 500, 5.0, random.uniform(-0.5, 2.0), noise=random)
    found = lag_from_passes(passes)
    assert found.determinable
    aside = found.standard_uncertainty_s / 10
    at, less, more = (plain_misfit(passes, found.time_s + step) for step in (0.0, -aside, aside))
    assert at < min(less, more)
    assert less + more - 2 * at == pytest.approx(0.02, rel=0.5)  # *derived*: one unit at one uncertainty


T = np.arange(0.0, 120.0, 0.1)


def drifting_passes(slope, lag_s=0.0, drift=0.0, is_turned=False, noise=None, u=1.0):
    """600 mm at 5 mm/s and back; a drift goes on in what is read, whichever way round the level stands."""
    noise = np.zeros((2, len(T))) if noise is None else noise
    there = slope(5 * (T - lag_s)) + drift * T / T[-1] + noise[0]
    sense = -1.0 if is_turned else 1.0
    back = slope(600 - 5 * (T - lag_s)) + sense * (drift * T / T[-1] + 40.0) + noise[1]
    return [
        pass_of(T, 5 * T, there, u),
        replace(pass_of(T, 600 - 5 * T, back, u), is_negated=is_turned),
    ]


def gentle(x):
    """So little shape that a drift left over would be taken for a lag."""
    return 0.02 * x + 3.0 * np.sin(x / 150)


@pytest.mark.parametrize("is_turned", [False, True])
def test_drift_is_told_from_a_lag_whichever_way_round_the_level_came_back(is_turned):
    passes = drifting_passes(gentle, lag_s=0.4, drift=30.0, is_turned=is_turned, u=0.05)
    assert lag_from_passes(passes).time_s == pytest.approx(0.4, abs=0.02)


def test_pure_bow_tells_no_lag_however_late_the_readings_are():
    """A slope that rises evenly only shifts by a constant, which is the jump of the zero."""
    rng = np.random.default_rng(3)
    passes = drifting_passes(lambda x: 0.1 * x, lag_s=0.5, noise=rng.normal(0, 1.0, (2, len(T))))
    assert not lag_from_passes(passes).determinable


def test_lag_is_less_sure_where_the_noise_is_slow():
    """Neighbours alike by ρ = 0.8 are worth a ninth of as many: three times the uncertainty (derived)."""
    rng = np.random.default_rng(4)
    white = rng.normal(0, 1.0, (2, len(T)))
    slow = white.copy()
    for k in range(1, len(T)):
        slow[:, k] = 0.8 * slow[:, k - 1] + 0.6 * white[:, k]

    def wavy(x):
        return 50 * np.sin(x / 40)

    fast, late = (lag_from_passes(drifting_passes(wavy, noise=each)) for each in (white, slow))
    ratio = late.standard_uncertainty_s / fast.standard_uncertainty_s
    assert 2.0 < ratio < 4.0
