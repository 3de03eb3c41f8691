"""How far the saddle comes down, and what follows for apron, rack and lining: derived, truth invented."""

import re
from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest

from acquire.model.errors import AnalysisError
from analysis.adjust.combination import combine
from analysis.answers import plan
from analysis.answers.joint_cut import NothingLeavesUntouched
from analysis.answers.saddle import Lining, saddle_drop
from analysis.draw.figures.saddle import saddle_figure
from analysis.words.saddle import saddle_words

X = np.arange(0.0, 1001.0, 100.0)
MIDDLE = X[:-1] + 50
INSTRUMENTS = {
    "level": 'quantity = "slope"\nunit = "um/m"\nbase_mm = 100\nstandard_uncertainty = 1\nseating_um = 0.0',
    "cross": 'quantity = "roll"\nunit = "um/m"\nstandard_uncertainty = 1\nseating_um = 0.0',
}
WORN = np.where((X > 150) & (X < 850), -1.0, 0.0)


@pytest.fixture(scope="module")
def worn(from_one, invented_bed):
    """Both ways worn evenly between 200 and 800 mm: planned, all comes down to there."""
    make_traverse = from_one()

    @cache
    def make(unworn="unworn_mm = [[0, 100], [900, 1000]]"):
        deep = {"front": 180.0, "rear": 120.0}
        faces = {
            side: f'normal = "up"\nacross_mm = {at}\ncarriage = "{side}"\n{unworn}'
            for side, at in (("front", 0), ("rear", 300))
        }
        bed = invented_bed(faces=faces, instruments=INSTRUMENTS)
        runs = [
            make_traverse(bed, "level", MIDDLE, np.diff(deep[side] * WORN) / 0.1, face=side, direction=way)
            for side in ("front", "rear")
            for way in ("forward", "reverse")
        ]
        roll = (deep["rear"] - deep["front"]) * WORN / 0.3
        runs.append(make_traverse(bed, "cross", X, roll, front="front", rear="rear"))
        return combine(runs, bed)

    return make


@pytest.fixture(scope="module")
def carried_out(worn):
    """The drop of an apron 100 in front of both ways."""
    return saddle_drop(worn(), -100.0)


def test_drop_at_the_apron_is_carried_across_from_both_ways(carried_out):
    """180 front, 120 rear, gauge 300, apron 100 in front: 200; the saddle leans rear high by 200 µm/m."""
    found = carried_out
    middle = (found.station_mm > 250) & (found.station_mm < 750)
    assert found.at_apron_um[middle] == pytest.approx(200, abs=0.01)
    assert found.roll_um_per_m[middle] == pytest.approx(200, abs=0.01)
    assert found.rack_play_um == pytest.approx(2 * np.tan(np.radians(20)) * found.at_apron_um.max())


def test_lining_takes_the_mean_drop_of_each_way_into_account(worn):
    found = saddle_drop(worn(), 0.0, lining=Lining(1.5, 0.1, 0.1))
    off = {each.way: each.mill_off_mm for each in found.mill_off}
    assert off == pytest.approx({"front": 1.5 - 0.18, "rear": 1.5 - 0.12}, abs=0.001)
    assert any("mill 1.320 mm off the saddle" in words for words in saddle_words(found, False))
    assert saddle_figure(found).axes


def test_ways_that_no_plan_leaves_without_wind_are_refused_in_words(worn, monkeypatch):
    clash = NothingLeavesUntouched(((0.0, 100.0),))
    monkeypatch.setattr(plan, "plan_faces", lambda *_, **__: SimpleNamespace(infeasible=clash))
    with pytest.raises(AnalysisError, match="no plan leaves front and rear without wind") as refused:
        saddle_drop(worn(), 0.0)
    assert "NothingLeaves" not in str(refused.value)


def test_way_without_an_unworn_stretch_has_nothing_to_count_from(worn):
    with pytest.raises(AnalysisError, match="no unworn stretch"):
        saddle_drop(worn(unworn=""), 0.0)


def test_place_of_the_apron_is_taken_from_bed_toml_and_asked_for_where_it_is_not(worn, carried_out):
    bed_map = worn()
    with pytest.raises(AnalysisError, match="apron_mm"):
        saddle_drop(bed_map)
    placed = replace(bed_map, bed=replace(bed_map.bed, apron_mm=-100.0))
    assert saddle_drop(placed).at_apron_um == pytest.approx(carried_out.at_apron_um)


@pytest.mark.parametrize(
    "apron_mm",
    [-300.0, *(pytest.param(each, marks=pytest.mark.statistics) for each in (600.0, -60.0, 150.0))],
)
def test_drop_at_an_apron_beside_the_ways_is_as_unsure_as_its_arm_makes_it(worn, apron_mm):
    """Derived: at p the drop is (1 − p/G) d_f + (p/G) d_r, the ways levelled apart, so that their errors are
    independent; an apron a gauge in front of both was told to the ± of the ways themselves, √5 too sure."""
    found = saddle_drop(worn(), apron_mm)
    # both ways were run alike there and back, so that both are as sure: that of each is that of the greater
    each = found.standard_uncertainty_um
    least = np.hypot((1 - apron_mm / 300) * each, apron_mm / 300 * each)
    assert np.all(found.at_apron_standard_uncertainty_um >= least * (1 - 1e-9))
    assert np.all(found.at_apron_standard_uncertainty_um <= 1.5 * least)
    worst = int(np.argmax(found.at_apron_um))
    said = re.search(r"± ([\d.]+) µm", saddle_words(found, False)[0])
    assert float(said[1]) == pytest.approx(2 * found.at_apron_standard_uncertainty_um[worst], rel=0.1)


def test_ways_known_at_no_place_in_common_are_refused(make_traverse, invented_bed):
    """Feet at 0, 130, 260 ... mm on the one, at 65, 195 ... on the other (invented): a traceback before."""
    unworn = "unworn_mm = [[0, 300], [800, 1300]]"
    faces = {
        side: f'normal = "up"\nacross_mm = {at}\ncarriage = "{side}"\n{unworn}'
        for side, at in (("front", 0), ("rear", 300))
    }
    level = INSTRUMENTS["level"].replace("base_mm = 100", "base_mm = 130")
    bed = invented_bed(length_mm=1300, faces=faces, instruments={**INSTRUMENTS, "level": level})
    runs = [
        make_traverse(bed, "level", middle, np.zeros(middle.size), face=side, same_zero_as=same)
        for side, middle, same in (
            ("front", np.arange(65.0, 1300, 130), None), ("rear", np.arange(130.0, 1200, 130), 1),
        )
    ]  # fmt: skip
    with pytest.raises(AnalysisError, match="no station at which both front and rear are known"):
        saddle_drop(combine(runs, bed), 0.0)
