"""Verdicts on limits: the rule, ranges that noise enlarges, and what bed.toml may hold."""

import numpy as np
import pytest

from acquire.model.errors import AnalysisError, BedError
from analysis.adjust.combination import combine
from analysis.answers.limits import judge_limits, judge_range, judge_value
from analysis.answers.twist import twist_of
from analysis.words.limits import limits_words
from tests.invented import flat

X = np.arange(0.0, 1001.0, 100.0)
MIDDLE = X[:-1] + 50


@pytest.mark.parametrize(
    ("rule", "value", "wanted"),
    [
        ("1.645u", 14, "meets"),
        ("1.645u", 16, "cannot tell"),
        ("1.645u", 17, "cannot tell"),
        ("1.645u", 25, "does not meet"),
        ("2u", 14, "meets"),
        ("2u", 25, "cannot tell"),
    ],
)
def test_verdict_leaves_a_guard_on_both_sides_of_the_limit(rule, value, wanted):
    """Limit 20, u 2.5; the rule of ISO 14253-1 from memory, the cases derived for this project."""
    judged = judge_value(value, 2.5, 20, rule)
    assert (judged.verdict, judged.rule) == (wanted, rule)


def test_sign_of_a_figure_plays_no_part():
    assert judge_value(-25, 2.5, 20).verdict == judge_value(25, 2.5, 20).verdict == "does not meet"


def test_survey_too_coarse_for_the_limit_is_told_what_would_do():
    """g = 1.645 × 5 = 8.2 exceeds 20/3; u = 20/10 would do."""
    assert judge_value(3, 5.0, 20).coarse_needs == pytest.approx(2.0)
    assert judge_value(3, 4.0, 20).coarse_needs is None


def test_range_that_noise_alone_makes_never_fails_a_straight_way():
    """By simulation: straight ways read at 21 stations with u 1, limit 3; the mean range of noise is 3.8."""
    random = np.random.default_rng(7)
    found = [judge_range(random.normal(0, 1, 21), np.eye(21), 3.0).verdict for _ in range(100)]
    assert found.count("does not meet") <= 2
    assert "cannot tell" in found


@pytest.mark.statistics
@pytest.mark.parametrize("size", [9.0, 13.0])
def test_wrong_verdicts_on_a_range_are_rare_on_either_side_of_the_limit(size):
    """By simulation: hollow ways just over or under a limit of 11, u 1; one in twenty misjudged at most."""
    random = np.random.default_rng(8)
    shape = size * (np.linspace(-1, 1, 21) ** 2)
    wrong = "meets" if size > 11 else "does not meet"
    found = [judge_range(shape + random.normal(0, 1, 21), np.eye(21), 11.0).verdict for _ in range(100)]
    assert found.count(wrong) <= 5


def test_unknown_rule_and_limit_of_nothing_are_refused():
    with pytest.raises(AnalysisError, match=r"1\.645u \| 2u"):
        judge_value(1, 1, 10, "3u")
    with pytest.raises(AnalysisError, match="above 0"):
        judge_value(1, 1, 0)


LIMITS = "[limits]\nstraightness_um = { front-flat = 15, vee = 5 }\ntwist_um_per_m = 400\nwind_um_per_m = 20"


@pytest.fixture
def bed_map(make_traverse, invented_bed):
    bed = invented_bed(
        faces={
            "front-flat": 'normal = "up"\nacross_mm = 0\ncarriage = "front"',
            "rear-flat": 'normal = "up"\nacross_mm = 300\ncarriage = "rear"',
            "vee": 'normal = "up"\nshape = "vee"\nform = "ridge"\nvee_angle_deg = 90\nacross_mm = 100',
        },
        more=LIMITS,
    )
    random = np.random.default_rng(3)
    hollow = 40 * ((X - 500) / 500) ** 2
    runs = [
        make_traverse(
            bed, "level", MIDDLE, np.diff(hollow) / 0.1 + random.normal(0, 1, 10), face="front-flat"
        )
    ]
    roll = (0.1 * X - hollow) / 0.3
    runs.append(
        make_traverse(bed, "cross", X, roll + random.normal(0, 1, 11), front="front-flat", rear="rear-flat")
    )
    return combine(runs, bed)


def test_limits_of_the_bed_are_each_judged_with_the_rule_beside(bed_map):
    """Truth: hollow by 40 µm (limit 15), wind 333 µm/m (limit 20), twist under 400 µm/m; the vee not read."""
    found = judge_limits(bed_map, bed_map.bed.limits)
    verdicts = {(each.what, each.of): each.verdict for each in found.judged}
    ways = "front-flat and rear-flat"
    assert verdicts == {
        ("straightness_um", "front-flat"): "does not meet",
        ("straightness_um", "vee"): "cannot tell",
        ("twist_um_per_m", ways): "meets",
        ("wind_um_per_m", ways): "does not meet",
    }
    said = "\n".join(limits_words(found, inch=False))
    assert "Your own limits: 1 meets, 2 do not meet, 1 cannot be told" in said
    assert said.count("[1.645u]") == 3 and "no traverse touches it" in said


def test_limit_of_a_worn_face_is_judged_from_the_line_through_its_unworn_stretches(
    invented_bed, make_traverse
):
    """Derived: worn by 30 µm at its end alone: 30 µm off that line, 15 off the one through its ends."""
    limits = "[limits]\nstraightness_um = { front-flat = 25 }\n"
    worn = -30.0 * np.clip((X - 500) / 500, 0, None)

    def judged(unworn):
        bed = invented_bed(faces={"front-flat": flat(0, **unworn)}, more=limits)
        run = make_traverse(bed, "dial", X, worn, face="front-flat", reference="line")
        (only,) = judge_limits(combine([run], bed), bed.limits).judged
        return only.value

    assert judged({"unworn_mm": [[0, 500]]}) == pytest.approx(30.0, abs=0.1)
    assert judged({}) == pytest.approx(15.0, abs=0.1)


@pytest.mark.parametrize(("rise_um", "twist"), [(0.0, "cannot tell"), (300.0, "does not meet")])
def test_ways_meet_no_limit_by_the_roll_of_a_carriage_that_evens_them_out(
    make_traverse, invented_bed, rise_um, twist
):
    """The levels share no place: the roll of the carriage is the least that the ways have, not the most."""
    bed = invented_bed(
        bed="carriage_length_mm = 300",
        faces={
            "front-flat": 'normal = "up"\nacross_mm = 0\ncarriage = "front"',
            "rear-flat": 'normal = "up"\nacross_mm = 300\ncarriage = "rear"',
        },
        more="[limits]\ntwist_um_per_m = 400\nwind_um_per_m = 400",
    )
    at = np.arange(200.0, 801.0, 100.0)
    roll = rise_um * (at - 200) / 600 / 0.3 + np.random.default_rng(4).normal(0, 1, at.size)
    slope = np.full(9, 0.3 * roll[-1] / 0.6)
    runs = [
        make_traverse(bed, "level", np.arange(85.0, 886.0, 100.0), 0 * slope, face="front-flat"),
        make_traverse(bed, "level", np.arange(50.0, 851.0, 100.0), slope, face="rear-flat"),
        make_traverse(bed, "cross", at, roll, front="front-flat", rear="rear-flat", reference="carriage"),
    ]
    assert twist_of(runs, bed).roll_of == "carriage"
    found = judge_limits(combine(runs, bed), bed.limits).judged
    verdicts = {each.what: each.verdict for each in found}
    assert verdicts == {"twist_um_per_m": twist, "wind_um_per_m": "cannot tell"}


def test_bed_without_limits_is_refused_with_what_to_enter(make_traverse, invented_bed):
    bed = invented_bed()
    bed_map = combine([make_traverse(bed, "level", MIDDLE, np.zeros(10), face="front-flat")], bed)
    with pytest.raises(AnalysisError, match="none are built in"):
        judge_limits(bed_map, bed.limits)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("straightness_um = { nowhere = 15 }", "no such face"),
        ("straightness_um = { front-flat = 0 }", "above 0"),
        ("twist_um_per_m = -3", "above 0"),
        ("roundness_um = 3", "no such key"),
    ],
)
def test_limits_that_do_not_fit_the_bed_are_refused_with_bed_toml(invented_bed, text, said):
    with pytest.raises(BedError, match=said):
        invented_bed(more=f"[limits]\n{text}")
