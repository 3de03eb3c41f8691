"""Pictures: what is on them is what was measured, in one unit, as text that can be selected."""

import itertools
import re
import sys
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from subprocess import run

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

from acquire.model.bed_toml.reading import parse_bed
from acquire.model.errors import AnalysisError
from acquire.model.units import decimals_for, number_text
from analysis.adjust.combination import combine
from analysis.answers.comparison import compare
from analysis.answers.face_map import map_face
from analysis.answers.twist import twist_of
from analysis.answers.twist_change import TwistChange
from analysis.answers.whole_bed import whole_bed
from analysis.draw.figures import (
    bed_figure,
    comparison_figure,
    history_figure,
    inline_svg,
    profile_figure,
    save,
    thinned,
    twist_figure,
)
from analysis.draw.figures.bed import on_one_line
from analysis.draw.figures.section import outline, spread
from tests.invented import bed_toml, cross_level, dial, flat, level, vee

pytestmark = pytest.mark.whole

BED = bed_toml(
    bed={"carriage_length_mm": 300},
    faces={
        "front-vee": vee(0, "front", unworn_mm=[[800, 1000]]),
        "rear-flat": flat(300, "rear"),
        "keep": {"normal": "down", "across_mm": 300},
    },
    instruments={"level": level(2.0, base_mm=100), "cross": cross_level(2.0), "indicator": dial(0.5)},
)
STATIONS = np.arange(0, 1001, 100.0)
FRONT = -60 * np.sin(np.pi * STATIONS / 1000) ** 2
REAR = -20 * np.sin(np.pi * STATIONS / 1000) ** 2 + 0.05 * STATIONS


@pytest.fixture
def bed():
    return parse_bed(BED)


@pytest.fixture
def traverses(bed, make_traverse):
    """Levels on both ways, a cross level and an indicator on an invented, hollow, wound bed."""
    noise = np.random.default_rng(7)
    middles = STATIONS[:-1] + 50

    def level(height, face):
        slope = np.diff(height) / 0.1 + noise.normal(0, 2.0, 10)
        return make_traverse(bed, "level", middles, slope, face=face)

    roll = (REAR - FRONT) / 0.3 + noise.normal(0, 2.0, 11)
    offset = REAR - FRONT + noise.normal(0, 0.5, 11)
    return [
        level(FRONT, "front-vee"),
        level(REAR, "rear-flat"),
        make_traverse(bed, "cross", STATIONS, roll, front="front-vee", rear="rear-flat"),
        make_traverse(bed, "indicator", STATIONS, offset, face="rear-flat", reference="front-vee"),
    ]


@pytest.fixture
def front(bed, traverses):
    return map_face(combine(traverses, bed), "front-vee")


def texts(svg):
    root = ElementTree.fromstring(svg)
    return [" ".join(each.itertext()).strip() for each in root.iter("{http://www.w3.org/2000/svg}text")]


def curve(axes, label):
    return next(line for line in axes.lines if str(line.get_label()).startswith(label))


def test_text_of_a_picture_stays_text(front):
    words = texts(inline_svg(profile_figure(front), "front"))
    assert any(text.startswith("front-vee is hollow by") for text in words)
    assert {"station, mm", "height, µm", "low", "0 is the line through its unworn stretches"} <= set(words)


def test_inch_is_drawn_in_thou_and_inches_alone(front):
    figure = profile_figure(front, inch=True, is_titled=False)
    assert figure.axes[0].get_ylabel() == "height, thou"
    assert figure.axes[0].get_xlabel() == "station, in"
    np.testing.assert_allclose(curve(figure.axes[0], "height, with").get_ydata(), front.height_um / 25.4)
    assert not any("µm" in words for words in texts(inline_svg(figure, "front")))


def test_fill_ends_where_the_curve_crosses_the_line(front):
    """From +10 at 0 to −10 at 100 mm the line is crossed at 50 mm: no low fill before, no high one behind."""
    height = np.where(STATIONS < 50, 10.0, -10.0)
    axes = profile_figure(replace(front, height_um=height)).axes[0]
    handles, labels = axes.get_legend_handles_labels()
    for name, (first, last) in {"high": (0.0, 50.0), "low": (50.0, 1000.0)}.items():
        x = handles[labels.index(name)].get_paths()[0].vertices[:, 0]
        assert (x.min(), x.max()) == pytest.approx((first, last))


def test_figures_at_the_ends_stand_inside_the_axes(front):
    height = np.linspace(40.0, -40.0, len(STATIONS))
    ends = {"40": "left", "−40": "right"}
    place = (
        replace(front.highest, station_mm=0.0, height_um=40.0),
        replace(front.lowest, station_mm=1000.0, height_um=-40.0),
    )
    axes = profile_figure(
        replace(front, height_um=height, highest=place[0], lowest=place[1], sense="both")
    ).axes[0]
    found = {text.get_text().split(".")[0]: text.get_ha() for text in axes.texts}
    assert {name: found[name] for name in ends} == ends


def test_stations_that_nobody_tried_are_no_failures(front):
    """Every second station known: the others are left out, and no cross stands there."""
    height = np.where(np.arange(len(STATIONS)) % 2 == 0, front.height_um, np.nan)
    axes = profile_figure(replace(front, height_um=height)).axes[0]
    assert "not known" not in axes.get_legend_handles_labels()[1]
    np.testing.assert_array_equal(curve(axes, "height, with").get_xdata(), STATIONS[::2])


def test_bed_compares_depths_from_one_line_only(bed, traverses):
    """Derived: from its ends no height of a face is left at its first and last station."""
    whole = whole_bed(combine(traverses, bed))
    assert {found.line for found in whole.maps.values()} == {"unworn", "ends"}
    shown, line = on_one_line(whole.maps)
    assert line == "ends"
    for found in shown.values():
        assert found.height_um[[0, -1]] == pytest.approx([0, 0], abs=1e-6)
    words = " ".join(texts(inline_svg(bed_figure(whole, bed), "bed")))
    assert "the line through its ends" in " ".join(words.split())


def test_bed_whose_faces_share_a_line_keeps_it(bed, traverses):
    maps = {"front-vee": whole_bed(combine(traverses, bed)).maps["front-vee"]}
    shown, line = on_one_line(maps)
    assert line == "unworn" and shown["front-vee"] is maps["front-vee"]


def test_band_is_two_standard_uncertainties_either_side(front):
    axes = profile_figure(front).axes[0]
    drawn = [line.get_ydata() for line in axes.lines if len(line.get_ydata()) == len(STATIONS)]
    upper = front.height_um + 2 * front.standard_uncertainty_um
    assert any(np.allclose(each, upper) for each in drawn)


def test_hollow_is_filled_below_the_line_only(front):
    hollow = replace(front, height_um=-np.abs(front.height_um))
    for result, filled in ((hollow, {"low"}), (replace(hollow, height_um=-hollow.height_um), {"high"})):
        labels = profile_figure(result).axes[0].get_legend_handles_labels()[1]
        assert {"low", "high"} & set(labels) == filled


def test_unworn_stretch_is_marked_where_it_is(front):
    axes = profile_figure(front, unworn_mm=((800, 1000),)).axes[0]
    handles, labels = axes.get_legend_handles_labels()
    strip = handles[labels.index("never worn")]
    box = strip.get_path().transformed(strip.get_patch_transform()).get_extents()
    assert (box.x0, box.x1) == (800, 1000)


def test_station_that_is_not_known_is_marked_and_not_drawn_as_a_height(bed, make_traverse):
    sound = make_traverse(bed, "level", [50, 150, 250, 350], [10, -5, 3, 1], face="front-vee")
    apart = make_traverse(bed, "level", [650, 750], [10, -5], face="front-vee")
    result = map_face(combine([sound, apart], bed), "front-vee")
    unknown = result.station_mm[np.isnan(result.height_um)]
    assert len(unknown)
    axes = profile_figure(result).axes[0]
    handles, labels = axes.get_legend_handles_labels()
    np.testing.assert_array_equal(handles[labels.index("not known")].get_xdata(), unknown)


def test_long_curve_is_thinned_and_keeps_its_extremes_and_its_gaps():
    rng = np.random.default_rng(3)
    height = rng.normal(size=150_000).cumsum()
    height[70_000:70_100] = np.nan
    kept = thinned(height)
    assert len(kept) <= 2000 and kept[0] == 0 and kept[-1] == len(height) - 1
    assert np.nanmax(height[kept]) == np.nanmax(height) and np.nanmin(height[kept]) == np.nanmin(height)
    assert np.isnan(height[kept]).any()


def test_short_curve_is_drawn_whole():
    np.testing.assert_array_equal(thinned(np.arange(2000.0)), np.arange(2000))


def test_twist_shows_both_methods_with_the_line_off_as_they_are_judged(bed, traverses):
    result = twist_of(traverses, bed)
    figure = twist_figure(result)
    legends = [text.get_text() for text in figure.axes[1].get_legend().get_texts()]
    assert legends == ["cross level", "level maps of the two ways"]
    for label in legends:
        bent = curve(figure.axes[1], label)
        slope = np.polyfit(bent.get_xdata(), bent.get_ydata(), 1)[0]
        assert slope == pytest.approx(0.0, abs=1e-9)


def test_twist_of_two_maps_alone_shows_only_how_the_roll_bends(bed, traverses):
    result = twist_of(traverses[:2], bed)
    assert result.methods["two_maps"].known_up_to == "a line"
    labels = [axes.get_ylabel() for axes in twist_figure(result).axes]
    assert not any("first station" in label for label in labels)


def test_wind_is_drawn_with_its_sign_and_starts_from_nothing(bed, traverses):
    result = twist_of(traverses, bed)
    axes = twist_figure(result).axes[0]
    roll = curve(axes, "all readings in one").get_ydata()
    assert roll[0] == 0
    # µm/m of 50 µm over 300 mm; two readings of 2 µm/m, so five times 2.8
    assert roll[-1] == pytest.approx(50 / 0.3, abs=14)
    assert axes.get_ylabel().endswith("µm/m")
    assert twist_figure(result, inch=True).axes[0].get_ylabel().endswith("thou/ft")


def test_comparison_draws_the_difference_it_judges(bed, traverses):
    result = compare(traverses, bed, "rear-flat:level", "rear-flat:indicator")
    lower = comparison_figure(result).axes[1]
    assert any(np.array_equal(line.get_ydata(), result.difference_um) for line in lower.lines)
    assert lower.get_ylim()[1] > result.smallest_detectable_um


def test_bed_shows_every_face_mapped_or_not(bed, traverses):
    whole = whole_bed(combine(traverses, bed))
    words = texts(inline_svg(bed_figure(whole, bed), "bed"))
    assert words.count("not mapped") == 1
    for name in bed.faces:
        assert sum(name in text for text in words) >= 2  # in plan and across
    deepest = min(whole.maps.values(), key=lambda found: found.lowest.height_um)
    decimals = decimals_for(deepest.straightness_expanded_um / 2)
    lowest = number_text(deepest.lowest.height_um, decimals).replace("-", "−")
    assert sum(text == lowest for text in words) >= 2


def test_bed_of_which_nothing_is_mapped_can_be_drawn(bed, traverses):
    whole = whole_bed(combine(traverses[3:], bed))
    assert not whole.maps
    assert texts(inline_svg(bed_figure(whole, bed), "bed")).count("not mapped") == 3


def test_colours_get_lighter_all_the_way_up():
    """Printed in grey, dark must stay low: luminance by the weights of ITU-R BT.709 (published)."""
    from matplotlib import colormaps

    from analysis.draw.figures.looks import SCALE

    red, green, blue, _ = colormaps[SCALE](np.linspace(0, 1, 64)).T
    assert (np.diff(0.2126 * red + 0.7152 * green + 0.0722 * blue) > 0).all()


def test_flanks_of_a_vee_keep_their_angles(bed):
    """An included angle of 90° has two flanks at 45°: as wide as high."""
    (x0, y0), (x1, y1), (x2, y2) = outline(bed.faces["front-vee"], 0.0)[0]
    assert y1 - y0 == pytest.approx(x1 - x0) and y1 - y2 == pytest.approx(x2 - x1)


def test_title_of_the_section_does_not_reach_into_the_words_of_the_scale(traverses, bed):
    seen = parse_bed(BED.replace("[faces", 'seen_from = "tailstock end"\n[faces', 1))
    figure = bed_figure(whole_bed(combine(traverses, seen)), seen, True)
    FigureCanvasAgg(figure).draw()
    (title,) = figure.findobj(lambda each: isinstance(each, Text) and each.get_text().startswith("Across at"))
    (scale,) = figure.findobj(lambda each: isinstance(each, Text) and "light high" in each.get_text())
    clear = scale.get_window_extent().x0 - title.get_window_extent().x1
    assert clear > figure.dpi  # an inch: browsers set the same words wider


def test_names_are_pushed_apart_until_none_overlap():
    widths = [0.2, 0.3, 0.2]
    middles = spread([0.5, 0.52, 0.55], widths, 0.0, 1.0)
    ends = [(m - w / 2, m + w / 2) for m, w in zip(middles, widths, strict=True)]
    assert all(a[1] <= b[0] + 1e-9 for a, b in itertools.pairwise(ends))


def test_names_inside_two_pictures_of_one_page_do_not_meet(front):
    first, second = (inline_svg(profile_figure(front), name) for name in ("one", "two"))
    ids = [set(re.findall(r'\bid="([^"]+)"', svg)) for svg in (first, second)]
    assert not ids[0] & ids[1]
    for svg, own in zip((first, second), ids, strict=True):
        used = set(re.findall(r"url\(#([^)]+)\)", svg)) | set(re.findall(r'href="#([^"]+)"', svg))
        assert used and used <= own


def test_picture_is_the_same_file_every_time(front, tmp_path):
    for name in ("a.svg", "b.svg", "a.png", "b.png", "a.pdf", "b.pdf"):
        save(profile_figure(front), tmp_path / name)
    for ending in ("svg", "png", "pdf"):
        assert (tmp_path / f"a.{ending}").read_bytes() == (tmp_path / f"b.{ending}").read_bytes()


def test_unknown_ending_is_refused(front, tmp_path):
    with pytest.raises(AnalysisError, match=r"found the ending '.bmp'"):
        save(profile_figure(front), tmp_path / "a.bmp")


def test_missing_folder_is_told_in_one_line(front, tmp_path):
    with pytest.raises(AnalysisError, match="cannot be written"):
        save(profile_figure(front), tmp_path / "nowhere" / "a.png")


def test_no_window_system_is_touched():
    code = "import sys, analysis.draw.figures; raise SystemExit('matplotlib.pyplot' in sys.modules)"
    assert run([sys.executable, "-c", code], check=False).returncode == 0


def test_twist_before_and_after_is_drawn_with_its_uncertainty():
    change = TwistChange(
        front="front-vee", rear="rear-flat", gauge_mm=300.0, figure="wind", verdict="better",
        before_um_per_m=90.0, before_expanded_um_per_m=4.0, after_um_per_m=-10.0,
        after_expanded_um_per_m=5.0, change_um_per_m=-100.0, change_expanded_um_per_m=6.4,
        smallest_detectable_um_per_m=9.0,
    )  # fmt: skip
    axes = history_figure((), twist=change).axes[0]
    bars = [each.get_segments()[0][:, 0] for each in axes.collections]
    np.testing.assert_allclose(bars, [(86, 94), (-15, -5)])
    assert [label.get_text() for label in axes.get_yticklabels()] == ["before", "after"]
    assert "rear high is +" in axes.get_xlabel() and "µm/m" in axes.get_xlabel()
