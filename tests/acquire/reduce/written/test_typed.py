"""Typed lines as they are kept: read back, corrected, cut short, spoiled."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from acquire.model.bed import Instrument
from acquire.model.errors import EntryError
from acquire.reduce.written.readings import mode_of
from acquire.reduce.written.typed import TypedLine, readings_typed, typed_lines, typed_reading


def test_lines_are_read_back_as_they_were_typed():
    lines = [TypedLine(450.0, 1, 12.25, "+3,5 thou"), TypedLine(101.6, 2, math.nan, "-")]
    back = typed_lines(b"".join(line.as_bytes() for line in lines))
    assert back[0] == lines[0] and back[1].words == "-" and math.isnan(back[1].time_s)


def test_later_line_corrects_and_keeps_the_first_in_its_note(setup):
    stations = readings_typed(setup(source="enter"), b"0\t1\t5\t30\n50\t1\t9\t4\n0\t1\t12\t3\n").stations
    assert stations.reading.tolist() == [3, 4] and stations.note == ("first read 30", "")
    assert stations.time_s.tolist() == [12, 9] and (stations.samples == 1).all()


def test_reading_corrected_to_a_gap_is_a_gap(setup):
    table = readings_typed(setup(source="enter"), b"0\t1\t5\t30\n0\t1\t6\t-\n50\t1\t7\t1\n")
    assert table.gap_mm == (0.0,) and table.stations.station_mm.tolist() == [50]


@pytest.mark.parametrize("minus", "-−–—‐‑")
def test_both_ends_of_a_bubble_take_every_sign_for_a_minus(minus):
    vial = Instrument("vial", "slope", "mm/m", per_division=0.02)
    for between in (" / ", " ", "/"):
        assert typed_reading(vial, f"{minus}1{between}{minus}2,5") == pytest.approx(-35.0)  # half of 3.5 div


def test_line_cut_off_in_the_middle_is_left_out(setup):
    whole = b"0\t1\t5\t3\n50\t1\t9\t4\n"
    for end in range(len(b"0\t1\t5\t3\n"), len(whole)):
        assert readings_typed(setup(source="enter"), whole[:end]).stations.reading.tolist() == [3]


@pytest.mark.parametrize("words", ["1 2", "1 / 2"])
def test_two_numbers_are_no_reading_of_an_indicator(setup, words):
    with pytest.raises(EntryError, match="one reading"):
        readings_typed(setup(source="enter"), f"0\t1\t\t{words}\n".encode())


@pytest.mark.statistics
@settings(max_examples=150, deadline=None, derandomize=True)
@given(
    st.one_of(
        st.binary(max_size=60),
        st.lists(
            st.tuples(
                *[st.sampled_from(["0", "50", "1", "-1", "nan", "1e999", "9" * 30, "", "3 thou", "-"])] * 4
            ),
            max_size=4,
        ).map(lambda rows: "".join("\t".join(row) + "\n" for row in rows).encode()),
    )
)
def test_any_bytes_are_lines_or_an_entry_error(setup, raw):
    try:
        stations = readings_typed(setup(source="enter"), raw).stations
    except EntryError:
        return
    assert np.isfinite(stations.reading).all()


@pytest.mark.parametrize(("step_mm", "mode"), [(200, "stepped"), (100, "stepped"), (99, "continuous")])
def test_level_stepped_by_half_its_base_is_stepped_and_one_read_closer_is_drawn(setup, step_mm, mode):
    assert mode_of(setup("level"), np.arange(100.0, 901.0, step_mm)) == mode
