"""What cannot be told, in words, on arrangements that nobody listed beforehand."""

import numpy as np
import pytest

from acquire.model.errors import AnalysisError
from analysis.adjust.combination import combine
from analysis.adjust.estimability import Line, tie
from analysis.words.facts import sentences

STATION = np.arange(0.0, 1001.0, 100.0)
MIDDLE = np.arange(50.0, 1000.0, 100.0)
ZEROS = np.zeros(11)


def words(bed_map):
    return " | ".join(w for w in sentences(bed_map.cannot_tell) if "nothing was measured" not in w)


@pytest.mark.statistics
def test_five_indicator_runs_from_one_face_tell_differences_alone(invented_bed, make_traverse):
    """Derived: the shape of no face, the difference of any two at every station, up to the runs' zeros."""
    faces = {f"face-{k}": f'normal = "up"\nacross_mm = {100 * k}' for k in range(6)}
    bed = invented_bed(2900, faces=faces)
    x = np.arange(0.0, 2901.0, 100.0)
    runs = [
        make_traverse(bed, "dial", x, np.sin(x / 200 + k), face=f"face-{k}", reference="face-0")
        for k in range(1, 6)
    ]
    bed_map = combine(runs, bed)
    assert len(x) == 30
    assert tuple(sentences(bed_map.cannot_tell)) == (
        "the shape of none of face-0, face-1, face-2, face-3, face-4 and face-5 can be known, only the "
        "difference of any two at every station, up to the zeros of the runs",
    )
    with pytest.raises(AnalysisError, match="known only against face-0"):
        bed_map.profile("face-3")
    found = bed_map.difference("face-4", "face-2").height_um
    truth = np.sin(x / 200 + 4) - np.sin(x / 200 + 2)
    assert found - found[0] == pytest.approx(truth - truth[0], abs=1e-9)


def test_carrier_on_feet_over_an_unknown_way_still_tells_the_difference(invented_bed, make_traverse):
    dial = 'quantity = "offset"\nunit = "um"\nstandard_uncertainty = 1\ncarrier_feet_mm = 90'
    bed = invented_bed(instruments={"dial": dial})
    run = make_traverse(bed, "dial", STATION, 0.1 * STATION, face="rear-flat", reference="front-flat")
    bed_map = combine([run], bed)
    assert bed_map.difference("rear-flat", "front-flat").height_um == pytest.approx(
        0.1 * STATION + bed_map.difference("rear-flat", "front-flat").height_um[0]
    )
    assert "the shape of neither front-flat nor rear-flat can be known, only their difference" in words(
        bed_map
    )


def test_cross_level_alone_tells_one_way_against_the_other(invented_bed, make_traverse):
    bed = invented_bed()
    bed_map = combine(
        [make_traverse(bed, "cross", STATION, ZEROS, front="front-flat", rear="rear-flat")], bed
    )
    assert words(bed_map) == (
        "the shape of neither front-flat nor rear-flat can be known, only their difference at every station, "
        "up to the zeros of the runs"
    )


def test_steps_of_half_a_base_make_two_chains(invented_bed, make_traverse):
    bed = invented_bed()
    x = np.arange(100.0, 901.0, 100.0)
    bed_map = combine([make_traverse(bed, "long-level", x, np.zeros(9), face="front-flat")], bed)
    assert "front-flat falls into 2 parts that nothing ties together" in words(bed_map)
    assert "no better than steps of a whole base" in words(bed_map)
    assert "the height of" not in words(bed_map)
    assert bed_map.profile("front-flat").station_mm.tolist() == [0, 200, 400, 600, 800, 1000]


def test_an_indicator_along_a_line_ties_the_two_chains(invented_bed, make_traverse):
    bed = invented_bed()
    x = np.arange(100.0, 901.0, 100.0)
    runs = [
        make_traverse(bed, "long-level", x, np.zeros(9), face="front-flat"),
        make_traverse(bed, "dial", STATION, ZEROS, face="front-flat", reference="line"),
    ]
    assert words(combine(runs, bed)) == ""


def test_gap_in_a_stepped_run_leaves_two_pieces(invented_bed, make_traverse):
    bed = invented_bed()
    kept = MIDDLE[MIDDLE != 350.0]
    bed_map = combine([make_traverse(bed, "level", kept, np.zeros(9), face="front-flat")], bed)
    assert (
        "front-flat falls into 2 parts that nothing ties together, (400, 500, 600, 700, 800, 900"
        not in words(bed_map)
    )
    assert "falls into 2 parts" in words(bed_map)
    assert bed_map.profile("front-flat").station_mm[0] == 400.0


def test_wedge_read_by_calipers_from_a_levelled_way_is_known_up_to_its_lie(invented_bed, make_traverse):
    bed = invented_bed()
    runs = [
        make_traverse(bed, "level", MIDDLE, np.zeros(10), face="front-flat"),
        make_traverse(bed, "caliper", STATION, 0.02 * STATION, face="front-flat", other="front-under"),
    ]
    bed_map = combine(runs, bed)
    assert bed_map.lines[("height", "front-under")].is_whole
    assert words(bed_map) == (
        "how high front-flat and front-under lie against each other is not known, only how "
        "that changes along the bed"
    )


def test_each_line_with_too_few_readings_is_unknown_by_itself(invented_bed, make_traverse):
    bed = invented_bed()
    two = [
        make_traverse(bed, "level", MIDDLE[::4], np.zeros(3), face=face)
        for face in ("front-flat", "rear-flat")
    ]
    unknown = "the shape of {} cannot be known: too few readings tie its stations together"
    for face in ("front-flat", "rear-flat"):
        assert unknown.format(face) in words(combine(two, bed))
    whole = make_traverse(bed, "level", MIDDLE, np.zeros(10), face="rear-flat")
    assert unknown.format("rear-flat") not in words(combine([two[0], whole], bed))
    assert "only their difference" not in words(combine(two, bed))


def test_only_faces_that_nothing_was_measured_on_are_said_to_be_so(invented_bed, make_traverse):
    bed = invented_bed(faces=dict.fromkeys(("one", "other"), 'normal = "up"'))
    runs = [make_traverse(bed, "level", MIDDLE, np.zeros(10), face=face) for face in bed.faces]
    said = "nothing was measured on"
    assert not any(said in each for each in sentences(combine(runs, bed).cannot_tell))
    assert any(f"{said} other" in each for each in sentences(combine(runs[:1], bed).cannot_tell))


def test_side_face_read_from_a_vee_tells_the_two_against_each_other(invented_bed, make_traverse):
    bed = invented_bed()
    run = make_traverse(bed, "dial", STATION, ZEROS, face="rear-side", reference="vee")
    assert words(combine([run], bed)) == (
        "the shape of neither rear-side nor vee sideways can be known, only their difference at every "
        "station, up to the zeros of the runs"
    )


def test_two_levels_with_own_zeros_leave_the_wind_open_and_a_cross_level_closes_it(
    invented_bed, make_traverse
):
    bed = invented_bed()
    levels = [make_traverse(bed, "level", MIDDLE, np.zeros(10), face=f) for f in ("front-flat", "rear-flat")]
    assert "the wind or taper between front-flat and rear-flat cannot be told" in words(combine(levels, bed))
    cross = make_traverse(bed, "cross", STATION, ZEROS, front="front-flat", rear="rear-flat")
    assert "wind" not in words(combine([*levels, cross], bed))


def test_island_of_faces_apart_from_the_rest_is_its_own_sentence(invented_bed, make_traverse):
    bed = invented_bed()
    runs = [
        make_traverse(bed, "level", MIDDLE, np.zeros(10), face="vee"),
        make_traverse(bed, "dial", STATION, ZEROS, face="rear-flat", reference="front-flat"),
    ]
    found = words(combine(runs, bed))
    assert "the shape of neither front-flat nor rear-flat can be known" in found
    assert "vee" not in found


def test_indicator_reaching_part_of_the_way_tells_that_part(invented_bed, make_traverse):
    bed = invented_bed()
    runs = [
        make_traverse(bed, "level", MIDDLE, np.zeros(10), face="front-flat"),
        make_traverse(bed, "dial", STATION[:6], np.zeros(6), face="rear-flat", reference="front-flat"),
        make_traverse(bed, "dial", STATION[5:], np.zeros(6), face="rear-flat", reference="vee"),
    ]
    bed_map = combine(runs, bed)
    assert bed_map.profile("rear-flat").station_mm.tolist() == [0, 100, 200, 300, 400, 500]
    assert "the height of rear-flat at 600, 700, 800, 900, 1000 mm cannot be known" in words(bed_map)


def test_faces_never_measured_are_named(invented_bed, make_traverse):
    bed = invented_bed()
    bed_map = combine([make_traverse(bed, "level", MIDDLE, np.zeros(10), face="vee")], bed)
    assert (
        "nothing was measured on front-flat, rear-flat, front-under, front-side and rear-side"
        in sentences(bed_map.cannot_tell)
    )


def test_what_arithmetic_leaves_between_two_results_for_a_station_parts_no_faces():
    """Feet that two bases put at one place: they differ in the last digits of their mm."""
    at = np.arange(5) * 100.0
    lines = [Line("height", name, at + off, np.ones((5, 1)), ()) for name, off in (("a", 0.0), ("b", 5e-8))]
    assert (tie(*lines, 1).stations, tie(*lines, 1).up_to) == (5, "nothing")
