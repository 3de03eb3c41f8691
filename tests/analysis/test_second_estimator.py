"""The adjustment against a second one, written apart from it, on surveys invented at random.

`tests/second_estimator` asks plain geometry for its rows and solves them densely by
singular values.  The long form is tests/benchmarks/second_estimator.py.
"""

import ast
from dataclasses import replace
from pathlib import Path
from random import Random

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.invented import bed_toml, cross_level, dial, flat, level
from tests.second_estimator import least_squares
from tests.second_estimator.comparing import MOST_U, combined, faults, faults_between
from tests.second_estimator.inventing import Survey, invent, take
from tests.second_estimator.inventing_between import invent_between
from tests.second_estimator.least_squares import adjust, place
from tests.second_estimator.readings import Description, Run

BED = bed_toml(
    bed="{carriage}\n",
    faces={"front": flat(0, "front"), "rear": flat(300, "rear"), "table": flat(120)},
    instruments={
        "level": level(0.5, 100, seating_um=0),
        "cross": cross_level(0.5, seating_um=0),
        "dial": dial(0.2, carrier_feet_mm=90, seating_um=0),
    },
    straightedges={
        "heavy": {"length_mm": 1000, "depth_mm": 40, "material": "granite", "supports_mm": [0, 1000]}
    },
)
STATIONS = np.arange(0.0, 1001.0, 100.0)
MIDDLES = np.arange(50.0, 951.0, 100.0)


@pytest.mark.statistics
@settings(derandomize=True, max_examples=40, deadline=None, database=None, suppress_health_check=HealthCheck)
@given(st.randoms(use_true_random=False))
def test_map_agrees_with_a_second_estimator_and_holds_the_truth(chance):
    """Heights, uncertainties, what is known, chi-square; and every height told lies within 4.5 u."""
    assert faults(invent(chance)) == []


@pytest.mark.statistics
@pytest.mark.parametrize("number", [10, *range(0, 500, 25), 1086, 1088, 1090, 2338])
def test_large_invented_surveys_agree_too(number):
    """Generated sources of chance lean towards small surveys; these are as a person's would be."""
    assert faults(invent(Random(number))) == []


@pytest.mark.statistics
@pytest.mark.parametrize("number", range(20))
def test_feet_between_the_stations_agree_with_a_second_estimator_too(number):
    """Places that carriers stand on, tied to the nodes with the roughness that these show."""
    assert faults_between(invent_between(Random(number))) == []


@pytest.mark.statistics
def test_places_that_more_was_read_at_than_the_stations_are_tied_to_the_stations():
    """Where the dial touches more places than the level has stations, these were tied to themselves."""
    survey = invent_between(Random(30))
    assert faults_between(survey) == []


def test_second_estimator_shares_no_code_with_the_program():
    folder = Path(least_squares.__file__).parent
    for name in ("readings", "least_squares", "inventing", "between", "inventing_between"):
        tree = ast.parse((folder / f"{name}.py").read_text(encoding="utf-8"))
        froms = {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
        plain = {a.name for node in ast.walk(tree) if isinstance(node, ast.Import) for a in node.names}
        assert {each.split(".")[0] for each in froms | plain}.isdisjoint({"acquire", "analysis"})


@pytest.mark.parametrize("key, value", [("turned", True), ("direction", "reverse"), ("same_zero_as", 1)])
def test_a_set_up_taken_wrongly_is_noticed(key, value):
    """One run told otherwise to the program: the comparison must not pass."""
    bed = Description(BED.format(carriage=""))
    runs = [Run(1, "level", MIDDLES, face="front"), Run(2, "level", MIDDLES, face="rear")]
    runs += [Run(3, "level", MIDDLES, face="rear"), Run(4, "cross", STATIONS, front="front", rear="rear")]
    survey = _of_random_heights(bed, runs)
    assert faults(survey) == []
    wrong = [*survey.runs[:2], replace(survey.runs[2], **{key: value}), survey.runs[3]]
    answer = adjust(wrong, bed)
    bed_map = combined(survey)
    assert answer.redundancy != bed_map.redundancy or abs(answer.chi_square - bed_map.chi_square) > 0.01


@pytest.mark.parametrize("turned", [False, True])
def test_level_across_on_long_feet_stands_on_their_ends(turned):
    """Feet of 200 mm on stations every 100."""
    feet = 'quantity = "roll"\ncarrier_feet_mm = 200'
    bed = Description(BED.format(carriage="").replace('quantity = "roll"', feet))
    runs = [Run(n, "level", MIDDLES, face=face) for n, face in enumerate(("front", "rear", "rear"), 1)]
    survey = _of_random_heights(
        bed, [*runs, Run(4, "cross", STATIONS[1:-1], front="front", rear="rear", turned=turned)]
    )
    assert faults(survey) == []
    points = Description(BED.format(carriage=""))
    assert adjust(survey.runs, points).chi_square > 100 * adjust(survey.runs, bed).chi_square


@pytest.mark.parametrize("other", ["keeper", "side", "further"])
def test_faces_that_look_different_ways_are_read_off_one_line_under_one_zero(other):
    """A line that lies higher, or tilted, counts the other way round for a face that looks down and not at
    all for one that looks sideways. A level turned end for end tells the tilt of the front way."""
    bed = Description(
        bed_toml(
            faces={
                "front": flat(0), "keeper": {"normal": "down", "shape": "flat"},
                "side": {"normal": "rear", "shape": "flat"}, "further": flat(300),
            },
            instruments={"level": level(0.5, 100, seating_um=0), "dial": dial(0.2, seating_um=0)},
        )
    )  # fmt: skip
    runs = [
        Run(1, "level", MIDDLES, face="front"),
        Run(2, "level", MIDDLES, face="front", turned=True, same_zero_as=1),
        Run(3, "dial", STATIONS, face="front", reference="line"),
        Run(4, "dial", STATIONS, face=other, reference="line", same_zero_as=3),
    ]
    survey = _of_random_heights(bed, runs)
    assert faults(survey) == []
    rise = np.zeros((1, len(combined(survey).nodes)))
    for k, node in enumerate(combined(survey).nodes):
        if node.owner == other and node.station_mm in (0.0, 1000.0):
            rise[0, k] = 1.0 if node.station_mm else -1.0
    assert combined(survey).functional(rise).is_known[0] == (other != "side")


def test_second_estimator_sums_a_stepped_level_as_by_hand():
    """Slopes 12 8.5 3 ... over 100 mm and the heights they sum to (derived: sums of slope times base)."""
    slopes = np.array([12, 8.5, 3, -1.5, -6, -4, 0.5, 2, 5.5, 9])
    sums = [0, 1.2, 2.05, 2.35, 2.2, 1.6, 1.2, 1.25, 1.45, 2.0, 2.9]
    bed = Description(BED.format(carriage=""))
    answer = adjust([Run(1, "level", MIDDLES, face="front", reading=slopes)], bed)
    bends = np.zeros((9, len(answer.columns)))
    for i in range(9):
        for j, weight in zip(range(i, i + 3), (1, -2, 1), strict=True):
            bends[i, answer.columns[place("height", "front", 100.0 * j)]] = weight
    assert answer.is_known(bends).all()
    np.testing.assert_allclose(bends @ answer.estimate, np.diff(sums, 2), atol=1e-12)
    assert answer.redundancy == 0


@pytest.mark.parametrize("bears", ["ends", "average"])
@pytest.mark.parametrize("seed", [0, *(pytest.param(each, marks=pytest.mark.statistics) for each in (1, 2))])
def test_carriers_whose_feet_fall_between_stations_leave_the_truth_within_reach(bears, seed):
    """Ways that are cubics (which a cubic through four heights meets exactly), a carriage of 230 mm
    and a stand of 90 mm: whatever the map adds for shapes between its stations, the truth stays in."""
    rng = np.random.default_rng(seed)
    bed = Description(BED.format(carriage=f'carriage_length_mm = 230\ncarriage_bears = "{bears}"'))
    within = STATIONS[2:-2]
    carried = Run(4, "cross", within, front="front", rear="rear", reference="carriage")
    runs = [Run(1, "level", MIDDLES, face="front"), Run(2, "level", MIDDLES, face="rear")]
    runs += [Run(3, "cross", STATIONS, front="front", rear="rear"), carried]
    runs += [Run(5, "dial", within, face="table", reference="carriage")]
    runs += [Run(6, "level", within, face="carriage"), Run(7, "dial", within, face="rear", reference="front")]
    shapes = {name: np.polynomial.Polynomial(rng.normal(0, 20, 4)) for name in ("front", "rear", "table")}
    survey = _of_heights(bed, runs, lambda kind, name, x: shapes[name](np.asarray(x) / 500 - 1), rng)
    bed_map = combined(survey)
    for face in ("front", "rear", "table"):
        profile = bed_map.profile(face)
        truth = survey.world("height", face, profile.station_mm)
        straighten = np.eye(len(truth)) - _onto_lines(profile.station_mm)
        error = straighten @ (profile.height_um - truth)
        u = np.sqrt(np.diag(straighten @ profile.covariance_um2 @ straighten.T))
        assert np.all(np.abs(error) <= MOST_U * u + 1e-9)


def test_sag_is_as_unsure_in_the_mean_as_it_is_in_shape():
    """A straightedge left as it lay while two ways were read from it, one in its middle, one at
    its ends: how much more it hangs in the middle is in their difference, and unsure by a tenth."""
    bed = Description(BED.format(carriage=""))
    edge = {"instrument": "plain", "reference": "straightedge:heavy"}
    bed = Description(bed.text + PLAIN)
    runs = [Run(1, station_mm=STATIONS[3:8], face="front", **edge)]
    runs += [Run(2, station_mm=STATIONS[[0, 1, 2, 5, 8, 9, 10]], face="rear", same_zero_as=1, **edge)]
    assert faults(_of_random_heights(bed, runs)) == []


PLAIN = '[instruments.plain]\nquantity = "offset"\nunit = "um"\nstandard_uncertainty = 0.2\nseating_um = 0\n'


def _onto_lines(station_mm: np.ndarray) -> np.ndarray:
    lines = np.vander(station_mm / 1000, 2)
    return lines @ np.linalg.pinv(lines)


def _of_random_heights(bed: Description, runs: list[Run]) -> Survey:
    rng = np.random.default_rng(5)
    heights = {("height", name): rng.normal(0, 20, len(STATIONS)) for name in bed.tables["faces"]}
    heights[("edge", "heavy")] = np.zeros(len(STATIONS))
    survey = Survey(bed, (), heights)
    return replace(survey, runs=take(runs, bed, survey.world, rng))


def _of_heights(bed: Description, runs: list[Run], world, rng: np.random.Generator) -> Survey:
    truth = {("height", name): world("height", name, STATIONS) for name in bed.tables["faces"]}
    return Survey(bed, take(runs, bed, world, rng), truth)
