import numpy as np
import pytest

from acquire.simulated.truth import KINDS, Dip, InventedBed, Shape

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


def test_bed_with_only_wind_has_straight_ways_whose_roll_grows_steadily():
    bed = InventedBed(2, kind="wind")
    for face in ("front-vee", "rear-flat"):
        assert np.ptp(np.diff(bed.height_um(face, STATIONS_MM))) < 1e-9
    roll = bed.roll_um_per_m("front-vee", "rear-flat", STATIONS_MM)
    assert np.ptp(np.diff(roll)) < 1e-9
    assert abs(roll[-1] - roll[0]) > 10


def test_straight_bed_is_straight():
    bed = InventedBed(5, kind="straight")
    assert all(np.ptp(bed.height_um(face, STATIONS_MM)) == 0 for face in bed.faces)


def test_dip_is_its_depth_in_the_middle_and_nothing_outside():
    dip = Dip(depth_um=40, at_mm=500, length_mm=600)
    assert dip.height_um(np.array([199.0, 500.0, 350.0, 801.0])) == pytest.approx([0, -40, -20, 0])


def test_bow_is_measured_from_its_ends_to_its_middle():
    assert Shape(length_mm=1000, bow_um=-12).height_um([0, 250, 500, 1000]) == pytest.approx([0, -9, -12, 0])


def test_roughness_is_as_rough_as_stated():
    bed = InventedBed(4)
    smooth = Shape(1600, ripples=bed.faces["front-vee"].shape.ripples)
    assert np.std(smooth.height_um(np.linspace(0, 1600, 16001))) == pytest.approx(0.06, rel=0.1)


def test_flat_leads_nothing_sideways_and_vee_does():
    bed = InventedBed(1)
    assert np.ptp(bed.side_um("front-vee", STATIONS_MM)) > 5
    with pytest.raises(ValueError, match="rear-flat"):
        bed.side_um("rear-flat", 100.0)


def test_unknown_kind_is_refused_with_the_known_ones():
    with pytest.raises(ValueError, match=r"bananas.*worn"):
        InventedBed(1, kind="bananas")


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_is_finite_beyond_its_ends(kind):
    bed = InventedBed(9, kind=kind)
    assert all(np.isfinite(bed.height_um(face, [-200.0, 1800.0])).all() for face in bed.faces)
