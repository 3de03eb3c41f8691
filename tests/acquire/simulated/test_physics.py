"""Readings on beds made by hand, where what must be read can be worked out on paper."""

import numpy as np
import pytest

from acquire.simulated.physics import UM_PER_M_PER_MM_S2, Offset, Position, Roll, Slope
from acquire.simulated.truth import Dip, InventedBed, InventedFace, Shape

X = np.arange(100.0, 1501.0, 100.0)


def face(normal="up", across_mm=0.0, **shape):
    return InventedFace(normal, across_mm, Shape(**shape))


@pytest.fixture
def windy():
    """Front way level, rear way climbing 40 µm/m, 250 mm behind it."""
    return InventedBed(faces={"front": face(), "rear": face(across_mm=250.0, rise_um_per_m=40.0)})


def test_wind_alone_is_a_steady_slope_and_a_growing_roll(windy):
    assert Slope("rear", 200).reading(windy, X) == pytest.approx(40.0)
    assert Slope("front", 200).reading(windy, X) == pytest.approx(0.0)
    assert Roll("front", "rear").reading(windy, X) == pytest.approx(X * 0.04 / 0.25)


def test_indicator_carried_on_the_front_reads_rear_minus_front(windy):
    assert Offset("rear", "front").reading(windy, X) == pytest.approx(0.04 * X)
    assert Offset("front", "rear").reading(windy, X) == pytest.approx(-0.04 * X)


def test_level_over_a_dip_reads_the_difference_of_its_feet():
    bed = InventedBed(faces={"way": face(dips=(Dip(40.0, 800.0, 400.0),))})
    reading = Slope("way", 200.0).reading(bed, np.array([100.0, 700.0, 800.0, 900.0]))
    # Feet at 600 and 800 mm: from the edge of the dip to its bottom, 40 µm in 0.2 m.
    assert reading == pytest.approx([0.0, -200.0, 0.0, 200.0])


def test_level_on_a_face_that_looks_down_reads_the_negative():
    bed = InventedBed(faces={"under": face("down", rise_um_per_m=10.0)})
    assert Slope("under", 200.0).reading(bed, X) == pytest.approx(-10.0)


def test_level_cannot_see_a_side_face():
    bed = InventedBed(faces={"side": face("rear", rise_um_per_m=10.0)})
    with pytest.raises(ValueError, match="cannot see"):
        Slope("side", 200.0).reading(bed, X)


def test_faces_that_look_opposite_ways_add_up_in_an_offset():
    bed = InventedBed(faces={"top": face(bow_um=-8.0), "under": face("down", bow_um=3.0)})
    middle = np.array([800.0])
    # The stand sinks by 8 µm towards the underside's plunger seat; the underside stands 3 µm proud.
    assert Offset("under", "top").reading(bed, middle) == pytest.approx([3.0 - 8.0])


def test_scale_reads_the_station_less_its_offset():
    assert Position(40.0).reading(InventedBed(faces={}), X) == pytest.approx(X - 40.0)


def test_seat_of_half_a_micrometre_a_foot_is_three_and_a_half_um_per_m_on_200_mm():
    # Derived: sqrt(2) · 0.5 µm / 0.2 m = 3.54 µm/m.
    bed, rng = InventedBed(faces={"way": face()}), np.random.default_rng(1)
    seats = Slope("way", 200.0).seating(bed, rng, 20_000, 0.5)
    assert np.std(seats) == pytest.approx(3.54, rel=0.02)


def test_tilt_from_acceleration_is_one_milliradian_for_a_thousandth_of_gravity():
    # Published (application notes on tilt sensors): 1 milli-g is 1 milliradian; 0.001 m/s² is 101.9716 µm/m.
    assert pytest.approx(101.9716, abs=1e-4) == UM_PER_M_PER_MM_S2
    assert pytest.approx(1000.0) == UM_PER_M_PER_MM_S2 * 9.80665
