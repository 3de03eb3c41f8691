"""A guide that stands upright is drawn as it stands; no picture takes another machine for a lathe."""

import re

import numpy as np
import pytest
from matplotlib.text import Text

from acquire.model.bed_toml.reading import parse_bed
from analysis.adjust.combination import combine
from analysis.answers.face_map import map_face
from analysis.answers.whole_bed import whole_bed
from analysis.draw.figures import bed_figure, profile_figure
from analysis.draw.figures.from_above import Outline, draw_standing
from analysis.draw.figures.looks import new_figure
from analysis.draw.sheets import plan_sheet, sign_words, write_sheets
from tests.invented import bed_toml, dial, flat, level

BED = bed_toml(
    name="invented column",
    bed="CALLED",
    faces={"way": flat(unworn_mm=[[0, 100]])},
    instruments={"dial": dial(1), "level": level(1, base_mm=100)},
)
X = np.arange(0, 1001, 100.0)
HOLLOW = -20 * np.sin(np.pi * X / 1000)
OF_A_LATHE = re.compile("headstock|tailstock|operator", re.IGNORECASE)


@pytest.fixture
def measured(make_traverse):
    def measure(called):
        bed = parse_bed(BED.replace("CALLED", called))
        bed_map = combine([make_traverse(bed, "dial", X, HOLLOW, face="way", reference="line")], bed)
        return bed, bed_map

    return measure


@pytest.mark.parametrize("inch", [False, True])
def test_upright_guide_is_drawn_from_its_bottom_up_with_heights_to_the_side(measured, inch):
    bed, bed_map = measured('stands = "upright"')
    figure = profile_figure(
        map_face(bed_map, "way", line="ends"), inch, called=bed.called, unworn_mm=[(0, 100)]
    )
    axes = figure.axes[0]
    curve = next(line for line in axes.lines if line.get_label().startswith("height"))
    per_um, per_mm = (1 / 25.4, 1 / 25.4) if inch else (1.0, 1.0)
    assert curve.get_ydata() == pytest.approx(X * per_mm)
    assert curve.get_xdata() == pytest.approx(HOLLOW * per_um, abs=1e-9)
    low, high = axes.get_ylim()
    assert low < high
    words = {text.get_text() for text in axes.texts}
    assert {"bottom", "top", "−20" if not inch else "−0.79"} <= words
    assert ("station, in" if inch else "station, mm") in axes.get_ylabel()


def test_fill_of_an_upright_guide_turns_from_high_to_low_where_the_curve_crosses_its_line(measured):
    bed, bed_map = measured('stands = "upright"')
    shape = map_face(bed_map, "way", line="least-squares")
    assert shape.height_um[0] > 0 > shape.height_um[2]
    last = int(np.flatnonzero(shape.height_um > 0)[2 - 1])  # above the line at 0 and 100 mm
    crossing = np.interp(0.0, -shape.height_um[last : last + 2], shape.station_mm[last : last + 2])
    axes = profile_figure(shape, called=bed.called).axes[0]
    low = next(each for each in axes.collections if each.get_label() == "low")
    bounds = np.concatenate([path.vertices for path in low.get_paths()])
    assert bounds[:, 1].min() == pytest.approx(crossing)


@pytest.mark.whole
def test_no_picture_speaks_of_a_lathe_unless_the_survey_does(measured):
    for called, is_lathe in (("", False), ('origin = "headstock end"', True), ('stands = "upright"', False)):
        bed, bed_map = measured(called)
        said = [text.get_text() for text in bed_figure(whole_bed(bed_map, ()), bed).findobj(Text)]
        assert bool(OF_A_LATHE.search("\n".join(said))) is is_lathe


@pytest.mark.parametrize(
    ("called", "plus"),
    [("", "the far end is higher"), ('far_end = "table end"', "the table end is higher"),
     ('stands = "upright"', "the top leans out, to where the face looks")],
)  # fmt: skip
def test_sheet_says_which_way_is_plus_in_the_words_of_the_survey(called, plus):
    bed = parse_bed(BED.replace("CALLED", called))
    assert plus in sign_words(bed.instruments["level"], bed.called)


@pytest.mark.whole
def test_sheet_of_a_guide_that_stands_is_one_page(measured, tmp_path):
    bed, _ = measured('stands = "upright"')
    assert write_sheets(bed, [plan_sheet(bed, "way", "level")], tmp_path / "way.pdf", "A4") == 1


def test_map_of_a_guide_that_stands_has_its_stations_going_up(measured):
    bed, bed_map = measured('stands = "upright"\norigin = "foot"')
    axes = bed_figure(whole_bed(bed_map, ()), bed).axes[0]
    low, high = axes.get_ylim()
    assert low < 0 < float(X[-1]) < high
    assert [label.get_text().splitlines()[0] for label in axes.get_xticklabels()] == list(bed.faces)
    assert axes.get_ylabel() == "station, mm, up from the foot"
    strips = sorted({round(patch.get_y()) for patch in axes.patches if 0 < patch.get_height() < X[-1]})
    assert strips[0] == 0 and len(strips) == X.size
    lying, lying_map = measured("")
    assert bed_figure(whole_bed(lying_map, ()), lying).axes[0].get_xlabel() == "station, mm"


def test_sheet_of_a_guide_that_stands_has_station_0_at_the_bottom(measured):
    bed, _ = measured('stands = "upright"\norigin = "foot"\nfar_end = "head"')
    axes = new_figure(4.0).add_subplot()
    draw_standing(axes, bed, ["way"], [0.0, float(X[-1])], Outline(0.0, 20.0, 0.0, 50.0))
    read = next(line for line in axes.lines if line.get_marker() == "o")
    assert list(read.get_ydata()) == [50.0, 0.0]  # y grows downwards on a sheet
    place = {text.get_text(): text.get_position()[1] for text in axes.texts}
    assert place["head"] < 0.0 < 50.0 < place["foot"]
