"""Twist: wind, roll along the bed, and whether the cross level and two level maps agree."""

import numpy as np
import pytest

from acquire.model.bed_toml.reading import parse_bed
from acquire.model.errors import AnalysisError
from analysis.adjust.combination import combine
from analysis.answers.known_roll import known_roll, ways_of, wind_expanded
from analysis.answers.twist import MayRoll, RestsOnOneZero, twist_of
from analysis.words.facts import sentences
from analysis.words.twist import roll_words, whole_twist_words
from tests.invented import bed_toml, cross_level, flat, level

BED = bed_toml(
    bed={"carriage_length_mm": 300},
    faces={"front": flat(0, "front"), "rear": flat(250, "rear")},
    instruments={"level": level(base_mm=100), "cross": cross_level(2.0)},
)
X = np.arange(0, 1001, 100.0)
MIDDLE = (X[1:] + X[:-1]) / 2


@pytest.fixture
def bed():
    return parse_bed(BED)


def _level(make_traverse, bed, face, height, noise=0.0, **setup):
    slope = np.diff(height(X)) / 0.1 + noise
    return make_traverse(bed, "level", MIDDLE, slope, face=face, **setup)


def _cross(make_traverse, bed, front, rear, noise=0.0, **setup):
    return make_traverse(
        bed, "cross", X, (rear(X) - front(X)) / 0.25 + noise, front="front", rear="rear", **setup
    )


def flat(x):
    return 0 * x


def winding(x):
    return 0.05 * x  # 50 µm over a metre at the rear: 200 µm/m of wind across 250 mm


def test_bed_with_nothing_but_linear_wind_comes_out_as_wind(make_traverse, bed):
    found = twist_of([_cross(make_traverse, bed, flat, winding)], bed)
    assert found.wind_um_per_m == pytest.approx(200.0)
    assert found.twist_um_per_m == pytest.approx(200.0)
    assert found.worst_over_carriage_um_per_m == pytest.approx(60.0)
    assert found.agree is None


def test_ways_named_against_the_beds_order_are_the_same_two_ways(make_traverse, bed):
    found = twist_of([_cross(make_traverse, bed, flat, winding)], bed, front="rear", rear="front")
    assert (found.front, found.rear, found.gauge_mm) == ("front", "rear", 250.0)
    assert found.wind_um_per_m == pytest.approx(200.0)
    assert any("taken as the front way" in words for words in sentences(found.warnings))
    assert "far end, rear high" in roll_words(found, False) and "-" not in roll_words(found, False)


def test_wind_of_swapped_heights_has_the_other_sign(make_traverse, bed):
    lower = twist_of([_cross(make_traverse, bed, winding, flat)], bed)
    assert lower.wind_um_per_m == pytest.approx(-200.0)


@pytest.mark.statistics
def test_zero_of_the_cross_level_changes_no_twist(make_traverse, bed):
    plain = twist_of([_cross(make_traverse, bed, flat, winding)], bed)
    shifted = twist_of([_cross(make_traverse, bed, flat, winding, noise=37.0)], bed)
    assert shifted.twist_um_per_m == pytest.approx(plain.twist_um_per_m, abs=1e-9)
    assert shifted.roll_um_per_m[0] == pytest.approx(37.0)


@pytest.mark.statistics
def test_two_level_maps_without_a_shared_zero_know_no_wind(make_traverse, bed):
    runs = [_level(make_traverse, bed, "front", flat), _level(make_traverse, bed, "rear", winding)]
    found = twist_of(runs, bed)
    assert "cross_level" not in found.methods
    assert found.twist_um_per_m is None and found.wind_um_per_m is None
    assert found.known_up_to == found.methods["two_maps"].known_up_to == "a line"
    assert np.abs(found.roll_um_per_m).max() < 1e-9


def test_two_level_maps_with_one_zero_find_the_wind(make_traverse, bed):
    first = _level(make_traverse, bed, "front", flat, noise=7.0)
    second = _level(make_traverse, bed, "rear", winding, noise=7.0, same_zero_as=first.number)
    found = twist_of([first, second], bed)
    assert found.wind_um_per_m == pytest.approx(200.0)
    # each slope 1 µm/m over ten steps of 100 mm on two ways: √20 · 0.1 µm across 250 mm; the zero may have
    # drifted by 3 µm/m over the nine intervals of a run, ten lie between the runs, and by 3 µm/m besides
    zero = 3 * np.hypot(10 / 9, 1) * 1.0
    assert found.wind_expanded_um_per_m == pytest.approx(2 * np.hypot(np.sqrt(20) * 0.1, zero) / 0.25)


def test_wind_rests_on_one_zero_only_where_nothing_else_tells_it(make_traverse, bed):
    """Levels one way over both ways: not with a level across too, nor where they also ran back and a further
    run of one way has a zero of its own."""

    def is_said(runs):
        return any(isinstance(each, RestsOnOneZero) for each in twist_of(runs, bed).warnings)

    first = _level(make_traverse, bed, "front", flat)
    back, other, other_back = (
        _level(make_traverse, bed, face, height, direction=direction, same_zero_as=first.number)
        for face, height, direction in (
            ("front", flat, "reverse"), ("rear", winding, "forward"), ("rear", winding, "reverse")
        )
    )  # fmt: skip
    alone = make_traverse(bed, "level", MIDDLE, np.zeros(10), face="front", turned=True)
    assert is_said([first, other])
    assert not is_said([first, other, _cross(make_traverse, bed, flat, winding)])
    assert not is_said([first, back, other, other_back, alone])


def test_turned_pair_with_one_zero_tells_the_roll_itself(make_traverse, bed):
    first = _cross(make_traverse, bed, flat, winding, noise=30.0)
    roll = winding(X) / 0.25
    back = make_traverse(
        bed, "cross", X, -roll + 30.0, front="front", rear="rear", turned=True, same_zero_as=first.number
    )
    found = twist_of([first, back], bed)
    assert found.methods["cross_level"].known_up_to == "nothing"
    assert found.roll_um_per_m == pytest.approx(roll)


def bowed(x):
    return winding(x) - 20 * np.sin(np.pi * x / 1000)


@pytest.mark.parametrize(("extra", "agrees"), [(0.0, True), (60.0, False)])
def test_methods_agree_exactly_when_they_saw_the_same_bed(make_traverse, bed, extra, agrees):
    rng = np.random.default_rng(5)
    bump = np.where(X == 500, extra, 0.0)
    runs = [
        _level(make_traverse, bed, "front", flat, noise=rng.normal(0, 1, 10)),
        _level(make_traverse, bed, "rear", bowed, noise=rng.normal(0, 1, 10)),
        _cross(make_traverse, bed, flat, bowed, noise=rng.normal(0, 2, 11) + bump),
    ]
    found = twist_of(runs, bed)
    assert found.agree is agrees
    if not agrees:
        assert found.largest_difference["station_mm"] == 500


@pytest.mark.statistics
def test_stated_uncertainty_of_the_wind_covers_invented_truth(make_traverse, bed):
    rng = np.random.default_rng(11)
    inside = 0
    for _ in range(100):
        found = twist_of([_cross(make_traverse, bed, flat, winding, noise=rng.normal(0, 2, 11))], bed)
        inside += abs(found.wind_um_per_m - 200.0) <= found.wind_expanded_um_per_m
    assert inside >= 89  # 95.4 expected; 89 is three binomial standard deviations below


def test_twist_without_anything_that_tells_it_says_what_to_record(make_traverse, bed):
    with pytest.raises(AnalysisError, match=r"--across front rear"):
        twist_of([_level(make_traverse, bed, "front", flat)], bed)


def test_unknown_way_is_refused(make_traverse, bed):
    with pytest.raises(AnalysisError, match="no such face"):
        twist_of([_cross(make_traverse, bed, flat, winding)], bed, front="middle", rear="rear")


@pytest.mark.statistics
@pytest.mark.parametrize("bears", ["ends", "average"])
def test_level_across_the_carriage_agrees_with_two_maps_of_ways_that_bend_under_it(make_traverse, bears):
    """A carriage 300 mm long evens out a dip 250 mm long; like is held against like."""
    bed = parse_bed(
        BED.replace("carriage_length_mm = 300", f'carriage_length_mm = 300\ncarriage_bears = "{bears}"')
    )

    def dipped(x):
        return 0.03 * x - 20 * np.exp(-(((x - 450) / 120) ** 2))

    at = np.arange(200.0, 801.0, 100.0)
    along = np.array([-150.0, 150.0]) if bears == "ends" else np.linspace(-150, 150, 601)
    carried = dipped(at[:, None] + along).mean(axis=1) / 0.25
    across = {"front": "front", "rear": "rear", "reference": "carriage"}
    maps = [
        _level(make_traverse, bed, "front", flat),
        _level(make_traverse, bed, "rear", dipped),
    ]
    found = twist_of([*maps, make_traverse(bed, "cross", at, carried, **across)], bed)
    assert found.agree is True and any("across the carriage" in words for words in sentences(found.warnings))
    as_if_a_point = twist_of([*maps, make_traverse(bed, "cross", at, dipped(at) / 0.25, **across)], bed)
    assert as_if_a_point.agree is False
    on_the_ways = make_traverse(bed, "cross", at, dipped(at) / 0.25, front="front", rear="rear")
    assert twist_of([*maps, on_the_ways], bed).agree is True


def test_figures_from_a_level_on_the_carriage_alone_are_called_the_carriages(make_traverse, bed):
    """Invented: a hollow of 60 um in the rear way, which a carriage on its two ends evens out to less."""
    at = np.arange(200.0, 801.0, 100.0)

    def rear(x):
        return -60 * np.exp(-(((x - 500) / 120) ** 2))

    rolls = (rear(at - 150) + rear(at + 150)) / 2 / 0.25
    feet = np.arange(35.0, 936.0, 100.0)
    along_front = make_traverse(bed, "level", feet[:-1] + 50, 0 * feet[:-1], face="front")
    along_rear = _level(make_traverse, bed, "rear", rear)
    across = {"front": "front", "rear": "rear", "reference": "carriage"}
    found = twist_of([along_front, along_rear, make_traverse(bed, "cross", at, rolls, **across)], bed)
    assert found.roll_of == "carriage"
    assert found.twist_interval_um_per_m[1] < np.ptp(rear(at) / 0.25)
    assert found.twist_interval_um_per_m[0] <= np.ptp(rolls) <= found.twist_interval_um_per_m[1]
    assert any("the ways' own roll is not known" in words for words in sentences(found.warnings))
    on_the_ways = make_traverse(bed, "cross", at, rear(at) / 0.25, front="front", rear="rear")
    assert twist_of([along_front, along_rear, on_the_ways], bed).roll_of == "ways"


@pytest.mark.statistics
def test_bed_without_twist_is_said_to_show_none(make_traverse, bed):
    """Truth given; one in twenty may be alarmed, 5 of 30 is three binomial standard deviations more."""
    rng = np.random.default_rng(21)
    alarms = 0
    for _ in range(30):
        read = _cross(make_traverse, bed, flat, flat, noise=rng.normal(0, 2, 11))
        found = twist_of([read], bed)
        alarms += found.is_twist_seen
        if not found.is_twist_seen:
            assert found.twist_interval_um_per_m[0] == 0
            assert "no twist anywhere that could be seen" in whole_twist_words(found, False)[0].lower()
    assert alarms <= 5


@pytest.mark.statistics
def test_twist_comes_from_every_reading_together_and_by_one_kind_on_request(make_traverse, bed):
    rng = np.random.default_rng(23)
    runs = [
        _level(make_traverse, bed, "front", flat, noise=rng.normal(0, 1, 10)),
        _level(make_traverse, bed, "rear", winding, noise=rng.normal(0, 1, 10)),
        _cross(make_traverse, bed, flat, winding, noise=rng.normal(0, 2, 11)),
    ]
    whole, across = twist_of(runs, bed), twist_of(runs, bed, by="cross-level")
    assert whole.traverses == (1, 2, 3) and across.traverses == (3,)
    assert whole.wind_expanded_um_per_m < 0.9 * across.wind_expanded_um_per_m
    assert across.wind_um_per_m == whole.methods["cross_level"].wind_um_per_m
    assert twist_of(runs, bed, by="level").wind_um_per_m is None
    expected = wind_expanded(known_roll(combine(runs, bed), ways_of(bed)))
    assert whole.wind_expanded_um_per_m == expected


def test_side_faces_have_no_roll(make_traverse, bed):
    side = parse_bed(BED.replace('[faces.rear]\nnormal = "up"', '[faces.rear]\nnormal = "rear"'))
    with pytest.raises(AnalysisError, match="looks to the rear"):
        twist_of([_level(make_traverse, side, "front", flat)], side)


def test_front_way_that_looks_down_counts_upwards_too(make_traverse, bed):
    under = parse_bed(BED.replace('[faces.front]\nnormal = "up"', '[faces.front]\nnormal = "down"'))
    assert under.faces["front"].upward == -1
    found = twist_of([_cross(make_traverse, under, winding, flat)], under)
    assert found.wind_um_per_m == pytest.approx(-200.0)


def test_wind_from_readings_that_scatter_more_than_claimed_is_as_unsure_as_they_scatter(make_traverse, bed):
    rng = np.random.default_rng(24)
    noise = rng.normal(0, 40, (4, 11))

    def expanded(times):
        runs = [_cross(make_traverse, bed, flat, winding, noise=times * each) for each in noise]
        return twist_of(runs, bed).wind_expanded_um_per_m

    assert expanded(2) == pytest.approx(2 * expanded(1), rel=0.01)


@pytest.mark.statistics
def test_roll_between_an_upper_and_an_under_face_counts_upwards(make_traverse, bed):
    """A face that looks down is lower where it stands proud: h_rear = -z."""
    under = parse_bed(BED.replace('[faces.rear]\nnormal = "up"', '[faces.rear]\nnormal = "down"'))
    found = twist_of([_cross(make_traverse, under, flat, winding)], under)
    assert found.wind_um_per_m == pytest.approx(200.0)
    first = _level(make_traverse, under, "front", flat)
    rear = make_traverse(
        under, "level", MIDDLE, np.full(10, 50.0), face="rear", same_zero_as=first.number
    )  # a level hung below reads the bed's slope as it is
    assert twist_of([first, rear], under).wind_um_per_m == pytest.approx(200.0)


@pytest.mark.statistics
def test_indicator_carried_along_one_way_tells_no_twist_by_itself(make_traverse, bed):
    """Its carrier may roll on that way: what it reads across is then no roll of the bed."""
    more = '[instruments.dial]\nquantity = "offset"\nunit = "um"\nstandard_uncertainty = 1.0\n'
    dial = parse_bed(BED + more)
    run = make_traverse(dial, "dial", X, winding(X), face="rear", reference="front")
    with pytest.raises(AnalysisError, match="carrier rolls is not measured"):
        twist_of([run], dial)
    assert twist_of([run], dial, by="indicator").wind_um_per_m == pytest.approx(200.0)
    levels = [_level(make_traverse, dial, "front", flat), _level(make_traverse, dial, "rear", winding)]
    with pytest.raises(AnalysisError, match="carrier rolls is not measured"):
        twist_of([run, levels[0]], dial)
    found = twist_of([run, *levels], dial)
    assert found.known_up_to == "a line" and found.wind_um_per_m is None
    assert any("taken as not rolling" in words for words in sentences(found.warnings))
    cross = _cross(make_traverse, dial, flat, winding)
    assert twist_of([run, *levels, cross], dial).wind_um_per_m == pytest.approx(200.0)


def test_indicator_that_rides_a_way_and_reads_a_third_face_is_not_said_to_roll(make_traverse):
    """It says nothing of how the ways stand to each other, whether its carrier rolls or not."""
    more = '[faces.strip]\nnormal = "up"\nacross_mm = 400\n'
    more += '[instruments.dial]\nquantity = "offset"\nunit = "um"\nstandard_uncertainty = 1.0\n'
    bed = parse_bed(BED + more)
    run = make_traverse(bed, "dial", X, winding(X), face="strip", reference="front")
    levels = [_level(make_traverse, bed, "front", flat), _level(make_traverse, bed, "rear", winding)]
    found = twist_of([run, *levels, _cross(make_traverse, bed, flat, winding)], bed)
    assert not [fact for fact in found.warnings if isinstance(fact, MayRoll)]


@pytest.mark.parametrize(
    ("by", "said"),
    [("cross", ""), ("carriage", "evens out whatever is shorter"), ("dial", "taken as not rolling")],
)
def test_what_rides_the_ways_is_told_of_where_it_does_and_nowhere_else(make_traverse, by, said):
    more = '[instruments.dial]\nquantity = "offset"\nunit = "um"\nstandard_uncertainty = 1.0\n'
    bed = parse_bed(BED + more)
    runs = [
        _level(make_traverse, bed, "front", flat, number=1),
        _level(make_traverse, bed, "rear", winding, number=2, same_zero_as=1),
    ]
    if by == "dial":
        runs.append(make_traverse(bed, "dial", X, winding(X), face="rear", reference="front", number=3))
    else:
        on = {"reference": "carriage"} if by == "carriage" else {}
        runs.append(_cross(make_traverse, bed, flat, winding, number=3, **on))
    words = " ".join(sentences(twist_of(runs, bed).warnings))
    for each in ("evens out whatever is shorter", "the ways' own roll is not known", "taken as not rolling"):
        assert (each in words) is (each == said)
