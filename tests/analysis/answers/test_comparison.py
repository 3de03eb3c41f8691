"""Comparison: only estimates of the same thing, with the covariance of their difference."""

import numpy as np
import pytest

from acquire.model.bed_toml.reading import parse_bed
from acquire.model.errors import AnalysisError
from analysis.answers.comparison import compare
from analysis.words.comparison import comparison_answer
from analysis.words.facts import sentences
from tests.invented import bed_toml, dial, flat, level


def described(pitch_mm=100, more="", **of_the_level):
    """Two flats and a side; what carries a dial, and one of 60 µm (invented)."""
    return parse_bed(
        bed_toml(
            1000,
            pitch_mm,
            faces={"front": flat(0), "rear": flat(250), "side": {"normal": "front", "across_mm": 260}},
            instruments={
                "level": level(base_mm=100, **of_the_level),
                "dial": dial(),
                "coarse": dial(60.0),
                "carried": dial(carrier_feet_mm=400, overhang_along_mm=100),
            },
        )
        + more
    )


X = np.arange(0, 1001, 100.0)
MIDDLE = (X[1:] + X[:-1]) / 2


@pytest.fixture
def bed():
    return described()


def hollow(x):
    return -40 * np.sin(np.pi * x / 1000)


def tilted(x):
    return 0.03 * x - 15 * np.sin(2 * np.pi * x / 1000)


def _level(make_traverse, bed, face, height, rng, **setup):
    return make_traverse(
        bed, "level", MIDDLE, np.diff(height(X)) / 0.1 + rng.normal(0, 1, 10), face=face, **setup
    )


def _dial(make_traverse, bed, rng, instrument="dial", u=1.0, bump=0.0):
    reading = tilted(X) - hollow(X) + rng.normal(0, u, 11) + np.where(X == 300, bump, 0)
    return make_traverse(bed, instrument, X, reading, face="rear", reference="front")


def _survey(make_traverse, bed, seed=1, **dial):
    rng = np.random.default_rng(seed)
    return [
        _level(make_traverse, bed, "front", hollow, rng),
        _level(make_traverse, bed, "rear", tilted, rng),
        _dial(make_traverse, bed, rng, **dial),
    ]


def test_indicator_is_held_against_the_difference_of_two_level_maps(make_traverse, bed):
    found = compare(_survey(make_traverse, bed), bed, "rear:level", "rear:indicator")
    assert found.subject == "rear − front"
    assert found.agree is True
    assert np.abs(found.difference_um).max() < 4


def test_bump_of_one_map_is_found_where_it_is(make_traverse, bed):
    found = compare(_survey(make_traverse, bed, bump=12.0), bed, "rear:level", "3")
    assert found.agree is False
    assert found.worst["station_mm"] == 300
    assert found.worst["difference_um"] < 0  # level minus indicator


def test_instrument_too_coarse_to_see_anything_is_told_as_cannot_tell(make_traverse, bed):
    found = compare(
        _survey(make_traverse, bed, instrument="coarse", u=60.0), bed, "rear:level", "rear:indicator"
    )
    assert found.agree is None
    assert found.smallest_detectable_um > 40


def test_level_of_one_way_is_not_held_against_an_indicator_of_two(make_traverse, bed):
    with pytest.raises(AnalysisError, match="B − A"):
        compare(_survey(make_traverse, bed), bed, "2", "3")


def test_map_is_not_held_against_itself(make_traverse, bed):
    with pytest.raises(AnalysisError, match="both"):
        compare(_survey(make_traverse, bed), bed, "2", "rear:level")


@pytest.mark.parametrize("name", ["9", "rear:dial", "middle:level", "rear", ""])
def test_names_that_mean_nothing_are_refused(make_traverse, bed, name):
    with pytest.raises(AnalysisError):
        compare(_survey(make_traverse, bed), bed, "1", name)


def test_added_tilt_and_mirrored_sides_change_no_verdict(make_traverse, bed):
    survey = _survey(make_traverse, bed)
    one, other = compare(survey, bed, "rear:level", "3"), compare(survey, bed, "3", "rear:level")
    assert other.difference_um == pytest.approx(-one.difference_um, abs=1e-9)
    assert other.chi_square == pytest.approx(one.chi_square)


def test_scale_that_both_runs_share_cancels_out_of_their_difference(make_traverse):
    # a scale known to 10 % is 4 µm on this hollow; two runs with the one level share it
    sharing = described(scale_uncertainty=0.1)
    exact = described()
    widths = []
    for bed in (sharing, exact):
        rng = np.random.default_rng(2)
        runs = [_level(make_traverse, bed, "front", hollow, rng) for _ in range(2)]
        a, b = (str(run.number) for run in runs)
        widths.append(compare(runs, bed, a, b).expanded_uncertainty_um.max())
    assert widths[0] == pytest.approx(widths[1], rel=0.01)


@pytest.mark.statistics
def test_right_maps_are_told_apart_no_oftener_than_promised(make_traverse, bed):
    wrong = sum(
        compare(_survey(make_traverse, bed, seed=seed), bed, "rear:level", "rear:indicator").agree is not True
        for seed in range(100)
    )
    assert wrong <= 6  # one to two in a hundred; 6 is beyond three standard deviations


def test_level_maps_are_passed_through_the_carriers_feet_before_they_are_compared(make_traverse, bed):
    # feet 400 mm apart on the front way; their pitch acts on a plunger 100 mm ahead of the middle
    rng = np.random.default_rng(4)
    at = X[3:-1]
    before, after = hollow(at - 300), hollow(at + 100)
    carrier = (before + after) / 2 + 100 * (after - before) / 400
    reading = tilted(at) - carrier + rng.normal(0, 1, len(at))
    effect = carrier - hollow(at)
    assert np.ptp(effect - np.polyval(np.polyfit(at, effect, 1), at)) > 1.5
    survey = _survey(make_traverse, bed)[:2]
    survey.append(make_traverse(bed, "carried", at, reading, face="rear", reference="front"))
    found = compare(survey, bed, "rear:level", str(survey[2].number))
    assert found.agree is True
    # by hand: the reading less the same combination of the level maps, a line removed
    level = {
        run.setup.face: np.concatenate([[0], np.cumsum(run.stations.reading) * 0.1]) for run in survey[:2]
    }
    front = level["front"]
    predicted = level["rear"][3:-1] - (front[:-4] + front[4:]) / 2 - 100 * (front[4:] - front[:-4]) / 400
    by_hand = predicted - reading
    by_hand -= np.polyval(np.polyfit(at, by_hand, 1), at)
    assert found.difference_um == pytest.approx(by_hand, abs=1e-6)


def _drawn_level(make_traverse, bed, height, rng):
    middles = np.arange(50, 951, 2.0)
    slope = (height(middles + 50) - height(middles - 50)) / 0.1 + rng.normal(0, 1, len(middles))
    return make_traverse(bed, "level", middles, slope, face="front", mode="continuous")


@pytest.fixture
def fine_bed():
    return described(25)


@pytest.mark.statistics
def test_ripple_that_a_drawn_level_cannot_see_is_no_disagreement(make_traverse, fine_bed):
    # 100 mm long under feet 100 mm apart; an optical line sees all 12 µm of it
    rng = np.random.default_rng(6)
    at = np.arange(0, 1001, 25.0)

    def rippled(x):
        return hollow(x) + 6 * np.sin(2 * np.pi * x / 100)

    level = _drawn_level(make_traverse, fine_bed, rippled, rng)
    dial = make_traverse(
        fine_bed, "dial", at, rippled(at) + rng.normal(0, 1, 41), face="front", reference="line"
    )
    found = compare([level, dial], fine_bed, "front:level", "front:indicator")
    assert found.smoothed_over_mm == 100
    assert found.agree is True
    assert "as a base of 100 mm sees them" in "\n".join(comparison_answer(found, inch=False))


def test_what_is_said_of_one_map_names_it_as_a_person_does(make_traverse, bed):
    # runs there and back that differ by a bow: the fact is about the level's map, not the indicator's
    there, rear, dial = _survey(make_traverse, bed)
    drifted = there.stations.reading + np.linspace(40, -40, len(MIDDLE))
    back = make_traverse(bed, "level", MIDDLE[::-1], drifted[::-1], face="front", direction="reverse")
    found = compare([there, rear, dial, back], bed, "rear:level", "rear:indicator")
    said = "\n".join(comparison_answer(found, inch=False))
    assert "front (rear by level)" in said
    assert "(a)" not in said and "(b)" not in said


@pytest.mark.statistics
def test_bump_longer_than_the_base_is_still_a_disagreement(make_traverse, fine_bed):
    rng = np.random.default_rng(6)
    at = np.arange(0, 1001, 25.0)
    level = _drawn_level(make_traverse, fine_bed, hollow, rng)
    bump = 20 * np.exp(-(((at - 500) / 120) ** 2))
    dial = make_traverse(
        fine_bed, "dial", at, hollow(at) + bump + rng.normal(0, 1, 41), face="front", reference="line"
    )
    assert compare([level, dial], fine_bed, "front:level", "front:indicator").agree is False


def test_nothing_is_compared_in_the_middle_of_a_levels_base(make_traverse, fine_bed):
    # the level's feet stand every 100 mm, the dial read every 25 mm: only the feet can be held against it
    rng = np.random.default_rng(7)
    at = np.arange(0, 1001, 25.0)
    sharp = -30 * np.exp(-(((at - 450) / 40) ** 2))
    feet = sharp[::4]
    level = make_traverse(fine_bed, "level", MIDDLE, np.diff(feet) / 0.1 + rng.normal(0, 1, 10), face="front")
    dial = make_traverse(fine_bed, "dial", at, sharp + rng.normal(0, 1, 41), face="front", reference="line")
    found = compare([level, dial], fine_bed, "front:level", "front:indicator")
    assert found.station_mm == pytest.approx(X)
    assert found.agree is True


EDGE = """
[straightedges.edge]
length_mm = 1000
supports_mm = [200, 800]
depth_mm = 60
material = "granite"
"""


@pytest.fixture
def edge_bed():
    return described(more=EDGE)


def _along_edge(make_traverse, bed, rng, face="rear", reference="straightedge:edge", sign=1):
    reading = sign * tilted(X) + rng.normal(0, 1, 11)
    return make_traverse(bed, "dial", X, reading, face=face, reference=reference)


@pytest.mark.parametrize("guide", ["straightedge", "straightedge:edge"])
def test_indicator_is_chosen_by_what_guided_it(make_traverse, edge_bed, guide):
    survey = _survey(make_traverse, edge_bed)
    survey.append(_along_edge(make_traverse, edge_bed, np.random.default_rng(8)))
    found = compare(survey, edge_bed, "rear:level", f"rear:{guide}")
    by_number = compare(survey, edge_bed, "rear:level", str(survey[-1].number))
    assert found.subject == "rear" and found.b == f"rear along {guide}"
    assert found.difference_um == pytest.approx(by_number.difference_um)
    other = compare(survey, edge_bed, "rear:level", "rear:front")
    assert other.subject == "rear − front"


def test_stand_that_rides_the_way_and_touches_the_edge_is_held_against_the_level(make_traverse, edge_bed):
    survey = _survey(make_traverse, edge_bed)
    rng = np.random.default_rng(8)
    survey.append(_along_edge(make_traverse, edge_bed, rng, "straightedge:edge", "rear", -1))
    found = compare(survey, edge_bed, "rear:level", "rear:straightedge")
    assert np.abs(found.difference_um - found.difference_um.mean()).max() < 6  # the edge sags by under 1 µm


def test_what_an_indicator_also_read_along_something_else_is_said(make_traverse, edge_bed):
    survey = _survey(make_traverse, edge_bed)
    survey.append(_along_edge(make_traverse, edge_bed, np.random.default_rng(8)))
    said = " ".join(sentences(compare(survey, edge_bed, "rear:level", "rear:indicator").warnings))
    assert "along front (traverse 3)" in said and "FACE:straightedge:edge" in said


def test_guide_that_was_not_used_is_refused_with_those_that_were(make_traverse, edge_bed):
    with pytest.raises(AnalysisError, match=r"rear:level \| rear:front"):
        compare(_survey(make_traverse, edge_bed), edge_bed, "rear:level", "rear:wire")


IN_INCHES = bed_toml(
    None,
    None,
    name="invented",
    bed={"length": "42 in", "station_pitch": "3 in"},
    faces=("way",),
    instruments={"level": level(base_mm=None, base="3 in"), "dial": dial(0.5)},
)


@pytest.mark.parametrize("level_in_mm", [False, True])
def test_places_in_inches_and_in_whole_millimetres_are_the_same_places(make_traverse, level_in_mm):
    bed = parse_bed(IN_INCHES)
    at = np.array(bed.station_mm)
    middle = (at[1:] + at[:-1]) / 2
    rng = np.random.default_rng(11)

    def way(x):
        return -30 * np.sin(np.pi * x / 1066.8)

    slope = np.diff(way(at)) / 0.0762 + rng.normal(0, 1, 14)
    level = make_traverse(bed, "level", np.round(middle) if level_in_mm else middle, slope, face="way")
    read = way(at) + rng.normal(0, 0.5, 15)
    dial = make_traverse(bed, "dial", at if level_in_mm else np.round(at), read, face="way", reference="line")
    found = compare([level, dial], bed, "way:level", "way:indicator")
    assert found.station_mm == pytest.approx(at)
    assert found.agree is True and found.largest_normalised_error < found.largest_by_chance
