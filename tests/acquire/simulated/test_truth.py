import numpy as np
import pytest

from acquire.simulated.truth import Dip, InventedBed, InventedFace, Shape

STATIONS_MM = np.linspace(0, 1600, 321)


def test_same_seed_gives_the_same_bed_to_the_last_digit():
    one, two = InventedBed(7), InventedBed(7)
    for face in one.faces:
        assert np.array_equal(one.height_um(face, STATIONS_MM), two.height_um(face, STATIONS_MM))


def test_another_seed_gives_another_bed():
    one, two = InventedBed(7), InventedBed(8)
    assert not np.allclose(one.height_um("front-vee", STATIONS_MM), two.height_um("front-vee", STATIONS_MM))


@pytest.mark.parametrize("seed", range(5))
def test_worn_bed_has_its_deepest_wear_on_the_front_way_near_the_headstock(seed):
    bed = InventedBed(seed)
    height = bed.height_um("front-vee", STATIONS_MM)
    level = height - np.interp(STATIONS_MM, STATIONS_MM[[0, -1]], height[[0, -1]])
    assert level.min() < -25
    assert 250 < STATIONS_MM[level.argmin()] < 650


def test_roll_of_straight_ways_that_climb_apart_grows_steadily():
    """By hand: 20 µm/m over 1.6 m are 32 µm, over a gauge of 0.25 m 128 µm/m."""
    front, rear = InventedFace("up", 0.0, Shape()), InventedFace("up", 250.0, Shape(rise_um_per_m=20.0))
    roll = InventedBed(faces={"front": front, "rear": rear}).roll_um_per_m("front", "rear", STATIONS_MM)
    assert roll == pytest.approx(np.linspace(0, 128, STATIONS_MM.size))


def test_dip_is_its_depth_in_the_middle_and_nothing_outside():
    dip = Dip(depth_um=40, at_mm=500, length_mm=600)
    assert dip.height_um(np.array([199.0, 500.0, 350.0, 801.0])) == pytest.approx([0, -40, -20, 0])


def test_bow_is_measured_from_its_ends_to_its_middle():
    assert Shape(length_mm=1000, bow_um=-12).height_um([0, 250, 500, 1000]) == pytest.approx([0, -9, -12, 0])


def test_roughness_is_as_rough_as_stated():
    bed = InventedBed(4)
    smooth = Shape(1600, ripples=bed.faces["front-vee"].shape.ripples)
    assert np.std(smooth.height_um(np.linspace(0, 1600, 16001))) == pytest.approx(0.06, rel=0.1)


def test_bed_is_finite_beyond_its_ends():
    bed = InventedBed(9)
    assert all(np.isfinite(bed.height_um(face, [-200.0, 1800.0])).all() for face in bed.faces)
