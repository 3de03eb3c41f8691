"""Which heights are unknowns, and places between them."""

import numpy as np
import pytest

from analysis.adjust.combination import combine
from analysis.adjust.hypothetical import predict
from analysis.adjust.nodes import lay_out
from analysis.level.cumulative import heights_from_slopes
from analysis.observe import observe
from analysis.observe.terms import interpolation_rows

STATION = np.arange(0.0, 1001.0, 100.0)
MIDDLE = np.arange(50.0, 1000.0, 100.0)
INSTRUMENT = 'quantity = "slope"\nunit = "um/m"\nbase_mm = 100\nstandard_uncertainty = 1\nseating_um = 0'


def test_cubic_is_exact_for_cubics_and_a_line_outside():
    nodes = np.array([0.0, 100, 180, 300, 400])
    at = np.array([40.0, 150.0, 390.0])
    assert interpolation_rows(nodes, at) @ (nodes / 100) ** 3 == pytest.approx((at / 100) ** 3)
    (outside,) = interpolation_rows(nodes, np.array([450.0]))
    assert outside @ nodes == pytest.approx(450.0)
    assert np.flatnonzero(outside).tolist() == [3, 4]


def test_place_within_half_a_millimetre_is_the_node_itself():
    nodes = np.array([0.0, 100.0, 200.0])
    assert interpolation_rows(nodes, np.array([100.4])).tolist() == [[0.0, 1.0, 0.0]]


def test_place_between_feet_is_read_off_the_four_nearest():
    """A dip 300 mm wide under feet every 50 mm."""
    feet = np.arange(0.0, 1001.0, 50)

    def dip(x):
        return -40 * np.exp(-(((x - 480) / 150) ** 2))

    at = np.array([260.0, 410.0, 555.0, 640.0])
    assert interpolation_rows(feet, at) @ dip(feet) == pytest.approx(dip(at), abs=0.3)


def test_stations_read_off_a_scale_still_form_one_chain(invented_bed, make_traverse):
    """Positions a millimetre off the planned ones must not break a stepped level into pieces."""
    rng = np.random.default_rng(1)
    bed = invented_bed()
    run = make_traverse(bed, "level", MIDDLE + rng.uniform(-0.9, 0.9, 10), np.ones(10), face="front-flat")
    bed_map = combine([run], bed)
    assert bed_map.profile("front-flat").station_mm.tolist() == STATION.tolist()


def test_feet_off_the_stations_become_nodes_of_their_own(invented_bed, make_traverse):
    bed = invented_bed()
    run = make_traverse(bed, "level", MIDDLE[:9] + 30, np.ones(9), face="front-flat")
    assert combine([run], bed).profile("front-flat").station_mm == pytest.approx(STATION[:10] + 30)


def test_indicator_between_the_feet_of_a_level_is_interpolated(invented_bed, make_traverse):
    """Readings at 50, 150, … on a way levelled at 0, 100, …: truth is a parabola, which a cubic follows."""
    bed = invented_bed()

    def height(x):
        return 1e-4 * (x - 500) ** 2

    level = (height(MIDDLE + 50) - height(MIDDLE - 50)) * 10
    runs = [
        make_traverse(bed, "level", MIDDLE, level, face="front-flat"),
        make_traverse(bed, "dial", MIDDLE, height(MIDDLE), face="front-flat", reference="line"),
    ]
    bed_map = combine(runs, bed)
    assert bed_map.lines[("height", "front-flat")].is_whole
    assert bed_map.chi_square == pytest.approx(0.0, abs=1e-12)
    profile = bed_map.profile("front-flat")
    assert profile.station_mm.tolist() == STATION.tolist()


def test_a_mix_is_mapped_at_the_stations_and_a_level_alone_at_its_feet(invented_bed, make_traverse):
    bed = invented_bed(pitch_mm=50)
    level = make_traverse(bed, "long-level", np.arange(100.0, 1000, 200), np.zeros(5), face="front-flat")
    station = np.arange(0.0, 1001.0, 50)
    dial = make_traverse(bed, "dial", station, np.zeros(21), face="front-flat", reference="line")
    assert combine([level], bed).profile("front-flat").station_mm.tolist() == [0, 200, 400, 600, 800, 1000]
    assert combine([level, dial], bed).profile("front-flat").station_mm.tolist() == station.tolist()


def test_nodes_are_in_the_order_of_the_faces(invented_bed, make_traverse):
    bed = invented_bed()
    run = make_traverse(bed, "dial", STATION, np.zeros(11), face="front-flat", reference="rear-flat")
    layout = lay_out([observe(run, bed)], bed)
    assert [node.owner for node in layout.nodes] == ["front-flat"] * 11 + ["rear-flat"] * 11


def test_height_between_feet_far_apart_is_known_no_better_than_the_way_is_rough(invented_bed, make_traverse):
    """A level stepped by 200 mm on a jagged way: what it says of 300 mm is worth little, and it says so."""
    bed = invented_bed(2000)
    jagged = np.array([0, 12, -9, 4, 15, -11, 8, -3, 10, -7, 2.0])
    level = make_traverse(
        bed, "long-level", np.arange(100.0, 2000, 200), np.diff(jagged) * 5, face="front-flat", number=1
    )
    tied = make_traverse(
        bed, "dial", [0, 200, 400], jagged[:3], face="front-flat", reference="line", number=2
    )
    again = make_traverse(
        bed, "dial", [200, 300, 400], [0, 0, 0], face="front-flat", reference="line", number=3, same_zero_as=2
    )
    found = predict(combine([level, tied], bed), observe(again, bed))
    assert found.is_known.all()
    assert found.standard_uncertainty[1] > 5.0 > 2 * found.standard_uncertainty[[0, 2]].max()


def test_a_level_of_an_odd_base_is_mapped_at_its_feet(invented_bed, make_traverse):
    """Feet that meet exactly are not moved to a station a millimetre away: a sum by hand has them there."""
    bed = invented_bed(instruments={"level": INSTRUMENT.replace("100", "101")})
    slopes = np.array([3.0, -1, 4, -1, 5, -9, 2, 6, -5])
    run = make_traverse(bed, "level", 50.5 + 101.0 * np.arange(9), slopes, face="front-flat")
    found = combine([run], bed).profile("front-flat")
    assert found.station_mm.tolist() == (101.0 * np.arange(10)).tolist()
    by_hand = heights_from_slopes(slopes, 101.0)
    left = found.height_um - by_hand
    assert np.polyval(np.polyfit(found.station_mm, left, 1), found.station_mm) == pytest.approx(
        left, abs=1e-9
    )
