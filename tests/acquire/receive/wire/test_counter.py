"""Encoder counters."""

import math

import pytest

from acquire.model.bed import Instrument
from acquire.model.traverse import FLAGS
from acquire.receive.wire.kinds import decoder_for


def scale(unit="mm", quantity="position", **wire):
    return Instrument("scale", quantity, unit, wire={"kind": "counter", "counts_per_mm": 200.0, **wire})


def values(decoder, *counts):
    return [r.value for n in counts for r in decoder.feed(b"%d\r\n" % n, 0.0)]


def test_counts_become_millimetres():
    assert values(decoder_for(scale()), 0, 200, -50, 12345) == [0.0, 1.0, -0.25, 61.725]


def test_counter_that_starts_again_goes_on_in_both_directions():
    decoder = decoder_for(scale(wrap=65536))
    assert values(decoder, 65000, 65400, 264, 464) == pytest.approx([325.0, 327.0, 329.0, 330.0])
    assert values(decoder, 264, 65400) == pytest.approx([329.0, 327.0])


def test_one_misread_count_does_not_shift_those_after_it():
    decoder = decoder_for(scale(wrap=65536))
    assert values(decoder, 12000, 52000, 12010)[2] == pytest.approx(60.05)


def test_index_mark_ties_counts_to_the_bed():
    decoder = decoder_for(scale(index_mm=100.0, pattern=r"(?P<value>-?\d+)(?P<index> Z)?"))
    found = decoder.feed(b"5000\n5200 Z\n5400\n", 0.0)
    assert found[0].flag == FLAGS["no_position"] and math.isnan(found[0].value)
    assert [reading.value for reading in found[1:]] == [100.0, 101.0]


def test_counter_that_began_anew_after_a_gap_is_not_believed_until_its_index():
    decoder = decoder_for(scale(pattern=r"(?P<value>-?\d+)(?P<index> Z)?"))
    decoder.feed(b"100000\n", 0.0)
    decoder.started(2.0)
    (reading,) = decoder.feed(b"12\n", 3.0)
    assert reading.flag == FLAGS["out_of_range"] and "anew" in reading.reason
    assert [r.value for r in decoder.feed(b"40 Z\n240\n", 4.0)] == [0.0, 1.0]


def test_counter_that_kept_counting_over_a_gap_is_believed():
    decoder = decoder_for(scale())
    decoder.feed(b"100000\n", 0.0)
    decoder.started(2.0)
    assert [r.value for r in decoder.feed(b"100400\n", 3.0)] == [502.0]


def test_counts_of_an_indicator_come_in_its_own_unit():
    assert values(decoder_for(scale("um", "offset")), 3) == pytest.approx([15.0])


@pytest.mark.parametrize("line", [b"1.5\n", b"x\n", b"99999999999999999999\n"])
def test_what_is_no_whole_count_is_garbled(line):
    (reading,) = decoder_for(scale(pattern=r"(?P<value>.*)")).feed(line, 0.0)
    assert reading.flag == FLAGS["garbled"]
