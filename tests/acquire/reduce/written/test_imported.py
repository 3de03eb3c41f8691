"""CSV files as people write them: understood whole, or refused whole with the reason."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from acquire.model.bed import Instrument
from acquire.model.errors import EntryError
from acquire.reduce.written.imported import readings_imported
from acquire.reduce.written.readings import reading_of


def readings(setup, text):
    raw = text if isinstance(text, bytes) else text.encode()
    return readings_imported(setup, raw, "run.csv")


def refusal(setup, text):
    with pytest.raises(EntryError) as caught:
        readings(setup, text)
    assert "\n" not in str(caught.value)
    return str(caught.value)


PLAIN = {"station": [0, 50, 150], "reading": [0, -1.5, 3.25]}
WRITTEN = {
    "plain": "station_mm,reading\n0,0\n50,-1.5\n100,\n150,3.25\n",
    "windows line ends and a byte-order mark": "\ufeff"
    "station_mm,reading\r\n0,0\r\n50,-1.5\r\n100,\r\n150,3.25\r\n",
    "old line ends": "station_mm,reading\r0,0\r50,-1.5\r100,\r150,3.25\r",
    "semicolons and decimal commas": "station_mm;reading\n0;0\n50;-1,5\n100;\n150;3,25\n",
    "tabs": "station\treading\n0\t0\n50\t-1.5\n100\t\n150\t3.25\n",
    "sep line": "sep=;\nstation;reading\n0;0\n50;-1,5\n100;\n150;3,25\n",
    "quoted decimal commas between commas": 'station,reading\n0,0\n50,"-1,5"\n100,\n150,"3,25"\n',
    "headers the other way round": "Reading (µm);Station (mm)\n0;0\n-1,5;50\n;100\n3,25;150\n",
    "station in inches": 'reading; "station in"\n0;0\n-1,5;1.968503937\n3,25;5.905511811'.replace(".", ","),
    "comments, blank and empty lines": ""
    "# by hand\n\nstation_mm,reading,,\n0,0,,\n#x,y\n,,,\n50,-1.5\n150,3.25,,\n",
    "typographic minus and plus": "station_mm,reading\n0,+0\n50,−1.5\n150,+3.25\n",
    "dash for a gap": "station_mm,reading\n0,0\n50,-1.5\n100,-\n150,3.25\n",
    "unit in the cells": "station_mm,reading\n0,0\n50 mm,-0.0015 mm\n150,3.25 um\n",
    "rows in any order": "station_mm,reading\n150,3.25\n0,0\n50,-1.5\n",
    "columns of no use": "no.,station_mm,operator,reading\n1,0,me,0\n2,50,me,-1.5\n3,150,me,3.25\n",
    "a column for each direction": "station_mm;forward;reverse\n0;0;9\n50;-1,5;9\n150;3,25;9\n",
}


@pytest.mark.parametrize("text", WRITTEN.values(), ids=WRITTEN)
def test_the_same_table_is_understood_however_it_is_written(setup, text):
    stations = readings(setup(), text).stations
    np.testing.assert_allclose(stations.station_mm, PLAIN["station"], atol=1e-5)
    np.testing.assert_allclose(stations.reading, PLAIN["reading"], atol=1e-9)
    assert (stations.standard_uncertainty == 1.5).all() and (stations.scatter == 0).all()
    assert (stations.samples == 1).all() and np.isnan(stations.time_s).all()


@pytest.mark.parametrize(
    "title",
    ["Front way, second run;;\r\n", "Front way (invented)\r\n\r\n", "Shop;;\r\n;Front way;\r\n", ";\r\n"],
)
def test_title_above_the_header_is_passed_over_and_said(setup, title):
    text = "\ufeff" + title + "Station (mm);Reading (mm);\r\n0;0,05;\r\n"
    table = readings_imported(setup(), text.encode())
    assert table.stations.reading.tolist() == [50.0]
    said = [words for words in table.understood if "passed over above the header" in words]
    assert bool(said) == ("Front" in title) and all("'Front way" in words for words in said)


@pytest.mark.parametrize("minus", "-−–—‐‑")
def test_thousands_marks_are_refused_behind_every_sign_for_a_minus(setup, minus):
    with pytest.raises(EntryError, match="could mean"):
        readings(setup(), f'station_mm,reading\n0,950\n50,"{minus}1,000"\n')


@pytest.mark.parametrize("minus", "-−–—‐‑")
def test_every_sign_for_a_minus_is_read_in_a_table_and_stands_for_a_gap_by_itself(setup, minus):
    table = readings(setup(), f"station_mm,reading\n0,0\n50,{minus}1.5\n100,{minus}\n")
    assert table.stations.reading.tolist() == [0.0, -1.5] and table.gap_mm == (100.0,)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_micrometre_sign_is_read_in_every_encoding_of_spreadsheets(setup, encoding):
    raw = "station_mm\treading (µm)\n0\t1,5\n".encode(encoding)
    assert readings(setup(), raw).stations.reading.tolist() == [1.5]


def test_empty_reading_is_a_gap_and_no_zero(setup):
    table = readings(setup(), WRITTEN["plain"])
    assert table.gap_mm == (100.0,) and 100.0 not in table.stations.station_mm


IN_UNITS = [
    ("indicator", "reading (thou)", "3", 76.2),  # 1 thou = 25.4 µm exactly
    ("indicator", "reading [mm]", "-0.02", -20.0),
    ("indicator", "reading_in", "0.001", 25.4),
    ("indicator", "reading", "3.5 thou", 88.9),
    ("dial", "reading", "2", 25.4),  # divisions of half a thou
    ("dial", "reading um", "2", 2.0),
    ("level", "reading_um_per_m", "4", 4.0),
    ("level", "reading (mm/m)", "0.02", 20.0),
    ("level", "reading in arcsec", "1", 4.84813681109536),  # π/648000 rad
    ("level", "reading", '1"', 4.84813681109536),
    ("level", "reading (deg)", "0.001", 17.453292519943),  # π/180000 rad
    ("level", "reading in/ft", "0.0005", 41.6667),  # 0.0005 in/ft = 41.6667 µm/m (derived)
    ("vial", "reading", "2", -40.0),
    ("vial", "reading (div)", "2", -40.0),
    ("vial", "reading (um/m)", "2", -2.0),
]


@pytest.mark.parametrize(("instrument", "header", "cell", "contract"), IN_UNITS)
def test_readings_in_every_unit_reach_the_one_inside(setup, instrument, header, cell, contract):
    text = f"station_mm;{header}\n200;{cell}\n"
    assert readings(setup(instrument), text).stations.reading[0] == pytest.approx(contract, rel=1e-5)


def test_unit_option_stands_for_bare_numbers_only(setup):
    stations = readings(setup(unit="thou"), "station_mm,reading\n0,1\n50,1 mm\n").stations
    assert stations.reading.tolist() == [25.4, 1000.0]


def test_feet_of_a_level_give_the_middle_of_its_base(setup):
    stations = readings(setup("level"), "from_mm,to_mm,reading\n0,200,1\n200,400,2\n").stations
    assert stations.station_mm.tolist() == [100, 300]


def test_published_autocollimator_case_is_read_in_minutes_and_seconds(setup):
    """Published (course slides on straightness by autocollimator, author not shown).

    Forward readings 2′8″ ... 2′14″ are 128 ... 134 seconds; its scale of 0.5 µm a second over
    100 mm is rounded, ours is exact (4.848 µm/m a second).
    """
    written = ['2′8""', "2′8″", "2'11", "2'15''", "2′8", "2'09''", "2′14.0″"]
    seconds = [128, 128, 131, 135, 128, 129, 134]
    by_hand = "".join(f'{50 + 100 * step};"{text}"\n' for step, text in enumerate(written))
    in_seconds = "".join(f"{50 + 100 * step};{value}\n" for step, value in enumerate(seconds))
    autocollimator = setup("autocollimator")
    by_minutes = readings(autocollimator, "station_mm;reading\n" + by_hand).stations.reading
    by_seconds = readings(autocollimator, "station_mm;reading (arcsec)\n" + in_seconds).stations.reading
    np.testing.assert_allclose(by_minutes, by_seconds, rtol=1e-12)
    np.testing.assert_allclose(by_minutes[3] - by_minutes[0], 7 * math.pi / 648000 * 1e6, rtol=1e-9)


def test_stations_without_repeat_column_are_numbered_in_order_of_the_rows(setup):
    stations = readings(setup(), "station_mm,reading\n0,1\n50,2\n0,3\n0,4\n").stations
    assert stations.station_mm.tolist() == [0, 0, 0, 50]
    assert stations.repeat.tolist() == [1, 2, 3, 1]
    assert stations.reading.tolist() == [1, 3, 4, 2]


def test_repeat_and_note_columns_are_kept(setup):
    text = "station_mm;reading;repeat;note\n0;1;2;wiped first\n0;2;1;\n"
    stations = readings(setup(), text).stations
    assert stations.repeat.tolist() == [1, 2] and stations.note == ("", "wiped first")


def test_closely_spaced_slopes_are_continuous_unless_said_otherwise(setup):
    text = "station_mm,reading\n" + "".join(f"{x},1\n" for x in range(100, 1500, 10))
    assert readings(setup("level"), text).mode == "continuous"
    assert readings(setup("level", mode_asked="stepped"), text).mode == "stepped"
    assert readings(setup("indicator"), text).mode == "stepped"


def test_rows_towards_the_headstock_raise_a_doubt_about_the_direction(setup):
    text = "station_mm,reading\n150,1\n100,2\n50,3\n0,4\n"
    (words,) = readings(setup(), text).doubts
    assert words == "the rows ran from 150 to 0 mm, towards station 0; --direction says forward"
    assert readings(setup(direction="reverse"), text).doubts == ()


def test_rows_away_from_the_headstock_are_held_against_reverse_but_not_a_sheets_own_column(setup):
    rising = "station_mm,reading\n0,1\n50,2\n100,3\n"
    (words,) = readings(setup(direction="reverse"), rising).doubts
    assert "away from station 0; --direction says reverse" in words
    sheet = "station_mm,forward,reverse\n0,1,1\n50,2,2\n100,3,3\n"
    assert readings(setup(direction="reverse"), sheet).doubts == ()


def test_rows_there_and_back_tell_no_direction(setup):
    text = "station_mm,reading\n0,1\n50,2\n100,3\n50,2\n0,1\n"
    for direction in ("forward", "reverse"):
        assert readings(setup(direction=direction), text).doubts == ()


REFUSED = {
    "nothing": ("", "header"),
    "header alone": ("station_mm,reading\n", "no reading"),
    "only gaps": ("station_mm,reading\n0,\n50,\n", "no reading"),
    "no header": ("0,1\n50,2\n", "named in a header line"),
    "one column": ("reading\n1\n", "station_mm and reading"),
    "no station": ("place of rest;reading\n0;1\n", "station_mm"),
    "two reading columns": ("station_mm,reading,reading (thou)\n0,1,2\n", "one column of reading"),
    "decimal commas between commas": (
        "station_mm,reading\n0,0,5\n50,1,5\n", "separators and decimal commas cannot be told apart",
    ),
    "decimal commas hidden in notes": (
        "station_mm,reading,note\n0,0,5\n50,1,5\n", "separators and decimal commas cannot be told apart",
    ),
    "both decimal marks": ("station_mm;reading\n0;1,5\n50;1.5\n", "one decimal mark"),
    "thousands marks in stations": ("station_mm;reading\n950;1\n1,000;2\n", "could mean 1000"),
    "thousands marks in readings": ("station_mm;reading\n0;950\n50;1.050\n", "could mean 1050"),
    "unknown unit in the header": ("station_mm;reading (furlong)\n0;1\n", "furlong"),
    "unit of another quantity in the header": ("station_mm;reading (mm/m)\n0;1\n", "um | mm | thou | in"),
    "unit of another quantity in a cell": ("station_mm;reading\n0;1 mm/m\n", "line 2"),
    "stray unit": ("station_mm;reading\n0;1 furlong\n", "1 furlong"),
    "words": ("station_mm;reading\n0;high\n", "high"),
    "not a number": ("station_mm;reading\n0;nan\n", "nan"),
    "infinite": ("station_mm;reading\n0;inf\n", "inf"),
    "spreadsheet error": ("station_mm;reading\n0;1\n50;#DIV/0!\n", "line 3"),
    "no place": ("station_mm;reading\n;1\n", "station"),
    "before the bed": ("station_mm;reading\n-50;1\n", "0 to 1600"),
    "beyond the bed": ("station_mm;reading\n1650;1\n", "0 to 1600"),
    "out of the instrument's range": ("station_mm;reading\n0;2500\n", "-2000 to 2000 um"),
    "too large for anything": ("station_mm;reading\n0;1e9 mm\n", "at most"),
    "repeat twice": ("station_mm;reading;repeat\n0;1;1\n0;2;1\n", "each repeat once"),
    "repeat of none": ("station_mm;reading;repeat\n0;1;0\n", "whole number from 1"),
    "short row": ("station_mm;reading\n0;1\n50\n", "line 3"),
    "feet for an indicator": ("from_mm;to_mm;reading\n0;200;1\n", "has no two feet"),
    "workbook": (b"PK\x03\x04\x14\x00\x06\x00", "not a workbook"),
    "bytes of no text": (bytes(range(256)), "text"),
    "open quote": ('station_mm,reading\n0,"1\n50,2\n', "line 3"),
}  # fmt: skip


@pytest.mark.parametrize(("text", "words"), REFUSED.values(), ids=REFUSED)
def test_what_cannot_be_understood_is_refused_with_the_reason(setup, text, words):
    assert words in refusal(setup(), text)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("station_mm,reading\n0,1\n", "feet stand at -100 and 100"),
        ("station_mm,reading\n1550,1\n", "both feet on the bed"),
        ("from_mm,to_mm,reading\n0,100,1\n", "one base (200 mm) apart"),
        ("from_mm,to_mm,reading\n400,200,1\n", "nearer station 0 first"),
        ("station_mm,from_mm,to_mm,reading\n100,0,200,1\n", "not both"),
    ],
)
def test_level_off_the_bed_or_off_its_base_is_refused(setup, text, words):
    assert words in refusal(setup("level"), text)


def test_unit_option_against_the_header_is_refused(setup):
    assert "one unit" in refusal(setup(unit="thou"), "station_mm;reading (mm)\n0;1\n")


def test_all_bad_rows_are_told_in_one_go_and_many_are_counted(setup):
    text = "station_mm,reading\n" + "".join(f"{x},bad\n" for x in range(0, 1000, 50))
    words = refusal(setup(), text)
    assert "found 20 bad rows" in words and "line 2:" in words and "line 7:" in words
    assert "and 14 more" in words and "nothing was imported" in words.lower()


@pytest.mark.statistics
def test_more_rows_than_the_bound_are_refused(setup):
    text = "station_mm,reading\n" + "0,1\n" * 200_001
    assert "more than 200000 rows" in refusal(setup(), text)


def test_line_numbers_count_comments_and_quoted_line_ends(setup):
    text = '# one\nstation_mm,reading,note\n0,1,"two\nlines"\n50,bad,\n'
    assert "line 5" in refusal(setup(), text)


cells = st.one_of(
    st.sampled_from(
        ["0", "50", "1,5", "-2.5", "3 thou", "", "-", "1e9", "nan", "1.000", "950", '"', "'", "#", "µm"]
    ),
    st.text(max_size=6),
)
tables = st.builds(
    lambda header, separator, rows, ending: (
        header + ending + ending.join(separator.join(r) for r in rows)
    ).encode("utf-8", "surrogatepass"),
    st.sampled_from(
        ["station_mm,reading", "station;reading;note", "from\tto\treading", "reading (in);x in;repeat"]
    ),
    st.sampled_from([",", ";", "\t"]),
    st.lists(st.lists(cells, max_size=4), max_size=6),
    st.sampled_from(["\n", "\r\n", "\r"]),
)


@pytest.mark.statistics
@settings(max_examples=150, deadline=None, derandomize=True)
@given(st.one_of(st.binary(max_size=200), tables))
def test_any_bytes_are_understood_or_refused_never_a_crash(setup, raw):
    try:
        stations = readings_imported(setup(), raw).stations
    except EntryError:
        return
    assert np.isfinite(stations.reading).all() and len(stations) > 0
    assert ((stations.station_mm >= 0) & (stations.station_mm <= 1600)).all()


def test_bare_stations_are_in_the_surveys_own_unit_and_those_with_one_in_theirs(setup):
    inches = readings(setup(place_unit="in"), "station,reading\n2,1\n4 in,2\n254mm,3\n").stations
    assert inches.station_mm.tolist() == [50.8, 101.6, 254.0]
    named = readings(setup(place_unit="in"), "station_mm,reading\n50,1\n").stations
    assert named.station_mm.tolist() == [50.0]


def test_head_that_names_another_unit_than_was_asked_for_is_refused(setup):
    with pytest.raises(EntryError, match="one unit"):
        readings(setup(unit="thou"), "station_mm,reading (um)\n0,1\n")
    same = readings(setup(unit="thou"), "station_mm,reading (thou)\n0,1\n")
    assert same.stations.reading.tolist() == [25.4]


@pytest.mark.parametrize("head", ["reverse", "back", "backward", "return"])
def test_column_of_the_way_back_is_taken_however_it_is_headed(setup, head):
    text = f"station_mm,out,{head}\n0,1,9\n50,2,8\n"
    assert readings(setup(direction="reverse"), text).stations.reading.tolist() == [9.0, 8.0]
    assert readings(setup(), text).stations.reading.tolist() == [1.0, 2.0]


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
def test_both_byte_orders_of_a_wide_text_are_read(setup, encoding):
    raw = ("\ufeff" + "station_mm\treading (µm)\n0\t1,5\n").encode(encoding)
    assert readings(setup(), raw).stations.reading.tolist() == [1.5]


def test_feet_the_far_one_first_are_refused(setup):
    """Taken all the same they would turn the sign of the slope."""
    with pytest.raises(EntryError, match="nearer station 0 first"):
        readings(setup("level"), "from_mm,to_mm,reading\n400,200,1\n")
    assert readings(setup("level"), "from_mm,to_mm,reading\n200,400,1\n").stations.station_mm.tolist() == [
        300.0
    ]


def test_bad_row_is_named_by_its_line_in_the_file(setup):
    with pytest.raises(EntryError, match="line 4:"):
        readings(setup(), "# a comment\nstation_mm,reading\n0,1\n50,high\n")


@pytest.mark.parametrize(("cell", "is_taken"), [("4", True), ("-5", True), ("6", False), ("-5.5", False)])
def test_range_of_an_instrument_is_in_what_it_shows(cell, is_taken):
    """Five divisions of 20 µm/m either way: 4 are 80 µm/m and within, 6 are beyond."""
    vial = Instrument("vial", "slope", "um/m", per_division=20, range=(-5.0, 5.0), sign=-1)
    if is_taken:
        assert reading_of(vial, cell) == -20 * float(cell)
    else:
        with pytest.raises(EntryError, match="-5 to 5 div"):
            reading_of(vial, cell)
