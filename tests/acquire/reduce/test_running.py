"""What is left out of a drawn run about its stops: the push and the jolt, as long as a level feels them."""

from dataclasses import dataclass
from types import SimpleNamespace as Made

import numpy as np
import pytest

from acquire.model.columns import IN_MEMORY
from acquire.reduce.running import jolts_out
from acquire.reduce.tagging.dwells import DEPARTURE_S, Dwell

TIME_S = np.arange(0.0, 60.0, 0.05)
STOPS = (Dwell(20.0, 30.0, 500.0),)


@dataclass(frozen=True)
class Record:
    """What the rule looks at."""

    setup: object
    time_s: np.ndarray
    reading: np.ndarray


def left_out(lag_s, width_s=0.0, stops=STOPS):
    """From when to when readings are missing."""
    record = Record(Made(described=Made(lag_s=lag_s)), TIME_S, np.zeros(len(TIME_S)))
    missing = np.isnan(jolts_out(record, stops, width_s, IN_MEMORY).reading)
    return TIME_S[missing].min(), TIME_S[missing].max()


@pytest.mark.parametrize(("lag_s", "width_s"), [(0.0, 0.0), (0.5, 0.0), (1.0, 0.0), (0.5, 2.0)])
def test_jolt_of_a_start_is_left_out_for_as_long_as_the_level_feels_it(lag_s, width_s):
    """A level is back within two hundredths after four of its lags, e^−4; the reading itself is one late, so
    that three are left behind the stop (derived), and never less than the push itself lasts."""
    first_s, last_s = left_out(lag_s, width_s)
    assert last_s == pytest.approx(30.0 + max(DEPARTURE_S, 3 * lag_s) + width_s / 2, abs=0.051)
    assert first_s == pytest.approx(20.0 - lag_s - width_s / 2, abs=0.051)


def test_readings_away_from_every_stop_stay():
    record = Record(Made(described=Made(lag_s=0.5)), TIME_S, np.arange(len(TIME_S), dtype=float))
    assert np.array_equal(jolts_out(record, (), 0.0, IN_MEMORY).reading, record.reading)
