"""Ends and sides are called as the survey says, and no machine is taken for a lathe."""

import re

import pytest

from acquire.cli import main
from acquire.model.bed_toml.reading import parse_bed, read_bed
from acquire.model.errors import BedError
from tests.invented import bed_toml

BED = bed_toml(name="invented", bed="CALLED", faces=("way",))
OF_A_LATHE = re.compile("headstock|tailstock|operator", re.IGNORECASE)


def called(words):
    return parse_bed(BED.replace("CALLED", words)).called


def test_bed_that_says_nothing_has_plain_ends_and_sides():
    plain = called("")
    assert (plain.origin, plain.far_end, plain.front, plain.rear) == ("near end", "far end", "front", "rear")
    assert plain.away == "away from the near end" and plain.seen_from == "far end"


def test_upright_guide_goes_from_its_bottom_to_its_top():
    upright = called('stands = "upright"')
    assert (upright.origin, upright.far_end, upright.is_upright) == ("bottom", "top", True)
    assert upright.view.startswith("Laid on its side, bottom on the left")


def test_words_of_the_owner_win():
    said = called('origin = "ram end"\nfar_end = "table end"\nfront = "window side"\nseen_from = "the door"')
    assert said.towards == "towards the ram end" and said.view == "From above, ram end on the left"
    assert said.front == "front, window side" and said.seen_from == "the door"


@pytest.mark.parametrize("words", ['stands = "leaning"', "origin = 3", 'front = ""'])
def test_words_that_are_none_are_refused(words):
    with pytest.raises(BedError):
        called(words)


STARTED = [
    ([], True),
    (["--faces", "two-vees"], True),
    (["--faces", "vee-grooves"], False),
    (["--face", "way:up"], False),
    (["--upright"], False),
]


@pytest.mark.parametrize(("more", "is_lathe"), STARTED)
def test_start_names_headstock_and_operator_on_a_lathe_alone(tmp_path, more, is_lathe):
    assert main(["-q", "start", str(tmp_path / "b"), *more, "--instrument", "scale"]) == 0
    text = (tmp_path / "b" / "bed.toml").read_text(encoding="utf-8")
    assert bool(OF_A_LATHE.search(text)) is is_lathe
    assert (read_bed(tmp_path / "b" / "bed.toml").called.origin == "headstock end") is is_lathe


def test_start_takes_words_for_ends_and_sides(tmp_path):
    words = ["--origin", "ram end", "--far-end", "table end", "--front-side", 'the "window"']
    assert main(["-q", "start", str(tmp_path / "b"), *words]) == 0
    said = read_bed(tmp_path / "b" / "bed.toml").called
    assert (said.origin, said.far_end, said.front) == ("ram end", "table end", 'front, the "window"')
