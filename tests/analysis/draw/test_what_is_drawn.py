"""What every picture draws: the figures themselves, bands of twice the standard uncertainty, both units.

Invented figures. 25.4 µm are a thou and 25.4 mm an inch (exact); 1 µm/m is 0.012 thou/ft (derived: a foot is
0.3048 m, 0.3048 µm are 0.012 thou).
"""

from types import SimpleNamespace as Made

import matplotlib
import numpy as np
import pytest

from acquire.model.bed_toml.reading import parse_bed
from analysis.answers.feet_on_bed import Move
from analysis.draw import sheets, strip
from analysis.draw.figures import feet_figure, plan_figure, profile_figure
from analysis.draw.figures.blue import blue_figure
from analysis.draw.figures.comparison import comparison_figure
from analysis.draw.figures.datums import datums_figure
from analysis.draw.figures.history import history_figure
from analysis.draw.figures.joints import joints_figure, ripples_figure
from analysis.draw.figures.limits import limits_figure
from analysis.draw.figures.saddle import saddle_figure
from analysis.draw.figures.section import outline, places_across
from analysis.draw.figures.side_view import Strip, side_view_figure
from analysis.draw.figures.taper import taper_figure
from analysis.draw.figures.twist import twist_figure
from analysis.draw.figures.work import work_figure
from analysis.linear.profile import Profile
from analysis.linear.reference_lines import remove_line
from tests.invented import bed_toml, caliper, cross_level, dial, flat, level

AT = np.array([0.0, 254.0, 508.0])
Y = np.array([0.0, 25.4, -50.8])
U = np.array([2.54, 5.08, 2.54])
PER_ROLL = 0.012
UNITS = [(False, 1.0, 1.0, 1.0), (True, 1 / 25.4, 1 / 25.4, PER_ROLL)]
"""inch, then what µm, mm and µm/m are multiplied by."""


@pytest.fixture(params=UNITS, ids=["mm", "inch"])
def unit(request):
    return Made(**dict(zip(("inch", "um", "mm", "roll"), request.param, strict=True)))


def lines(axes):
    """The curves of a picture, edges of its bands among them, without what runs across all of it."""
    return [(np.asarray(each.get_xdata(), float), np.asarray(each.get_ydata(), float)) for each in axes.lines]


def is_drawn(axes, x, y):
    x, y = np.asarray(x, float), np.asarray(y, float)
    return any(
        a.shape == x.shape and np.allclose(a, x) and np.allclose(b, y, equal_nan=True) for a, b in lines(axes)
    )


def has_band(axes, x, y, half):
    """Both edges of a band, and no wider one of that curve."""
    return is_drawn(axes, x, y - half) and is_drawn(axes, x, y + half)


def profile(height=Y, u=U):
    return Profile("way", AT, height, np.diag(u**2))


def removal():
    return Made(station_mm=AT, removal_um=np.abs(Y), standard_uncertainty_um=U, guard_um=0.0, mean_um=20.0,
                touching_mm=[0.0])  # fmt: skip


def face_plan(**changes):
    described = {
        "face": "way", "removal": removal(), "nothing_to_see": False, "flank_um": None, "passes": (),
        "this_round_um": np.abs(Y) / 2, "blue": (), "joints_mm": (),
    }  # fmt: skip
    return Made(**(described | changes))


def roll(known_up_to="nothing", **changes):
    described = {
        "station_mm": AT, "roll_um_per_m": Y + 100.0, "covariance": np.diag(U**2), "known_up_to": known_up_to,
        "methods": {}, "by": "all", "feet": None, "joints_mm": (),
    }  # fmt: skip
    return Made(**(described | changes))


def shape():
    return Made(
        station_mm=AT, height_um=Y, standard_uncertainty_um=U, line="ends", sense="both",
        straightness_expanded_um=5.0, base_lag=None, joints_mm=(), highest=Made(station_mm=254.0,
        height_um=25.4),
        lowest=Made(station_mm=508.0, height_um=-50.8),
    )  # fmt: skip


def test_face_is_drawn_with_twice_u_and_its_extremes_in_figures_where_they_are(unit):
    (axes,) = profile_figure(shape(), unit.inch, is_titled=False).axes
    assert has_band(axes, AT * unit.mm, Y * unit.um, 2 * U * unit.um)
    places = {text.get_text(): text.xy for text in axes.texts}
    high, low = ("1.00", "−2.00") if unit.inch else ("25", "−51")
    assert places[high] == pytest.approx((254.0 * unit.mm, (25.4 + 2 * 5.08) * unit.um))
    assert places[low] == pytest.approx((508.0 * unit.mm, (-50.8 - 2 * 2.54) * unit.um))


def test_plan_draws_what_comes_off_with_twice_u_over_what_the_edge_would_mark(unit):
    blue = Made(touches_mm=((0.0, 127.0),), may_touch_mm=((254.0, 508.0),))
    axes = plan_figure([face_plan(blue=(blue,))], unit.inch).axes[0]
    assert has_band(axes, AT * unit.mm, np.abs(Y) * unit.um, 2 * U * unit.um)
    assert axes.get_ylabel() == ("take off, thou" if unit.inch else "take off, µm")
    bars = {
        each.get_label(): each.get_paths()[0].get_extents() for each in axes.collections if each.get_paths()
    }
    for name, (start, end) in {"blue expected now": (0.0, 127.0), "blue possible": (254.0, 508.0)}.items():
        assert (bars[name].x0, bars[name].x1) == pytest.approx((start * unit.mm, end * unit.mm))
        assert bars[name].y1 < 0


def test_picture_of_a_plan_names_the_faces_that_are_not_to_be_scraped_yet():
    plans = [face_plan(face="front"), face_plan(face="rear")]
    told = [
        "do not scrape yet" in [text.get_text() for text in axes.texts]
        for axes in plan_figure(plans, not_yet={"rear": "not checked"}).axes
    ]
    assert told == [False, True]


def test_roll_is_drawn_from_the_first_station_with_what_the_change_is_sure_to(unit):
    """The change from the first station holds the errors of both: √(u² + u₀²) where they share none."""
    axes = twist_figure(roll(), unit.inch, is_titled=False).axes[0]
    change, half = Y * unit.roll, 2 * np.sqrt(U**2 + U[0] ** 2) * unit.roll
    half[0] = 0.0
    assert has_band(axes, AT * unit.mm, change, half)
    assert axes.get_ylabel().endswith("thou/ft" if unit.inch else "µm/m")


def test_roll_that_stations_share_errors_of_is_surer_in_its_changes():
    """Errors that all stations share leave the change from the first one exact."""
    axes = twist_figure(roll(covariance=np.full((3, 3), 9.0)), is_titled=False).axes[0]
    assert has_band(axes, AT, Y, np.zeros(3))


def test_what_feet_can_take_out_is_drawn_beside_the_roll(unit):
    feet = Made(station_mm=AT, roll_um_per_m=Y / 2, standard_uncertainty_um_per_m=U)
    axes = twist_figure(roll(feet=feet), unit.inch, is_titled=False).axes[0]
    assert has_band(axes, AT * unit.mm, Y / 2 * unit.roll, 2 * U * unit.roll)


def test_roll_known_up_to_a_line_is_drawn_without_one():
    (axes,) = twist_figure(roll("a line"), is_titled=False).axes
    drawn = next(y for x, y in lines(axes) if len(x) == 3)
    assert np.polyfit(AT, drawn, 1)[0] == pytest.approx(0.0, abs=1e-9)
    assert axes.get_ylabel().startswith("roll, a line taken off")


def test_rear_high_is_up(unit):
    axes = twist_figure(roll(), unit.inch, is_titled=False).axes[0]
    places = {text.get_text(): text.get_position()[1] for text in axes.texts}
    assert places["▲ rear high"] > 0.5 > places["▼ front high"]


def test_level_reading_is_drawn_now_and_once_feet_are_moved_its_band_not_doubled(unit):
    predicted = Made(
        station_mm=AT, roll_um_per_m=Y, expanded_um_per_m=2 * U, now_um_per_m=3 * Y, known_up_to="nothing"
    )
    found = Made(predicted=predicted, moves=())
    (axes,) = feet_figure(found, unit.inch, is_titled=False).axes
    assert has_band(axes, AT * unit.mm, Y * unit.roll, 2 * U * unit.roll)
    shown = {line.get_label(): np.asarray(line.get_ydata()) for line in axes.lines}
    np.testing.assert_allclose(shown["now"], 3 * Y * unit.roll)
    np.testing.assert_allclose(shown["after the moves"], Y * unit.roll)


def test_turned_part_is_drawn_with_twice_u_and_what_each_movement_does(unit):
    parts = {
        name: Made(diameter_um=factor * Y)
        for name, factor in (("from_roll", 0.5), ("from_sideways", 0.3), ("from_height", 0.2))
    }
    after = Made(diameter_um=Y / 8)
    found = Made(
        station_mm=AT, diameter_um=Y, standard_uncertainty_um=U, after_plan=after, joints_mm=(), **parts
    )
    (axes,) = work_figure(found, unit.inch, is_titled=False).axes
    assert has_band(axes, AT * unit.mm, Y * unit.um, 2 * U * unit.um)
    shown = {line.get_label(): np.asarray(line.get_ydata()) for line in axes.lines}
    for name, factor in (("by roll", 0.5), ("by sway", 0.3), ("by drop of the tip", 0.2), ("planned", 0.125)):
        np.testing.assert_allclose(shown[name], factor * Y * unit.um)


def test_turned_part_is_not_drawn_over_a_joint_of_the_bed(unit):
    part = Made(diameter_um=Y)
    found = Made(
        station_mm=AT, diameter_um=Y, standard_uncertainty_um=U, from_roll=part, from_sideways=part,
        from_height=part, after_plan=part, joints_mm=(300.0,),
    )  # fmt: skip
    (axes,) = work_figure(found, unit.inch, is_titled=False).axes
    *curves, joint = axes.lines
    assert list(joint.get_xdata()) == pytest.approx([300.0 * unit.mm] * 2)
    for curve in (line for line in curves if len(line.get_xdata()) > 2):
        y = np.asarray(curve.get_ydata())[np.isclose(curve.get_xdata(), 300.0 * unit.mm)]
        assert y.size == 1 and np.isnan(y).all()
    assert len(curves) >= 5


def channel(kind="height"):
    return Made(face="way", kind=kind, station_mm=AT, height_um=Y, covariance_um2=np.diag(U**2))


def test_joints_stand_where_bed_toml_says_on_faces_from_their_least_squares_lines(unit):
    found = Made(channels=(channel(), channel("side")), joints=(Made(at_mm=127.0),))
    up, aside = joints_figure(found, unit.inch).axes
    assert is_drawn(up, [127.0 * unit.mm] * 2, [0, 1])
    level = Y - np.polyval(np.polyfit(AT, Y, 1), AT)
    in_two = np.r_[level[0], np.nan, level[1:]]
    assert is_drawn(up, np.r_[0.0, 127.0, AT[1:]] * unit.mm, in_two * unit.um)
    assert up.get_ylabel().startswith("height") and aside.get_ylabel().startswith("to the rear")


def test_ripple_is_drawn_with_its_crest_where_it_is_and_half_its_height_to_either_side(unit):
    wave = Made(height_um=8.0, crest_mm=130.0, wavelength_mm=200.0)
    step = Made(from_mm=254.0, to_mm=304.0)
    face = Made(channel=channel(), steps=(step,), ripples=(wave,), from_mm=0.0, to_mm=508.0)
    (axes,) = ripples_figure(Made(faces=(face,), joints_mm=()), unit.inch).axes
    x, y = next((x, y) for x, y in lines(axes) if len(x) == 600)
    assert (y.max(), y.min()) == pytest.approx((4.0 * unit.um, -4.0 * unit.um), rel=1e-3)
    assert np.interp(130.0 * unit.mm, x, y) == pytest.approx(4.0 * unit.um, rel=1e-3)
    shaded = axes.patches[0].get_extents().transformed(axes.transData.inverted())
    assert (shaded.x0, shaded.x1) == pytest.approx((254.0 * unit.mm, 304.0 * unit.mm))


def two_maps(joints_mm=()):
    return Made(
        profile_a=profile(), profile_b=profile(Y / 2), a="by level", b="by indicator", station_mm=AT,
        difference_um=Y / 2, expanded_uncertainty_um=2 * U, smallest_detectable_um=12.7,
        joints_mm=joints_mm,
    )  # fmt: skip


def test_bands_of_maps_break_off_at_a_joint_as_their_curves_do(unit):
    upper, lower = comparison_figure(two_maps((127.0,)), unit.inch, is_titled=False).axes
    x, y, half = (np.insert(each, 1, at) for each, at in ((AT, 127.0), (Y, np.nan), (2 * U, np.nan)))
    for axes, factor in ((upper, 1), (upper, 0.5), (lower, 0.5)):
        assert has_band(axes, x * unit.mm, factor * y * unit.um, half * unit.um)


def test_two_maps_are_drawn_with_twice_u_and_their_difference_with_what_is_expanded_already(unit):
    upper, lower = comparison_figure(two_maps(), unit.inch, is_titled=False).axes
    assert has_band(upper, AT * unit.mm, Y * unit.um, 2 * U * unit.um)
    assert has_band(upper, AT * unit.mm, Y / 2 * unit.um, 2 * U * unit.um)
    shown = {line.get_label(): np.asarray(line.get_ydata()) for line in upper.lines}
    np.testing.assert_allclose(shown["by level"], Y * unit.um)
    np.testing.assert_allclose(shown["by indicator"], Y / 2 * unit.um)
    looks = {line.get_label(): (line.get_marker(), line.get_linestyle()) for line in upper.lines}
    for one, other in zip(looks["by level"], looks["by indicator"], strict=True):
        assert one != other  # without colour, and also where one of the two is lost in print
    assert has_band(lower, AT * unit.mm, Y / 2 * unit.um, 2 * U * unit.um)
    for side in (-12.7, 12.7):
        assert is_drawn(lower, [0, 1], [side * unit.um] * 2)


def change():
    stretch = Made(from_mm=254.0, to_mm=508.0)
    return Made(
        profile_before=profile(),
        profile_after=profile(Y / 2),
        from_untouched=profile(-Y),
        came_off=(stretch,),
        joints_mm=(),
    )


def test_before_is_grey_and_dashed_after_is_not_and_the_change_is_after_less_before(unit):
    upper, lower = history_figure([change()], unit.inch, is_titled=False).axes
    shown = {line.get_label(): line for line in upper.lines}
    np.testing.assert_allclose(shown["before"].get_ydata(), Y * unit.um)
    np.testing.assert_allclose(shown["after"].get_ydata(), Y / 2 * unit.um)
    assert has_band(upper, AT * unit.mm, Y * unit.um, 2 * U * unit.um)
    assert (shown["before"].get_linestyle(), shown["after"].get_linestyle()) == ("--", "-")
    assert has_band(lower, AT * unit.mm, -Y * unit.um, 2.5 * U * unit.um)  # as the words tell each depth
    assert any("after − before" in text.get_text() for text in lower.texts)


def test_twist_before_and_after_stand_with_what_is_expanded_already(unit):
    twist = Made(
        before_um_per_m=100.0, before_expanded_um_per_m=10.0, after_um_per_m=-50.0,
        after_expanded_um_per_m=20.0,
        figure="ways",
    )  # fmt: skip
    (axes,) = history_figure([], unit.inch, twist=twist, is_titled=False).axes
    for row, (value, half) in enumerate(((100.0, 10.0), (-50.0, 20.0))):
        before = axes.containers[row]
        (bar,) = before.lines[2][0].get_segments()
        np.testing.assert_allclose(bar[:, 0], np.array([value - half, value + half]) * unit.roll)
        assert before.get_label() == ("before", "after")[row]


def gap(**changes):
    described = {
        "gap": profile(np.abs(Y)), "film_um": 12.7, "touches_mm": ((0.0, 127.0),), "may_touch_mm": (),
        "marks": (Made(from_mm=254.0, to_mm=508.0, seen="bare"), Made(from_mm=0.0, to_mm=127.0, seen="full")),
    }  # fmt: skip
    return Made(**(described | changes))


def test_gap_under_an_edge_is_drawn_with_twice_u_above_the_film_and_the_marks_seen(unit):
    (axes,) = blue_figure(gap(), unit.inch, is_titled=False).axes
    assert has_band(axes, AT * unit.mm, np.abs(Y) * unit.um, 2 * U * unit.um)
    assert is_drawn(axes, [0, 1], [12.7 * unit.um] * 2)
    bars = {each.get_label(): each for each in axes.collections}
    for name, (start, end) in {
        "blue expected": (0.0, 127.0), "seen: bare": (254.0, 508.0), "seen: full": (0.0, 127.0)
    }.items():  # fmt: skip
        box = bars[name].get_paths()[0].get_extents()
        assert (box.x0, box.x1) == pytest.approx((start * unit.mm, end * unit.mm))
    full, bare = (
        matplotlib.colors.to_hex(bars[f"seen: {kind}"].get_facecolor()[0]) for kind in ("full", "bare")
    )
    assert bare == "#ffffff" != full


def test_datums_are_drawn_from_their_least_squares_lines_in_their_order_good_stretches_shaded(unit):
    shapes = [
        Made(face=name, shape=Made(profile=profile(factor * Y), joints_mm=()))
        for name, factor in (("a", 1), ("b", 2))
    ]
    found = Made(
        faces=shapes,
        ranking=(Made(face="b"), Made(face="a")),
        good=(Made(face="b", from_mm=0.0, to_mm=254.0),),
    )
    first, second = datums_figure(found, unit.inch).axes
    level = Y - np.polyval(np.polyfit(AT, Y, 1), AT)
    assert (first.get_title(loc="left"), second.get_title(loc="left")) == ("b", "a")
    remaining = Profile("b", AT, 2 * Y, np.diag(U**2))
    half = 2 * remove_line(remaining, "least-squares").standard_uncertainty_um
    assert has_band(first, AT * unit.mm, 2 * level * unit.um, half * unit.um)
    assert is_drawn(first, AT * unit.mm, 2 * level * unit.um) and is_drawn(
        second, AT * unit.mm, level * unit.um
    )
    (shaded,) = first.patches
    box = shaded.get_extents().transformed(first.transData.inverted())
    assert (box.x0, box.x1) == pytest.approx((0.0, 254.0 * unit.mm))
    assert not second.patches


def test_saddle_comes_down_downwards(unit):
    found = Made(
        station_mm=AT, front="vee", rear="flat", front_um=np.abs(Y), rear_um=2 * np.abs(Y),
        at_apron_um=3 * np.abs(Y), standard_uncertainty_um=U,
        at_apron_standard_uncertainty_um=U, joints_mm=(),
    )  # fmt: skip
    (axes,) = saddle_figure(found, unit.inch).axes
    shown = {line.get_label(): np.asarray(line.get_ydata()) for line in axes.lines}
    for name, factor in (("vee", 1), ("flat", 2), ("apron", 3)):
        np.testing.assert_allclose(shown[name], -factor * np.abs(Y) * unit.um)
    assert has_band(axes, AT * unit.mm, -3 * np.abs(Y) * unit.um, 2 * U * unit.um)


def test_taper_is_drawn_as_its_line_and_what_departs_from_it(unit):
    pair = Made(
        a="a", b="b", taper_um_per_m=100.0, taper_expanded_um_per_m=5.0, is_seen=False, station_mm=AT,
        departure_um=Y, standard_uncertainty_um=U, is_gap=True, look_opposite=False,
        joints_mm=(),
    )  # fmt: skip
    (axes,) = taper_figure(Made(pairs=(pair,)), unit.inch).axes
    line = 0.1 * AT  # 100 µm/m
    assert is_drawn(axes, AT * unit.mm, line * unit.um)
    assert has_band(axes, AT * unit.mm, (line + Y) * unit.um, 2 * U * unit.um)
    assert axes.get_ylabel().startswith("gap narrower by")


def test_limits_are_drawn_as_shares_with_the_limit_at_a_hundred():
    judged = Made(
        what="straightness_um", of="way", verdict="meets", limit=20.0, value=12.0, low=10.0, high=15.0
    )
    (axes,) = limits_figure(Made(judged=(judged,), rule="2u")).axes
    assert (
        is_drawn(axes, [50.0, 75.0], [0, 0])
        and is_drawn(axes, [60.0], [0])
        and is_drawn(axes, [100.0] * 2, [0, 1])
    )


def test_upright_guide_is_drawn_upright_with_its_bottom_at_the_bottom(unit):
    called = Made(origin="bottom", far_end="top", is_upright=True)
    found = Made(
        station_mm=AT, height_um=Y, standard_uncertainty_um=U, line="ends", sense="straight",
        straightness_expanded_um=5.0, face="way", relative_to=None, base_lag=None, joints_mm=(),
        straightness_um={"ends": 1.0}, ripples_not_included_mm=(),
    )  # fmt: skip
    (axes,) = profile_figure(found, unit.inch, called=called, is_titled=False).axes
    for side in (-2, 2):
        assert is_drawn(axes, (Y + side * U) * unit.um, AT * unit.mm)
    places = {text.get_text(): text.get_position()[1] for text in axes.texts}
    assert places["bottom"] == 0.0 and places["top"] == 1.0
    assert "+ proud" in axes.get_xlabel()


FOOT = {"station_mm": 50, "um_per_turn": 1000}
BED = bed_toml(
    508,
    254,
    name="invented",
    faces={
        "vee": {"normal": "up", "shape": "vee", "form": "ridge", "flank_angles_deg": [60, 30], "across_mm": 0,
                "carriage": "front"},
        "flat": flat(300, "rear"),
        "front-side": {"normal": "front", "across_mm": -50},
        "under": {"normal": "down", "across_mm": 350},
    },
    instruments={
        "vial": level(1, base_mm=254),
        "cross": cross_level(1),
        "turned": cross_level(1, sign=-1),
        "dial": dial(1),
        "caliper": caliper(1),
    },
    feet={"f1": FOOT | {"across_mm": 0}, "r1": FOOT | {"across_mm": 300}},
)  # fmt: skip


@pytest.fixture(scope="module")
def bed():
    return parse_bed(BED)


def test_front_of_a_section_lies_on_the_left_and_faces_look_where_they_look(bed):
    places = places_across(bed)
    assert list(places) == ["front-side", "vee", "flat", "under"] and places["under"] == 1.0
    front, _ = outline(bed.faces["front-side"], 0.5)
    _, metal = outline(bed.faces["front-side"], 0.5)
    assert front[0][0] < 0.5 < metal[-1][0]  # the face is in front of its metal
    under, body = outline(bed.faces["under"], 0.5)
    assert under[0][1] < body[-1][1]  # its metal lies above it


def test_steeper_flank_of_a_vee_is_the_one_that_bed_toml_says(bed):
    """Half-angles from the vertical: front 60° runs out wide, rear 30° is steep."""
    (front, _), (top, _), (rear, _) = outline(bed.faces["vee"], 0.5)[0]
    assert (top - front) / (rear - top) == pytest.approx(np.tan(np.radians(60)) / np.tan(np.radians(30)))


def test_side_view_writes_each_depth_under_its_station_and_turns_the_foot_that_is_to_be_turned(bed, unit):
    feet = Made(moves=(Move("r1", 0.25, 254.0),))
    figure = side_view_figure([Strip(face_plan(), True)], bed, unit.inch, feet)
    (axes,) = figure.axes
    words = {text.get_text(): text.get_position() for text in axes.texts}
    depth = "2.0" if unit.inch else "51"
    assert words[depth][0] == pytest.approx(508 * unit.mm)
    assert words["up 0.25 turn"][1] > words["leave"][1]  # the rear feet above the front feet
    assert ("off, thou" if unit.inch else "off, µm") in words
    assert axes.get_xlim() == pytest.approx((0.0, 508 * unit.mm))


def test_side_view_says_where_nothing_may_be_scraped_yet(bed):
    for may_be_scraped in (True, False):
        figure = side_view_figure([Strip(face_plan(), may_be_scraped)], bed)
        assert (
            "do not scrape yet" in [text.get_text() for text in figure.axes[0].texts]
        ) is not may_be_scraped


@pytest.mark.parametrize(
    ("instrument", "plus", "minus"),
    [
        ("vial", "the far end is higher", "the near end is higher"),
        ("cross", "the rear way is higher", "the front way is higher"),
        ("turned", "the front way is higher", "the rear way is higher"),
        ("dial", "the plunger goes in: the face comes nearer", "the plunger comes out: the face goes away"),
        ("caliper", "the measure is larger", "the measure is smaller"),
    ],
)  # fmt: skip
def test_sheet_says_in_full_what_each_sign_means(bed, instrument, plus, minus):
    called = Made(is_upright=False, origin="near end", far_end="far end")
    assert sheets.sign_words(bed.instruments[instrument], called) == (
        f"As the instrument shows it:  + means {plus};\n− means {minus}."
    )


def test_sheet_of_an_upright_guide_says_which_way_a_level_leans(bed):
    called = Made(is_upright=True, origin="bottom", far_end="top")
    words = sheets.sign_words(bed.instruments["vial"], called)
    assert "+ means the top leans out, to where the face looks;" in words


def test_sheet_asks_for_the_middles_of_a_base_with_its_feet_beside(bed):
    sheet = sheets.plan_sheet(bed, "flat", "vial")
    assert sheet.station_mm == (127.0, 381.0)
    words = [text.get_text() for text in sheets._draw_page(bed, sheet, range(2), "A4").axes[0].texts]
    assert {"127", "0 – 254", "381", "254 – 508", "↓ forward, µm/m", "↑ reverse, µm/m"} <= set(words)
    heads = sheets._heads(bed, sheet)
    assert heads.index("↓ forward, µm/m") < heads.index("↑ reverse, µm/m")


def test_strip_is_full_scale_and_shows_this_rounds_depth_at_its_station(bed):
    pages = strip.strip_pages(bed, face_plan(), False)
    tile = pages[0].axes[1]
    left, right = tile.get_xlim()
    width_mm = tile.get_position().width * pages[0].get_figwidth() * 25.4
    assert width_mm == pytest.approx(right - left)  # a millimetre of bed is one of paper
    assert (left + strip.OVERLAP_MM, right - strip.OVERLAP_MM) == (0.0, 250.0)  # the first tile of 250 mm
    figures = {text.get_text(): text.get_position()[0] for text in tile.texts}
    assert figures["13"] == 254.0  # 12.7 µm: half of what is to come off, this round
    check = pages[0].axes[0]
    assert check.get_position().width * pages[0].get_figwidth() * 25.4 == pytest.approx(100.0)
    assert any("100 mm" in text.get_text() for text in check.texts)


def test_check_line_of_an_inch_strip_is_four_inches_long(bed):
    page = strip.strip_pages(bed, face_plan(), True, "Letter")[0]
    assert page.axes[0].get_position().width * page.get_figwidth() == pytest.approx(4.0)
    assert any("4 in" in text.get_text() for text in page.axes[0].texts)


@pytest.mark.parametrize(
    ("inch", "head", "rows"),
    [(False, "station_mm", ["127", "381"]), (True, "station (in)", ["5", "15"])],
)
def test_table_beside_a_sheet_names_the_unit_of_its_stations(bed, tmp_path, inch, head, rows):
    sheets.write_twin(sheets.plan_sheet(bed, "flat", "vial"), tmp_path / "twin.csv", inch)
    lines = [line for line in (tmp_path / "twin.csv").read_text().splitlines() if not line.startswith("#")]
    assert lines[0].split(",") == [head, "forward (um/m)", "reverse (um/m)", "note"]
    assert [line.split(",")[0] for line in lines[1:]] == rows


@pytest.fixture(scope="module")
def inch_bed():
    """Ways that a carriage rides, in inches; stations 2.36 in apart; a vial of 0.02 mm/m a division."""
    return parse_bed(
        bed_toml(
            600,
            60,
            bed={"display": "inch"},
            faces={"front": flat(0, "front"), "rear": flat(300, "rear")},
            instruments={
                "vial": level(1, 120, unit="mm/m", per_division=0.02),
                "dial": dial(),
            },
        )
    )


def on_the_sheet(bed, *asked, **how):
    sheet = sheets.plan_sheet(bed, *asked, **how)
    page = sheets._draw_page(bed, sheet, range(len(sheet.station_mm)), "Letter")
    return sheet, [text.get_text() for text in page.axes[0].texts]


def test_sheet_says_what_a_division_is_worth_with_its_unit(inch_bed):
    _, words = on_the_sheet(inch_bed, "front", "vial")
    assert any("vial" in each and "0.02 mm/m a division" in each for each in words)


def test_sheet_in_inches_asks_for_fahrenheit_and_stations_to_a_hundredth(inch_bed, bed):
    _, words = on_the_sheet(inch_bed, "front", "dial")
    assert {"2.36", "4.72"} <= set(words) and "bed °F, top" in words
    assert "bed °C, top" in on_the_sheet(bed, "flat", "dial")[1]


def test_table_in_inches_holds_its_stations_to_less_than_a_micrometre(inch_bed, tmp_path):
    """10⁻⁶ in are 0.025 µm: what is imported again stands where it stood."""
    sheets.write_twin(sheets.plan_sheet(inch_bed, "front", "dial"), tmp_path / "twin.csv", True)
    lines = [line for line in (tmp_path / "twin.csv").read_text().splitlines() if not line.startswith("#")]
    assert float(lines[2].split(",")[0]) * 25.4 == pytest.approx(60.0, abs=1e-4)


def test_level_that_lies_across_the_carriage_is_read_at_the_beds_stations_and_taken_back_across(inch_bed):
    sheet, words = on_the_sheet(inch_bed, "carriage", "vial", across=True)
    assert sheet.station_mm == inch_bed.station_mm and sheet.read_on == "--across carriage"
    assert any("the rear way is higher" in each for each in words)
    along = sheets.plan_sheet(inch_bed, "carriage", "vial")
    assert along.read_on == "--face carriage" and along.station_mm[0] == 60.0
