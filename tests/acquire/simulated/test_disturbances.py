import numpy as np
import pytest

from acquire.simulated.instruments import flicker, handling, lagged, quantised


def test_lag_follows_a_ramp_one_time_constant_late():
    time = np.arange(0, 10, 0.01)
    assert lagged(3 * time, 0.01, 0.7)[-1] == pytest.approx(3 * (time[-1] - 0.7), abs=1e-4)


def test_lag_agrees_with_the_closed_form_for_a_sine():
    # Second method: a first-order lag turns sin(wt) into sin(wt - atan(wT)) / sqrt(1 + (wT)^2).
    time, w, lag = np.arange(0, 20, 0.002), 3.0, 0.4
    expected = np.sin(w * time - np.arctan(w * lag)) / np.hypot(1, w * lag)
    settled = time > 8
    assert lagged(np.sin(w * time), 0.002, lag)[settled] == pytest.approx(expected[settled], abs=1e-5)


def test_no_lag_changes_nothing():
    value = np.array([1.0, 5.0, -2.0])
    assert np.array_equal(lagged(value, 0.01, 0.0), value)


def test_flicker_does_not_average_away_and_white_noise_does():
    rng = np.random.default_rng(5)
    dwells = np.array([np.mean(flicker(rng, 100, 0.05, 1.0)) for _ in range(300)])
    # White noise of the same size would leave 0.1 of it in the mean of 100 samples.
    assert 0.6 < np.std(dwells) < 1.0


@pytest.mark.whole
def test_flicker_power_falls_as_one_over_frequency():
    rng, step_s = np.random.default_rng(6), 0.1
    window = np.hanning(4096)
    spectra = [np.abs(np.fft.rfft(window * flicker(rng, 4096, step_s, 1.0))) ** 2 for _ in range(60)]
    frequency = np.fft.rfftfreq(4096, step_s)
    band = (frequency > 0.01) & (frequency < 0.15)
    slope = np.polyfit(np.log(frequency[band]), np.log(np.mean(spectra, axis=0)[band]), 1)[0]
    assert slope == pytest.approx(-1.0, abs=0.15)  # ten octaves only


def test_quantised_reading_is_a_whole_number_of_steps_within_half_a_step():
    value = np.random.default_rng(1).normal(0, 10, 1000)
    steps = quantised(value, 0.5) / 0.5
    assert np.array_equal(steps, np.round(steps))
    assert np.abs(quantised(value, 0.5) - value).max() <= 0.25


def test_instrument_swings_in_the_hand_alone():
    is_handled = np.arange(1000) < 400
    swing = handling(np.random.default_rng(2), is_handled, 100.0)
    assert np.std(swing[:400]) > 30
    assert np.all(swing[400:] == 0)
