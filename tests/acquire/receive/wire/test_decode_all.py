"""A whole recorded stream decoded from its bytes, its times and its events alone."""

import numpy as np
import pytest

from acquire.model.recorded import Event
from acquire.model.traverse import FLAGS
from acquire.receive.wire.health import HealthWatch
from acquire.receive.wire.kinds import decoder_for
from acquire.receive.wire.whole import decode_all

NUMBER = r"(?P<value>[-+]?\d+(?:\.\d+)?)"


def test_stream_decodes_as_it_did_live(level_with):
    level = level_with(pattern=NUMBER)
    chunks = [(0.1, b"+1.5\r\n+2"), (0.2, b".5\r\n?!\r\n"), (0.3, b"+3.5\r\n")]
    raw = b"".join(data for _, data in chunks)
    ends = np.cumsum([len(data) for _, data in chunks])
    found = decode_all(level, raw, ends, [time_s for time_s, _ in chunks])
    decoder = decoder_for(level)
    live = [reading for time_s, data in chunks for reading in decoder.feed(data, time_s)]
    assert np.array_equal(found.value, [r.value for r in live], equal_nan=True)
    assert found.flag.tolist() == [0, 0, FLAGS["garbled"], 0]
    assert found.arrival_s.tolist() == [0.1, 0.2, 0.2, 0.3]
    assert {why: each.count for why, each in found.refused.items()} == {"does not match the pattern": 1}


def test_halves_before_and_after_an_unplugging_are_never_joined(level_with):
    events = [Event(0.5, "lost", "level: gone"), Event(2.0, "reopened", "level: back")]
    found = decode_all(level_with(pattern=NUMBER), b"12.345\n12.5\n", [4, 12], [0.4, 2.01], events)
    assert found.value[found.flag == 0].tolist() == [12.5]


def test_requests_are_known_from_the_events_and_those_of_other_ports_passed_over(level_with):
    level = level_with(pattern=NUMBER, ask="R")
    events = [
        Event(1.0, "asked", "level: level"),
        Event(1.15, "asked", "dial: dial"),
        Event(2.0, "asked", "level: other"),
        Event(3.0, "asked", "level: level"),
    ]
    found = decode_all(level, b"1\n99\n2\n", [2, 5, 7], [1.2, 2.2, 3.4], events)
    assert found.value.tolist() == [1.0, 2.0]
    assert found.time_s == pytest.approx([1.1, 3.2])


def test_stream_kept_under_another_instruments_name_is_decoded(level_with):
    events = [Event(1.0, "opened", "port-a: here")]
    found = decode_all(level_with(pattern=NUMBER), b"2.5\n12.5\n", [4, 9], [1.01, 1.2], events, "port-a")
    assert {why: each.count for why, each in found.refused.items()} == {"may have lost its beginning": 1}


def test_empty_stream_gives_no_reading(level_with):
    assert len(decode_all(level_with(pattern=NUMBER), b"", [], []).value) == 0


def test_health_counts_by_name_and_notices_frozen_and_late(level_with):
    decoder, watch = decoder_for(level_with(pattern=NUMBER)), HealthWatch()
    for turn in range(100):
        line = b"?\n" if turn == 3 else b"9.9E37\n" if turn == 4 else b"12.5\n"
        watch.take(decoder.feed(line, turn * 0.1), position_mm=float(turn))
    health = watch.at(9.9)
    assert health.counts == {"garbled": 2} and health.good == 98
    assert health.is_frozen and not health.is_late
    assert any(word.startswith("frozen for") for word in health.words())
    assert watch.at(12.0).is_late
    assert "late: nothing for 2.1 s" in watch.at(12.0).words()


def test_value_that_changes_is_not_frozen_and_one_at_rest_neither(level_with):
    decoder, moving, still = decoder_for(level_with(pattern=NUMBER)), HealthWatch(), HealthWatch()
    for turn in range(100):
        moving.take(decoder.feed(b"%d.%d\n" % (turn, turn), turn * 0.1), position_mm=float(turn))
        still.take(decoder.feed(b"12.5\n", turn * 0.1), position_mm=0.0)
    assert not moving.at(9.9).is_frozen and not still.at(9.9).is_frozen
