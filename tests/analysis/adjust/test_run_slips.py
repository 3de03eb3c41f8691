"""Whole runs that were written down wrongly: found, named, told apart, and never where there are none.

Truth invented; rules derived for this project. The long form, with rates, is tests/benchmarks/run_slips.py.
"""

from dataclasses import replace

import numpy as np
import pytest

from acquire.model.slips import parsed, undone
from analysis.adjust import run_slips
from analysis.adjust.combination import combine
from analysis.adjust.run_slips import RunsContradict, RunSlip, doubt_of_run
from analysis.observe import observe_all
from analysis.words.facts import sentence
from analysis.words.run_slips import run_slip_words

AT_MM = np.arange(50.0, 1000.0, 100.0)
FACE = {"face": "front-flat"}


@pytest.fixture
def survey(invented_bed, make_traverse):
    """A level stepped forward and back along a hollow way whose deepest place is off the middle.

    `make(fourth, seed)`: `fourth` spoils the readings of a further run, in reverse.
    """
    bed = invented_bed()
    x = np.linspace(0, 1, 11)
    slope = np.diff(-40 * np.sin(np.pi * x**1.7)) / 100 * 1000

    def make(spoil=lambda y, rng: y, seed=1, others=3, **asked):
        rng = np.random.default_rng(seed)
        ways = [*["forward", "reverse", "forward"][:others], "reverse"]
        readings = [slope + 5 * k + rng.standard_normal(10) for k in range(others + 1)]
        readings[-1] = spoil(readings[-1], rng)
        runs = [
            make_traverse(bed, "level", AT_MM, y, direction=way, **FACE, **asked)
            for y, way in zip(readings, ways, strict=True)
        ]
        return [replace(run, setup=replace(run.setup, number=k + 1)) for k, run in enumerate(runs)], bed

    return make


def shifted(y, rng):
    """What was read at 150 was written at 50, and so on; the last station was read once more."""
    return np.append(y[1:], y[-1] + 30)


SPOILT = [
    pytest.param(lambda y, rng: -y, ("turned",), marks=pytest.mark.statistics),
    pytest.param(lambda y, rng: y[::-1], ("order",), marks=pytest.mark.statistics),
    (lambda y, rng: -y[::-1], ("turned", "order")),
    pytest.param(lambda y, rng: np.round(y / 1000, 3), ("unit:mm/m",), marks=pytest.mark.statistics),
    pytest.param(lambda y, rng: np.round(y / 4.84813681, 1), ("unit:arcsec",), marks=pytest.mark.statistics),
    pytest.param(lambda y, rng: np.round(y / 20, 1), ("times:20",), marks=pytest.mark.statistics),
    pytest.param(lambda y, rng: y * 10, ("times:0.1",), marks=pytest.mark.statistics),
    pytest.param(lambda y, rng: y / 2, ("times:2",), marks=pytest.mark.statistics),
    pytest.param(shifted, ("shifted:+100",), marks=pytest.mark.statistics),
]


@pytest.mark.parametrize(("spoil", "names"), SPOILT)
def test_slip_of_a_run_is_found_and_named_with_what_mends_it(survey, spoil, names):
    runs, bed = survey(spoil)
    bed_map = combine(runs, bed)
    (found,) = bed_map.slips
    assert not any(isinstance(each, RunsContradict) for each in bed_map.warnings)
    assert bed_map.suspects == () and isinstance(bed_map.warnings[0], RunSlip)  # no single reading beside it
    assert [(each.traverses, each.redo_as) for each in found.explanations] == [((4,), names)]
    assert found.misfit > 3 * found.expected
    assert found.explanations[0].misfit < 2 * found.expected
    mended = undone(runs[3].setup, runs[3].stations, parsed(names, runs[3].setup))
    assert len(mended) >= 9
    words = run_slip_words(found)
    assert f"`waylog redo SURVEY 4 --as {' --as '.join(names)}`" in words and "traverse 4" in words


def of_part(run, station_mm, at_mm=None):
    """The readings of a run at some of its stations, written down at these places."""
    stations = run.stations
    chosen = np.isin(stations.station_mm, station_mm)
    at_mm = stations.station_mm[chosen] if at_mm is None else at_mm
    order = np.argsort(at_mm)
    part = replace(stations.at(np.flatnonzero(chosen)[order]), station_mm=np.asarray(at_mm)[order])
    return replace(run, stations=part)


def test_run_over_a_part_that_was_measured_from_the_other_end_of_the_bed_is_named(survey):
    """Turned about its own places it would not fit: the bed is another beyond its middle."""
    runs, bed = survey()
    wrong = of_part(runs[3], AT_MM[:7], 1000 - AT_MM[:7])
    (found,) = combine([*runs[:3], wrong], bed).slips
    (only,) = found.explanations
    assert (only.traverses, only.redo_as) == ((4,), ("mirrored",))
    mended = undone(wrong.setup, wrong.stations, parsed(only.redo_as, wrong.setup))
    np.testing.assert_array_equal(mended.station_mm, AT_MM[:7])


def test_of_two_parts_that_overlap_nothing_tells_which_was_measured_from_the_other_end(survey):
    """A way read in two parts that share its middle: the bed may be the one or its mirror image."""
    runs, bed = survey()
    first = of_part(runs[1], AT_MM[:8], 1000 - AT_MM[:8])
    second = of_part(runs[3], AT_MM[1:])
    (found,) = combine([first, second], bed).slips
    told = {(each.traverses, each.redo_as) for each in found.explanations}
    assert {((2,), ("mirrored",)), ((4,), ("mirrored",))} <= told


BAD_BUT_NO_SLIP = {
    "nothing": lambda y, rng: y,
    "drift of 12 u": lambda y, rng: y + np.linspace(12, 0, 10),
    "one reading 15 u off": lambda y, rng: y + 15 * (np.arange(10) == 3),
    "three times the noise": lambda y, rng: y + 3 * rng.standard_normal(10),
    "another shape": lambda y, rng: 60 * rng.standard_normal(10),
}


@pytest.mark.parametrize("seed", [1, pytest.param(2, marks=pytest.mark.statistics)])
@pytest.mark.parametrize(
    "kind", [*list(BAD_BUT_NO_SLIP)[:-1], pytest.param("another shape", marks=pytest.mark.statistics)]
)
def test_what_is_no_slip_is_called_none(survey, kind, seed):
    runs, bed = survey(BAD_BUT_NO_SLIP[kind], seed)
    assert combine(runs, bed).slips == ()


def test_of_two_runs_nothing_tells_which_was_turned(survey):
    runs, bed = survey(lambda y, rng: -y, others=1)
    (found,) = combine(runs, bed).slips
    assert {each.traverses for each in found.explanations if each.redo_as == ("turned",)} == {(1,), (2,)}
    assert "nothing tells which" in run_slip_words(found)


@pytest.mark.statistics
def test_symmetrical_hollow_does_not_tell_its_sign_from_its_order(invented_bed, make_traverse):
    bed = invented_bed()
    slope = np.diff(-40 * np.sin(np.pi * np.linspace(0, 1, 11))) * 10
    rng = np.random.default_rng(3)
    runs = [
        make_traverse(bed, "level", AT_MM, sign * slope + rng.standard_normal(10), direction=way, **FACE)
        for sign, way in ((1, "forward"), (1, "reverse"), (1, "forward"), (-1, "reverse"))
    ]
    (found,) = combine(runs, bed).slips
    assert {("turned",), ("order",)} <= {each.redo_as for each in found.explanations}


@pytest.mark.statistics
def test_sign_of_a_dial_is_wrong_in_all_its_runs(invented_bed, make_traverse):
    """Both runs of the dial agree with each other; the level says that plus is minus."""
    bed = invented_bed()
    rng = np.random.default_rng(4)
    height = -40 * np.sin(np.pi * np.linspace(0, 1, 11) ** 1.7)
    level = [
        make_traverse(
            bed, "level", AT_MM, np.diff(height) * 10 + rng.standard_normal(10), direction=way, **FACE
        )
        for way in ("forward", "reverse")
    ]
    dial = [
        make_traverse(
            bed, "dial", np.arange(0, 1001, 100), -height + rng.standard_normal(11), reference="line", **FACE
        )
        for _ in range(2)
    ]
    (found,) = combine([*level, *dial], bed).slips
    assert ((3, 4), ("sign",)) in [(each.traverses, each.redo_as) for each in found.explanations]


@pytest.mark.statistics
def test_slips_of_two_runs_are_named_both(survey):
    """One ten times too large, one turned: neither is explained while the other is among its judges."""
    runs, bed = survey(lambda y, rng: -y, others=3)
    first = replace(runs[0], stations=replace(runs[0].stations, reading=runs[0].stations.reading * 10))
    fifth = replace(runs[1], setup=replace(runs[1].setup, number=5))
    found = combine([first, *runs[1:], fifth], bed).slips
    assert [each.explanations[0].redo_as for each in found] == [("times:0.1",), ("turned",)]
    assert [(each.traverses, len(each.explanations)) for each in found] == [((1,), 1), ((4,), 1)]


def test_runs_that_no_slip_reconciles_are_said_to_contradict_each_other(survey):
    """Four runs along as many ways: the ± is no answer, and it is said that nothing here is to be trusted."""
    runs, bed = survey()
    rng = np.random.default_rng(7)
    unlike = [replace(r, stations=replace(r.stations, reading=rng.normal(0, 60, 10))) for r in runs]
    bed_map = combine(unlike, bed)
    assert bed_map.slips == ()
    (fact,) = [each for each in bed_map.warnings if isinstance(each, RunsContradict)]
    assert fact.traverses == (1, 2, 3, 4) and fact.times > 10
    assert "two by two" in sentence(fact)
    assert not [each for each in combine(runs, bed).warnings if isinstance(each, RunsContradict)]


def test_run_just_made_is_doubted_by_the_same_rule(survey):
    runs, bed = survey(lambda y, rng: -y)
    found = doubt_of_run(runs[3], observe_all(runs[:3], bed), bed)
    assert found.explanations[0].redo_as == ("turned",) and found.traverses == (4,)
    right, _ = survey()
    assert doubt_of_run(right[3], observe_all(right[:3], bed), bed) is None


def test_run_that_no_slip_explains_is_said_not_to_fit(survey):
    runs, bed = survey(BAD_BUT_NO_SLIP["another shape"])
    found = doubt_of_run(runs[3], observe_all(runs[:3], bed), bed)
    assert found.explanations == () and found.misfit > 10 * found.expected
    assert "no slip that is known explains it" in run_slip_words(found)


@pytest.mark.statistics
def test_run_already_taken_as_turned_is_put_back_as_written(survey):
    runs, bed = survey()
    wrong = replace(runs[3], setup=replace(runs[3].setup, taken_as="turned", turned=True))
    (found,) = combine([*runs[:3], wrong], bed).slips
    assert found.explanations[0].redo_as == ("written",)


@pytest.mark.statistics
@pytest.mark.parametrize("is_turned", [False, True])
def test_drawn_level_that_drifted_is_not_doubted_and_one_that_was_turned_is(
    invented_bed, make_traverse, is_turned
):
    """Drawn there and back, drifting by 4 µm/m a run: 100 mm base, every 5 mm, noise 1 µm/m."""
    bed, rng = invented_bed(), np.random.default_rng(6)
    x = np.arange(50.0, 951.0, 5.0)

    def height(at):
        return -40 * np.sin(np.pi * (at / 1000) ** 1.7)

    slope, along = (height(x + 50) - height(x - 50)) * 10, (x - 50) / 900
    drift = {"forward": 4 * along, "reverse": 4 * (1 - along)}
    there, back = (
        make_traverse(
            bed,
            "level",
            x,
            (-1 if is_turned and way == "reverse" else 1)
            * (slope + drift[way] + rng.standard_normal(x.size)),
            direction=way,
            mode="continuous",
            scatter=1.0,
            **FACE,
        )
        for way in ("forward", "reverse")
    )
    found = doubt_of_run(back, observe_all([there], bed), bed)
    if is_turned:
        told = [(each.traverses, each.redo_as) for each in found.explanations]
        assert told == [((2,), ("turned",)), ((1,), ("turned",))] and found.unit == "um"
    else:
        assert found is None


@pytest.fixture
def drawn_there_and_back(invented_bed, make_traverse):
    """One drawn run each way, 100 mm base, every 5 mm, noise 0.4 µm/m; the second turned."""
    level = 'quantity = "slope"\nunit = "um/m"\nbase_mm = 100\nstandard_uncertainty = 0.4\nseating_um = 0'
    bed, rng = invented_bed(instruments={"level": level}), np.random.default_rng(6)
    x = np.arange(50.0, 951.0, 5.0)
    slope = np.gradient(-40 * np.sin(np.pi * (x / 1000) ** 1.7), x) * 1000
    runs = [
        make_traverse(
            bed,
            "level",
            x,
            sign * slope + 0.4 * rng.standard_normal(x.size),
            direction=way,
            mode="continuous",
            scatter=0.4,
            **FACE,
        )
        for sign, way in ((1, "forward"), (-1, "reverse"))
    ]
    return runs, bed


@pytest.mark.statistics
def test_what_drawn_runs_usually_miss_by_is_never_said_to_be_nothing(drawn_there_and_back):
    """Hundreds of drawn readings miss each other by hundredths of 1 µm."""
    (there, back), bed = drawn_there_and_back
    found = doubt_of_run(back, observe_all([there], bed), bed)
    assert 0.01 < found.expected < 0.05
    words = run_slip_words(found)
    assert f"({found.expected:.2f} µm would be usual)" in words and " 0.0)" not in words


@pytest.mark.statistics
def test_each_drawn_run_is_solved_once_for_all_hypotheses(drawn_there_and_back, monkeypatch):
    runs, bed = drawn_there_and_back
    solved = []

    def counted(asked, bed):
        solved.append(tuple(run.number for run in asked))
        return observe_all(asked, bed)

    monkeypatch.setattr(run_slips, "observe_all", counted)
    assert combine(runs, bed).slips
    assert sorted(solved) == [(1,), (2,)]


@pytest.mark.statistics
def test_straightedge_turned_over_is_not_doubted_for_an_edge_that_is_not_straight(
    invented_bed, make_traverse
):
    """A right run with the edge turned over: the runs before took the edge as straight, which is no judge."""
    bed = invented_bed(more="[straightedges.edge]\nlength_mm = 1000\n")
    x, noise = np.arange(0.0, 1001.0, 100.0), np.random.default_rng(5)
    edge = 10 * np.sin(3 * np.pi * x / 1000)
    way = -30 * np.sin(np.pi * x / 1000) ** 2
    forward, reverse, over = (
        make_traverse(
            bed, "dial", x, way - sign * edge + 0.03 * x + noise.normal(0, 0.5, x.size), face="front-flat",
            reference="straightedge:edge", direction=direction, turned_over=sign < 0,
        )
        for sign, direction in ((1, "forward"), (1, "reverse"), (-1, "forward"))
    )  # fmt: skip
    assert doubt_of_run(over, observe_all([forward, reverse], bed), bed) is None
    # the same numbers said to be with the edge as it lay are doubted, as they must be
    same_way_up = replace(over, setup=replace(over.setup, turned_over=False))
    assert doubt_of_run(same_way_up, observe_all([forward, reverse], bed), bed) is not None
