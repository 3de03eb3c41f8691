"""How an instrument stands for a run, small enough for a phone: what is drawn, marked and said of it."""

import re
from xml.etree import ElementTree

import pytest
from matplotlib.figure import Figure

from acquire.model.bed_toml.reading import parse_bed
from acquire.model.traverse import Setup
from analysis.draw.figures.from_above import Outline, draw_from_above
from analysis.draw.figures.looks import FAINT, INK
from analysis.draw.set_up import carriers_of, faces_read, set_up
from tests.invented import bed_toml, caliper, cross_level, dial, flat, level

BED = bed_toml(
    1000,
    faces={
        "front": flat(0, "front"),
        "rear": flat(300, "rear"),
        "tail": flat(150),
        "under": {"normal": "down", "across_mm": 0},
    },
    instruments={"level": level(), "cross": cross_level(), "dial": dial(), "caliper": caliper()},
)


def setup_of(instrument, quantity, **more):
    return Setup(instrument, quantity, BED, **more)


@pytest.mark.parametrize(
    ("setup", "read", "carriers"),
    [
        (setup_of("level", "slope", face="tail"), ("tail",), ()),
        (setup_of("level", "slope", face="carriage"), ("front", "rear"), ()),
        (setup_of("cross", "roll", front="front", rear="rear"), ("front", "rear"), ()),
        (setup_of("cross", "roll", front="front", rear="rear", reference="carriage"), ("front", "rear"), ()),
        (setup_of("dial", "offset", face="tail", reference="front"), ("tail",), ("front",)),
        (setup_of("dial", "offset", face="tail", reference="carriage"), ("tail",), ("front", "rear")),
        (setup_of("dial", "offset", face="tail", reference="front+rear"), ("tail",), ("front", "rear")),
        (setup_of("dial", "offset", face="tail", reference="line"), ("tail",), ()),
        (setup_of("caliper", "span", face="front", other="under"), ("front", "under"), ()),
    ],
)
def test_faces_that_are_read_and_those_that_carry_are_told_apart(setup, read, carriers):
    assert (faces_read(setup), carriers_of(setup)) == (read, carriers)


def test_marks_lie_on_the_drawing_where_the_bed_does():
    """The ends of the marks are those of the outline that is drawn: the first closed path on the paper."""
    found = set_up(setup_of("level", "slope", face="rear"), (100, 300, 500, 700, 900))
    drawn = ElementTree.fromstring(found["drawing"])
    _, path, *_ = (each for each in drawn.iter() if each.tag.endswith("path") and "z" in each.get("d", ""))
    numbers = [float(each) for each in re.findall(r"-?[\d.]+", path.get("d"))]
    marks = found["marks"]
    assert (min(numbers[::2]), max(numbers[::2])) == pytest.approx((marks["left"], marks["right"]), abs=0.01)
    assert min(numbers[1::2]) < marks["across"][0] < max(numbers[1::2]) and marks["length_mm"] == 1000


def test_only_what_concerns_the_run_is_named_and_nothing_asks_for_a_style_sheet():
    found = set_up(setup_of("dial", "offset", face="tail", reference="front"), (0, 500, 1000))
    assert (
        ">tail<" in found["section"] and ">front<" in found["section"] and ">under<" not in found["section"]
    )
    assert "<style" not in found["drawing"] + found["section"] and "var(--ink" in found["drawing"]
    assert found["signs"].startswith("As the instrument shows it:  + means the plunger goes in")


def test_face_that_is_read_is_never_hidden_by_one_above_or_below_it():
    """The underside lies where the front way does: lines of one place, the one that is read on top."""
    axes = Figure().add_axes((0, 0, 1, 1))
    bed = parse_bed(BED, "bed.toml")
    draw_from_above(axes, bed, ("front",), (0, 500, 1000), Outline(0, 100, 0, 20))
    at = {}
    for line in axes.lines:
        at.setdefault(round(float(line.get_ydata()[0]), 6), []).append((line.get_zorder(), line.get_color()))
    (shared,) = (lines for lines in at.values() if len(lines) > 2)
    assert [color for _, color in sorted(shared)] == [FAINT, INK, "white"]


def test_signs_are_said_in_the_words_of_the_survey():
    bed = bed_toml(bed={"far_end": "table end"}, instruments={"level": level()})
    run = Setup("level", "slope", bed, number=1, face="front", position="stations")
    assert "+ means the table end is higher" in set_up(run, [100.0])["signs"]
