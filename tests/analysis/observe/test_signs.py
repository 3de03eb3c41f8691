"""What a reading means: signs of every kind of reading, on heights set by hand.

Each expected reading is worked out from where things have gone, not from the program's forms.
"""

import numpy as np
import pytest

from acquire.model.errors import AnalysisError
from analysis.observe import observe

X = [300.0]


def reading(observations, heights=None, side=None, edge=None):
    """What forms make of heights given as functions of the station."""
    kinds = {"height": heights or {}, "side": side or {}, "edge": edge or {}}
    return [
        sum(w * kinds[p.kind].get(p.owner, lambda x: 0.0)(p.station_mm) for p, w in form.items()) + correction
        for form, correction in zip(observations.forms, observations.correction, strict=True)
    ]


def rising(x):
    """2 µm over 100 mm: 20 µm/m."""
    return 0.02 * x


def test_level_reads_a_way_that_rises_away_from_the_headstock_as_plus(invented_bed, make_traverse):
    bed = invented_bed()
    run = observe(make_traverse(bed, "level", X, [0], face="front-flat"), bed)
    assert reading(run, {"front-flat": rising}) == pytest.approx([20.0])
    turned = observe(make_traverse(bed, "level", X, [0], face="front-flat", turned=True), bed)
    assert reading(turned, {"front-flat": rising}) == pytest.approx([-20.0])


def test_level_on_a_face_that_looks_down_reads_the_negative(invented_bed, make_traverse):
    """Metal standing proud downwards away from the headstock is a surface that falls."""
    bed = invented_bed()
    run = observe(make_traverse(bed, "level", X, [0], face="front-under"), bed)
    assert reading(run, {"front-under": rising}) == pytest.approx([-20.0])


def test_level_on_a_side_face_is_refused_but_an_autocollimator_is_not(invented_bed, make_traverse):
    base = 'quantity = "slope"\nunit = "um/m"\nbase_mm = 100\nstandard_uncertainty = 1\n'
    bed = invented_bed(instruments={"level": base, "collimator": base + "gravity = false"})
    with pytest.raises(AnalysisError, match="a level cannot see sideways"):
        observe(make_traverse(bed, "level", X, [0], face="front-side"), bed)
    run = observe(make_traverse(bed, "collimator", X, [0], face="front-side"), bed)
    assert reading(run, {"front-side": rising}) == pytest.approx([20.0])


def test_cross_level_reads_the_rear_way_higher_as_plus(invented_bed, make_traverse):
    """3 µm over 300 mm across is 10 µm/m."""
    bed = invented_bed()
    run = observe(make_traverse(bed, "cross", X, [0], front="front-flat", rear="rear-flat"), bed)
    assert reading(run, {"rear-flat": lambda x: 3.0}) == pytest.approx([10.0])
    assert reading(run, {"front-flat": lambda x: 3.0}) == pytest.approx([-10.0])
    turned = observe(
        make_traverse(bed, "cross", X, [0], front="front-flat", rear="rear-flat", turned=True), bed
    )
    assert reading(turned, {"rear-flat": lambda x: 3.0}) == pytest.approx([-10.0])


def test_cross_level_on_side_faces_is_refused(invented_bed, make_traverse):
    bed = invented_bed()
    with pytest.raises(AnalysisError, match="look up or down"):
        observe(make_traverse(bed, "cross", X, [0], front="front-side", rear="rear-side"), bed)


def test_indicator_reads_a_proud_face_as_plus_and_a_proud_reference_as_minus(invented_bed, make_traverse):
    bed = invented_bed()
    run = observe(make_traverse(bed, "dial", X, [0], face="rear-flat", reference="front-flat"), bed)
    assert reading(run, {"rear-flat": lambda x: 5.0}) == pytest.approx([5.0])
    assert reading(run, {"front-flat": lambda x: 5.0}) == pytest.approx([-5.0])


def test_indicator_reading_an_underside_from_the_top_adds_the_two(invented_bed, make_traverse):
    """Carrier lifted by 5 µm takes the plunger, which points up, 5 µm into the underside."""
    bed = invented_bed()
    run = observe(make_traverse(bed, "dial", X, [0], face="front-under", reference="front-flat"), bed)
    assert reading(run, {"front-under": lambda x: 5.0}) == pytest.approx([5.0])
    assert reading(run, {"front-flat": lambda x: 5.0}) == pytest.approx([5.0])


def test_reference_at_right_angles_is_refused_except_a_vee(invented_bed, make_traverse):
    bed = invented_bed()
    with pytest.raises(AnalysisError, match="right angles"):
        observe(make_traverse(bed, "dial", X, [0], face="rear-side", reference="front-flat"), bed)
    with pytest.raises(AnalysisError, match="right angles"):
        observe(make_traverse(bed, "dial", X, [0], face="front-flat", reference="rear-side"), bed)
    run = observe(make_traverse(bed, "dial", X, [0], face="rear-side", reference="vee"), bed)
    assert reading(run, side={"vee": lambda x: 4.0}) == pytest.approx([-4.0])
    run = observe(make_traverse(bed, "dial", X, [0], face="front-side", reference="vee"), bed)
    assert reading(run, side={"vee": lambda x: 4.0}) == pytest.approx([4.0])


def test_caliper_outside_adds_and_inside_subtracts(invented_bed, make_traverse):
    bed = invented_bed()
    heights = {"front-flat": lambda x: 3.0, "front-under": lambda x: 4.0}
    outside = observe(make_traverse(bed, "caliper", X, [0], face="front-flat", other="front-under"), bed)
    assert reading(outside, heights) == pytest.approx([7.0])
    inside = observe(
        make_traverse(bed, "caliper", X, [0], face="front-flat", other="front-under", inside=True), bed
    )
    assert reading(inside, heights) == pytest.approx([-7.0])


def test_span_needs_opposite_faces_or_a_roller_in_a_vee(invented_bed, make_traverse):
    bed = invented_bed()
    with pytest.raises(AnalysisError, match="opposite ways"):
        observe(make_traverse(bed, "caliper", X, [0], face="front-flat", other="rear-flat"), bed)
    with pytest.raises(AnalysisError, match="roller in a vee"):
        observe(make_traverse(bed, "caliper", X, [0], face="front-flat"), bed)
    roller = observe(make_traverse(bed, "caliper", X, [0], face="vee"), bed)
    assert reading(roller, {"vee": lambda x: 6.0}) == pytest.approx([6.0])


def test_linked_parallels_carry_at_the_height_interpolated_across(invented_bed, make_traverse):
    """A quarter of the way from the front face: three parts front, one part rear."""
    faces = {
        "front": 'normal = "up"\nacross_mm = 0',
        "rear": 'normal = "up"\nacross_mm = 400',
        "middle": 'normal = "up"\nacross_mm = 100',
    }
    bed = invented_bed(faces=faces)
    run = observe(make_traverse(bed, "dial", X, [0], face="middle", reference="front+rear"), bed)
    assert reading(run, {"front": lambda x: 4.0}) == pytest.approx([-3.0])
    assert reading(run, {"rear": lambda x: 4.0}) == pytest.approx([-1.0])


DIAL_ON_FEET = """quantity = "offset"
unit = "um"
standard_uncertainty = 1
carrier_feet_mm = 100
overhang_along_mm = 100"""


def test_pitch_of_the_carrier_acts_on_its_overhang(invented_bed, make_traverse):
    """40 µm/m on 100 mm is 4 µm: a bent reference tips the stand, a straight tilted one changes nothing."""
    bed = invented_bed(instruments={"dial": DIAL_ON_FEET})
    run = observe(make_traverse(bed, "dial", X, [0], face="rear-flat", reference="front-flat"), bed)
    assert reading(run, {"front-flat": rising, "rear-flat": rising}) == pytest.approx([0.0])

    def lifted_far_foot(x):
        return 4.0 if x == 250.0 else 0.0

    # the stand's middle is at 200 mm, its feet at 150 and 250: the middle rises 2 µm, the pitch is 40 µm/m
    assert reading(run, {"front-flat": lifted_far_foot}) == pytest.approx([-(2.0 + 4.0)])


def test_yaw_of_the_carrier_acts_on_its_overhang(invented_bed, make_traverse):
    """Both sides run off to the rear alike, 20 µm/m: a stand that follows the one reads nothing on the other,
    however far ahead its plunger is. A guide bent sideways turns it: 40 µm/m on 100 mm are 4 µm."""
    bed = invented_bed(instruments={"dial": DIAL_ON_FEET})
    run = observe(make_traverse(bed, "dial", X, [0], face="rear-side", reference="front-side"), bed)
    # outward of the front side is to the front, so that going to the rear it falls
    assert reading(run, {"front-side": lambda x: -rising(x), "rear-side": rising}) == pytest.approx([0.0])

    def far_foot_to_the_rear(x):
        return -4.0 if x == 250.0 else 0.0

    # the middle goes 2 µm to the rear and the plunger, 100 mm ahead, 4 µm more, away from a face behind it
    (moved,) = reading(run, {"front-side": far_foot_to_the_rear})
    (still,) = reading(run, {"rear-side": lambda x: 6.0})
    assert abs(moved) == pytest.approx(6.0) and moved == pytest.approx(-still)


def test_overhang_without_a_bearing_length_is_refused(invented_bed, make_traverse):
    text = 'quantity = "offset"\nunit = "um"\nstandard_uncertainty = 1\noverhang_along_mm = 100'
    bed = invented_bed(instruments={"dial": text})
    with pytest.raises(AnalysisError, match="carrier_feet_mm"):
        observe(make_traverse(bed, "dial", X, [0], face="rear-flat", reference="front-flat"), bed)


def test_roll_of_the_carriage_acts_on_the_height_of_the_arm(invented_bed, make_traverse):
    """Rear way 3 µm up over 300 mm: 10 µm/m, which takes a plunger 150 mm above it 1.5 µm to the front."""
    faces = {
        "vee": 'normal = "up"\nshape = "vee"\nform = "ridge"\nvee_angle_deg = 90\nacross_mm = 0\n'
        'carriage = "front"',
        "flat": 'normal = "up"\nacross_mm = 300\ncarriage = "rear"',
        "side": 'normal = "front"\nacross_mm = -50',
    }
    dial = 'quantity = "offset"\nunit = "um"\nstandard_uncertainty = 1\narm_height_mm = 150'
    bed = invented_bed(faces=faces, instruments={"dial": dial}, bed="carriage_length_mm = 200")
    run = observe(make_traverse(bed, "dial", X, [0], face="side", reference="carriage"), bed)
    # the face looks to the front: a plunger taken 1.5 µm to the front moves away from it
    assert reading(run, {"flat": lambda x: 3.0}) == pytest.approx([-1.5])
    assert reading(run, side={"vee": lambda x: 2.0}) == pytest.approx([2.0])


@pytest.mark.parametrize("bears", ["ends", "average"])
def test_level_on_the_carriage_reads_its_pitch(invented_bed, make_traverse, bears):
    faces = {
        "vee": 'normal = "up"\nacross_mm = 0\ncarriage = "front"',
        "flat": 'normal = "up"\nacross_mm = 300\ncarriage = "rear"',
    }
    bed = invented_bed(faces=faces, bed=f'carriage_length_mm = 200\ncarriage_bears = "{bears}"')
    run = observe(make_traverse(bed, "level", X, [0], face="carriage"), bed)
    assert reading(run, {"vee": rising, "flat": rising}) == pytest.approx([20.0])
    assert reading(run, {"vee": rising}) == pytest.approx([10.0])


def test_carriage_bears_on_its_ends_or_on_all_of_its_length(invented_bed, make_traverse):
    """Over a parabola h = x²: mean of the ends L²/4, mean of all of it L²/12."""
    faces = {
        "vee": 'normal = "up"\nacross_mm = 0\ncarriage = "front"',
        "flat": 'normal = "up"\nacross_mm = 300\ncarriage = "rear"',
    }
    both = {name: (lambda x: ((x - 300.0) / 100) ** 2) for name in faces}
    for bears, mean in (("ends", 1.0), ("average", 1.0 / 3)):
        bed = invented_bed(
            faces={**faces, "read": 'normal = "up"\nacross_mm = 150'},
            bed=f'carriage_length_mm = 200\ncarriage_bears = "{bears}"',
        )
        run = observe(make_traverse(bed, "dial", X, [0], face="read", reference="carriage"), bed)
        assert reading(run, both) == pytest.approx([-mean])


def test_cross_level_on_the_carriage_reads_the_roll_of_its_ways(invented_bed, make_traverse):
    faces = {
        "vee": 'normal = "up"\nacross_mm = 0\ncarriage = "front"',
        "flat": 'normal = "up"\nacross_mm = 300\ncarriage = "rear"',
    }
    bed = invented_bed(faces=faces, bed="carriage_length_mm = 200")
    run = observe(make_traverse(bed, "cross", X, [0], front="vee", rear="flat", reference="carriage"), bed)
    assert reading(run, {"flat": lambda x: 3.0}) == pytest.approx([10.0])
    lone = {"flat": lambda x: 3.0 if x == 200.0 else 0.0}
    assert reading(run, lone) == pytest.approx([5.0])


def test_level_on_a_carriage_of_unknown_length_is_refused(invented_bed, make_traverse):
    faces = {"vee": 'normal = "up"\nacross_mm = 0\ncarriage = "front"'}
    bed = invented_bed(faces=faces)
    with pytest.raises(AnalysisError, match="carriage_length_mm"):
        observe(make_traverse(bed, "level", X, [0], face="carriage"), bed)


def test_unknown_face_or_station_outside_the_bed_is_refused(invented_bed, make_traverse):
    bed = invented_bed()
    with pytest.raises(AnalysisError, match="'nowhere'"):
        observe(make_traverse(bed, "level", X, [0], face="nowhere"), bed)
    with pytest.raises(AnalysisError, match="within the bed"):
        observe(make_traverse(bed, "level", [1500.0], [0], face="front-flat"), bed)
    with pytest.raises(AnalysisError, match="no reading"):
        observe(make_traverse(bed, "level", X, [np.nan], face="front-flat"), bed)


@pytest.mark.parametrize(
    ("front", "rear", "proud", "slope"),
    [
        ("front-flat", "rear-flat", {"rear-flat": 3.0}, 10.0),
        ("front-flat", "rear-flat", {"front-flat": 3.0}, -10.0),
        ("front-under", "rear-flat", {"front-under": 3.0}, 10.0),
        ("front-under", "rear-flat", {"rear-flat": 3.0}, 10.0),
    ],
)
def test_cross_level_reads_which_side_is_higher_whichever_way_a_face_looks(
    invented_bed, make_traverse, front, rear, proud, slope
):
    """3 µm over 300 mm are 10 µm/m; metal proud on an underside lies lower, so that the rear is higher."""
    bed = invented_bed()
    for turned, sign in ((False, 1), (True, -1)):
        run = observe(make_traverse(bed, "cross", X, [0], front=front, rear=rear, turned=turned), bed)
        heights = {face: (lambda x, um=um: um) for face, um in proud.items()}
        assert reading(run, heights) == pytest.approx([sign * slope])


def test_both_feet_of_a_cross_level_seat_anew(invented_bed, make_traverse):
    """√2·0.6 µm over 300 mm are 2.83 µm/m, beside the 1 of a reading."""
    cross = 'quantity = "roll"\nunit = "um/m"\nstandard_uncertainty = 1\nseating_um = 0.6'
    bed = invented_bed(instruments={"cross": cross})
    run = observe(make_traverse(bed, "cross", X, [0], front="front-flat", rear="rear-flat"), bed)
    assert run.variance == pytest.approx([1.0 + 2 * (0.6 / 0.3) ** 2])
