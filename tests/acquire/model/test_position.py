"""Where the place of a reading comes from is read once, and its text stays what files keep."""

import pytest

from acquire.model.errors import EntryError, TraverseFileError
from acquire.model.position import Position, with_feed_in_mm_per_s
from acquire.model.traverse import Setup
from acquire.reduce.streams import check_can_be
from tests.invented import bed_toml, level, speaks

BED = bed_toml(600, instruments={"level": level(0.5, **speaks("loop://", r"(?P<value>[-+]\d+)"))})


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("stations", Position("stations")),
        ("file", Position("file")),
        ("scale:dro", Position("scale", scale="dro")),
        ("feed:2.5", Position("feed", feed_mm_per_s=2.5)),
    ],
)
def test_each_way_to_tell_the_place_is_read(text, meant):
    assert Position.parse(text) == meant


@pytest.mark.parametrize("text", ["", "scale", "feed", "stations:", "file:x", "gps:1"])
def test_text_that_names_no_way_is_refused(text):
    with pytest.raises(EntryError, match="no such way to tell the place"):
        Position.parse(text)


@pytest.mark.parametrize("speed", ["", "0", "-3", "nan", "inf", "fast"])
def test_feed_that_is_no_speed_is_refused(speed):
    with pytest.raises(EntryError, match="a feed in mm/s above 0"):
        Position.parse(f"feed:{speed}")


def test_files_keep_the_text_as_it_was_asked_for():
    setup = Setup("level", "slope", BED, face="front", position="feed:2.50")
    assert setup.placed_by.feed_mm_per_s == 2.5
    assert Setup.from_json(setup.as_json()).position == "feed:2.50"


@pytest.mark.parametrize("position", ["feed:-3", "somewhere"])
def test_recording_placed_in_no_known_way_is_not_derived(position):
    setup = Setup("level", "slope", BED, number=4, face="front", position=position)
    with pytest.raises(TraverseFileError, match="traverse 004"):
        check_can_be(setup, [])


@pytest.mark.parametrize(
    ("written", "mm_per_s"),
    [("12in/min", 5.08), ('12" / min', 5.08), ("300 mm/min", 5.0), ("0.2in/s", 5.08), ("1 ft/min", 5.08)],
)
def test_feed_with_a_unit_of_its_own_comes_to_mm_a_second(written, mm_per_s):
    """1 in = 25.4 mm by definition; feeds of machine tools stand in in/min or mm/min on their plates."""
    kept = with_feed_in_mm_per_s(f"feed:{written}")
    assert Position.parse(kept).feed_mm_per_s == pytest.approx(mm_per_s, rel=1e-9)


@pytest.mark.parametrize("written", ["12/min", "12in/h", "in/min", "12in", "-3in/min"])
def test_feed_whose_unit_is_none_is_refused_as_it_was_written(written):
    with pytest.raises(EntryError, match="a feed in mm/s above 0"):
        Position.parse(with_feed_in_mm_per_s(f"feed:{written}"))
