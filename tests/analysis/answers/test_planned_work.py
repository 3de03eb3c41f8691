"""The turned part before and after the plan. Derived; the truth is invented."""

import numpy as np
import pytest

from acquire.model.bed import Face
from analysis.adjust.combination import combine
from analysis.answers.flanks import flank_components
from analysis.answers.plan import plan_faces
from analysis.answers.planned_work import before_and_after_plan, metal_planned
from analysis.draw.figures.work import work_figure
from analysis.words.work import work_words

X = np.arange(0.0, 1001.0, 100.0)
MIDDLE = X[:-1] + 50
BED = "centre_height_mm = 250\ncarriage_length_mm = 200"
FACES = {
    "front": 'normal = "up"\nacross_mm = 0\ncarriage = "front"',
    "rear": 'normal = "up"\nacross_mm = 300\ncarriage = "rear"',
    "wall": 'normal = "rear"\nacross_mm = -60',
}
WORN = {"front": -40 * np.sin(np.pi * X / 1000) ** 2, "rear": -10 * np.sin(np.pi * X / 1000) ** 2}


@pytest.fixture
def bed_map(invented_bed, make_traverse):
    """Two flat ways, a straight wall that guides the carriage, no errors but the stated."""
    bed = invented_bed(bed=BED, faces=FACES)
    runs = [
        make_traverse(bed, "level", MIDDLE, np.diff(WORN[face]) / 0.1, face=face, direction=way)
        for face in ("front", "rear")
        for way in ("forward", "reverse")
    ]
    runs.append(
        make_traverse(bed, "cross", X, (WORN["rear"] - WORN["front"]) / 0.3, front="front", rear="rear")
    )
    runs.append(make_traverse(bed, "dial", X, 0 * X, face="wall", reference="line"))
    return combine(runs, bed)


def test_ways_cut_straight_and_parallel_turn_an_even_part(bed_map):
    """Invented truth: the front is worn 40, the rear 10; 2 · 250/300 · 30 µm on the diameter."""
    found = before_and_after_plan(bed_map, guide="wall")
    assert found.varies_um > 30
    assert found.after_plan.varies_um < 1.0
    assert not found.after_plan.is_seen
    assert found.after_plan.standard_uncertainty_um == pytest.approx(found.standard_uncertainty_um, rel=0.01)
    assert any("Once the ways are cut as planned" in words for words in work_words(found, False))
    assert work_figure(found).axes


@pytest.mark.parametrize("form", ["ridge", "groove"])
def test_flanks_cut_apart_move_a_vee_as_wear_does(bed_map, form):
    """Against the geometry that flanks are planned by: V sin a ∓ S cos a, S with its sign in a groove."""
    vee = Face("front", "up", "vee", form, (40.0, 50.0), 0.0)
    plan = plan_faces(bed_map, ["front"]).plans["front"]
    flat = np.ones_like(plan.removal.station_mm)
    object.__setattr__(plan, "flank_um", {"front": 30 * flat, "rear": 10 * flat})
    object.__setattr__(plan, "sideways_is_known", True)
    cut = metal_planned(vee, plan)
    down, aside = cut[("height", "front")][1][0], cut[("side", "front")][1][0]
    depths = [up * down + rearwards * aside for up, rearwards in flank_components(vee)]
    assert depths == pytest.approx([30, 10])
