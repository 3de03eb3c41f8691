"""Readings of an instrument whose lag is stated are put back to when they were true, whichever way it goes.

The bytes are made up here: what arrives at t is what was true `LAG_S` before.
"""

from dataclasses import replace

import numpy as np
import pytest

from acquire.model.traverse import Setup
from acquire.reduce import derive
from acquire.store.journal import Chunks, JournalContents
from tests.invented import NUMBER, bed_toml, dial, flat, level, scale, speaks

LAG_S = 0.7
BED = bed_toml(
    800,
    faces={"front": flat(0), "rear": flat(300)},
    instruments={
        "level": level(0.5, lag_s=LAG_S, **speaks("socket://level:1", NUMBER)),
        "dial": dial(0.5, lag_s=LAG_S, **speaks("socket://dial:1", NUMBER)),
        "scale": scale(**speaks("socket://scale:1", NUMBER)),
    },
)
SETUPS = {
    "level": Setup(
        "level", "slope", BED, number=1, face="front", position="scale:scale", acceleration_corrected=False
    ),
    "dial": Setup("dial", "offset", BED, number=1, face="rear", reference="front", position="scale:scale"),
}


def shape(x_mm):
    return 30 * np.sin(np.asarray(x_mm) / 70.0)


def sent(time_s, values):
    return Chunks.of((float(t), f"{v:+.3f}\r\n".encode()) for t, v in zip(time_s, values, strict=True))


def derived(setup, time_s, reading, position_mm):
    chunks = {setup.instrument: sent(time_s, reading), "scale": sent(time_s, position_mm)}
    return derive(JournalContents(setup, chunks, [], True))


@pytest.mark.parametrize("direction", ["forward", "reverse"])
@pytest.mark.parametrize("instrument", ["level", "dial"])
def test_drawn_reading_that_comes_late_stands_where_it_was_true(instrument, direction):
    """8 mm/s, so that what is not put back is off by 6 mm of way, and what is put forward by 11."""
    corners = ([0, 5, 80, 85], [100, 100, 700, 700])
    t = np.arange(0, 85, 0.02)

    def where(at_s):
        x = np.interp(at_s, *corners)
        return x if direction == "forward" else 800 - x

    setup = replace(SETUPS[instrument], direction=direction)
    stations = derived(setup, t, shape(where(t - LAG_S)), where(t)).stations
    inner = (stations.station_mm > 130) & (stations.station_mm < 670)
    assert np.count_nonzero(inner) > 400
    # a reading a millimetre off would be off by 0.43
    assert np.max(np.abs(stations.reading - shape(stations.station_mm))[inner]) < 0.3


def test_jolt_at_the_departure_of_a_stepped_level_is_in_no_reading():
    """The jolt shows at once, the truth late: putting readings back must not put the jolt into the rest."""
    places = [100.0, 300.0, 500.0, 700.0]
    begin = 8.0 * np.arange(len(places))
    t = np.arange(0, begin[-1] + 6.0, 0.05)
    x = np.interp(t, np.ravel([begin, begin + 6.0], "F"), np.repeat(places, 2))
    reading = shape(np.interp(t - LAG_S, t, x))
    for departs in begin[1:] - 2.0:
        reading = reading + np.where((t >= departs) & (t < departs + 0.5), 80.0, 0.0)
    stations = derived(SETUPS["level"], t, reading, x).stations
    assert stations.station_mm.tolist() == places
    np.testing.assert_allclose(stations.reading, shape(places), atol=0.2)
