"""Lines handed over in lumps of seconds: detected and said; a station is right within its ±, or refused."""

from dataclasses import replace

import numpy as np
import pytest

from acquire.model.traverse import FLAGS, Setup
from acquire.reduce import derive
from acquire.reduce.tagging.lumps import lumps_of
from acquire.store.journal import Chunks, JournalContents
from tests.invented import bed_toml, level, scale

BED = bed_toml(
    1600,
    faces=("way",),
    instruments={
        "level": level(0.5, port={"url": "socket://level:1"}, wire={"kind": "lines", "example": "+012.345"}),
        "scale": scale(port={"url": "socket://scale:1"}, wire={"kind": "lines", "example": "+0123.456"}),
    },
)
SETUP = Setup(
    "level", "slope", BED, number=1, face="way", position="scale:scale", acceleration_corrected=False
)
PLACES = [100.0, 300.0, 500.0, 700.0, 900.0, 1100.0]
TRUE = dict(zip(PLACES, [12.0, -30.0, 45.0, 8.0, -22.0, 60.0], strict=True))
TIME_CONSTANT_S, NOISE = 0.5, 0.3


def stepped(rng, stand_s=9.0, spread_s=2.0, move_s=2.0):
    """Time, position and true reading, 200 a second: moved wildly, settling by the time constant."""
    t, x, target = [], [], []
    here = PLACES[0]
    for place in PLACES:
        count = round(move_s * 200) if place != here else 0
        x += list(np.linspace(here, place, count)) + [place] * round(
            (stand_s + rng.uniform(0, spread_s)) * 200
        )
        target += [TRUE[place] + 300.0] * count + [TRUE[place]] * (len(x) - len(target) - count)
        here = place
    t = np.arange(len(x)) / 200
    y, shown = np.empty(len(x)), target[0]
    for k, each in enumerate(target):
        shown += (each - shown) * (1 - np.exp(-0.005 / TIME_CONSTANT_S))
        y[k] = shown
    return t, np.array(x), y


def lines(time_s, values, arrival_s, form):
    """Chunks of lines by their arrival; those that arrive together are one chunk."""
    pairs = []
    for at in np.unique(arrival_s):
        text = "".join(form % value for value in values[arrival_s == at])
        pairs.append((float(at), text.encode()))
    return Chunks.of(pairs)


def by_timer(sent_s, length_s, rng):
    """Handed over each time so many seconds are over, with a little of the network's own lateness."""
    phase_s = rng.uniform(0, length_s)
    tick = np.round(np.ceil((sent_s + phase_s) / length_s) * length_s - phase_s, 9)
    late = {at: at + rng.uniform(0.001, 0.03) for at in np.unique(tick)}
    return np.array([late[at] for at in tick])


def by_count(sent_s, count):
    """Handed over whenever so many lines have come."""
    last = np.minimum((np.arange(len(sent_s)) // count + 1) * count - 1, len(sent_s) - 1)
    return sent_s[last]


def recorded(rng, rate_hz, hand_over, scale_too=False, jitter=0.0, **how):
    t, x, y = stepped(rng, **how)
    sent = np.arange(0.5, t[-1] - 1, 1 / rate_hz)
    sent = np.sort(sent + rng.uniform(0, jitter, len(sent)))
    at = np.searchsorted(t, sent)
    level = lines(sent, y[at] + rng.normal(0, NOISE, len(at)), hand_over(sent), "%+08.3f\r\n")
    each = np.arange(0.5, t[-1], 0.05)
    arrives = hand_over(each) if scale_too else each
    scale = lines(each, x[np.searchsorted(t, each)], arrives, "%+09.3f\r\n")
    return derive(JournalContents(SETUP, {"level": level, "scale": scale}, [], True))


def errors(traverse):
    """Of each station, in its own standard uncertainties."""
    stations = traverse.stations
    true = np.array([TRUE[place] for place in stations.station_mm])
    return (stations.reading - true) / stations.standard_uncertainty


def told(traverse):
    events = zip(traverse.events.kind, traverse.events.text, strict=True)
    return [text for kind, text in events if kind == "lumps"]


@pytest.mark.parametrize("rate_hz", [20, 5])
@pytest.mark.parametrize("length_s", [1.0, 3.0])
@pytest.mark.parametrize("scale_too", [False, True])
def test_steady_lines_in_lumps_give_stations_within_their_uncertainty(rate_hz, length_s, scale_too):
    rng = np.random.default_rng([rate_hz, int(10 * length_s), scale_too])
    traverse = recorded(rng, rate_hz, lambda sent: by_timer(sent, length_s, rng), scale_too)
    assert np.abs(errors(traverse)).max() < 3.5
    assert len(traverse.stations) >= 4
    words = told(traverse)
    assert any(f"level: its adapter hands over lines in lumps of {length_s:.2g} s" in text for text in words)
    assert len([text for text in words if "its adapter" in text]) == 1 + scale_too


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_short_stops_between_lumps_are_right_where_arrival_would_be_wrong_by_far(seed):
    """Stops of 5 s, lumps of 3 s: placed by arrival, four of six stations are out by up to 12 u."""
    rng = np.random.default_rng(seed)
    traverse = recorded(rng, 10, lambda sent: by_timer(sent, 3.0, rng), stand_s=5.0, spread_s=0.1)
    assert len(traverse.stations) == 6 and np.abs(errors(traverse)).max() < 3.5
    assert traverse.stations.standard_uncertainty.max() < 1.0


def test_lumps_of_a_full_buffer_are_seen_as_well():
    rng = np.random.default_rng(3)
    traverse = recorded(rng, 20, lambda sent: by_count(sent, 48))
    assert len(traverse.stations) == 6 and np.abs(errors(traverse)).max() < 3.5
    assert "in lumps of 2.4 s (48 lines each)" in told(traverse)[0]


def test_lumps_of_no_steady_rate_are_refused_not_guessed():
    rng = np.random.default_rng(4)

    def uneven(sent):
        return by_timer(sent, 3.0, rng)

    t, x, y = stepped(rng)
    sent = np.cumsum(rng.choice([0.02, 0.3], 2000))
    sent = sent[sent < t[-1] - 1]
    at = np.searchsorted(t, sent)
    level = lines(sent, y[at], uneven(sent), "%+08.3f\r\n")
    each = np.arange(0.5, t[-1], 0.05)
    scale = lines(each, x[np.searchsorted(t, each)], each, "%+09.3f\r\n")
    traverse = derive(JournalContents(SETUP, {"level": level, "scale": scale}, [], True))
    flags = traverse.streams["level"].flag
    assert (flags == FLAGS["late"]).sum() > 0.5 * len(flags)
    assert any("cannot be told, and they are not used" in text for text in told(traverse))
    assert len(traverse.stations) == 0


def test_stops_shorter_than_the_lumps_allow_are_refused_and_said():
    rng = np.random.default_rng(5)
    traverse = recorded(rng, 1, lambda sent: by_timer(sent, 3.0, rng), stand_s=2.5, spread_s=0.2)
    assert any("too short for lines in lumps" in text for text in told(traverse))
    assert len(traverse.stations) == 0


def test_level_drawn_along_in_lumps_is_refused():
    rng = np.random.default_rng(6)
    t = np.arange(0, 80, 0.05)
    x = np.interp(t, [0, 3, 77, 80], [100, 100, 1500, 1500])
    each = np.arange(0, 80, 0.2)
    level = lines(each, rng.normal(0, 0.3, each.size), by_timer(each, 3.0, rng), "%+08.3f\r\n")
    scale = lines(t, x, t, "%+09.3f\r\n")
    setup = replace(SETUP, acceleration_corrected=True)
    traverse = derive(JournalContents(setup, {"level": level, "scale": scale}, [], True))
    assert len(traverse.stations) == 0 and any("step it" in text for text in told(traverse))


@pytest.mark.parametrize("rate_hz", [1, 5, 20, 100, 1000])
def test_lines_as_usual_are_no_lumps(rate_hz):
    """Late by up to 16 ms, as a USB adapter hands them over; with pauses; with a stall of two seconds."""
    rng = np.random.default_rng(rate_hz)
    sent = np.arange(0, 60, 1 / rate_hz)
    arrival = np.ceil((sent + rng.uniform(0, 0.001, sent.size)) / 0.016) * 0.016
    assert lumps_of(arrival) is None
    assert lumps_of(arrival[(arrival % 10) < 6]) is None
    stalled = np.where((arrival > 30) & (arrival < 32), 32.0, arrival)
    assert lumps_of(stalled) is None
