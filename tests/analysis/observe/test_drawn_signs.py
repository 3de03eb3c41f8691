"""A level drawn along, in the second case of every sign: turned, under a face that looks down, drifting.

What it would read is written from plain geometry: a level shows the rise of its far foot
over its near one in space, whichever face it hangs under, and the negative when turned.
"""

import numpy as np
import pytest

from analysis.adjust.combination import combine
from analysis.linear.reference_lines import remove_line

LENGTH, BASE = 1000.0, 100.0


def hollow(x):
    """Metal above the ends' line, in space; lopsided, so that no mirror hides a sign."""
    return -40 * np.exp(-(((np.asarray(x) - 350) / 180) ** 2))


@pytest.fixture
def drawn(invented_bed, make_traverse):
    """A level drawn along a face of a bed that rises by `tilt` µm/m; `zero` added to what it reads."""
    bed = invented_bed(pitch_mm=50)
    rng = np.random.default_rng(11)

    def make(face="front-flat", *, tilt=0.0, zero=0.0, drift=0.0, every_mm=1.0, **setup):
        x = np.arange(BASE / 2, LENGTH - BASE / 2 + 1, every_mm)
        in_space = (hollow(x + BASE / 2) - hollow(x - BASE / 2)) / BASE * 1000 + tilt
        order = np.arange(len(x)) if setup.get("direction") != "reverse" else np.arange(len(x))[::-1]
        reading = (-1 if setup.get("turned") else 1) * in_space + zero + drift * order / len(x)
        noise = rng.normal(0, 0.2, len(x))
        return make_traverse(bed, "level", x, reading + noise, mode="continuous", face=face, **setup)

    make.bed = bed
    return make


def there_and_back(drawn, *faces):
    """Runs both ways over each face, all with the zero of the first, which drifts by nothing."""
    runs = []
    for face, setup in faces:
        for direction in ("forward", "reverse"):
            same = {"same_zero_as": runs[0].number} if runs else {}
            runs.append(drawn(face, direction=direction, zero=15.0, **setup, **same))
    return runs


def worst_error(bed_map, face, height):
    """Largest error of the face's heights over the line through its ends, and the largest stated 2u."""
    found = remove_line(bed_map.profile(face), "ends")
    truth = height(found.station_mm)
    truth = truth - np.interp(found.station_mm, found.station_mm[[0, -1]], truth[[0, -1]])
    return np.max(np.abs(found.height_um - truth)), 2 * np.max(found.standard_uncertainty_um)


@pytest.mark.parametrize("turned", [pytest.param(False, marks=pytest.mark.statistics), True])
def test_face_that_looks_down_is_proud_where_its_metal_hangs_lower(drawn, turned):
    """Height is along the outward normal: what is hollow in space is proud on a face that looks down."""
    bed_map = combine([drawn("front-under", turned=turned, every_mm=5.0)], drawn.bed)
    assert worst_error(bed_map, "front-under", lambda x: -hollow(x))[0] < 0.7


@pytest.mark.statistics
def test_turned_and_unturned_runs_tell_one_shape(drawn):
    both = [drawn(zero=30.0), drawn(zero=-45.0, turned=True)]
    bed_map = combine(both, drawn.bed)
    assert worst_error(bed_map, "front-flat", hollow)[0] < 0.7


def rises(bed_map, signs):
    """Rise from end to end of several faces, each times its sign, summed, in µm; None where not known."""
    row = np.zeros((1, len(bed_map.nodes)))
    for face, sign in signs.items():
        index = bed_map.indices(face)
        row[0, index[[0, -1]]] = -sign, sign
    found = bed_map.functional(row)
    return float(found.value_um[0]) if found.is_known.all() else None


@pytest.mark.statistics
def test_shared_zero_of_runs_that_stood_alike_gives_the_wind_and_not_the_mean_tilt(drawn):
    runs = there_and_back(drawn, ("front-flat", {"tilt": 20.0}), ("rear-flat", {"tilt": 80.0}))
    bed_map = combine(runs, drawn.bed)
    assert rises(bed_map, {"front-flat": -1, "rear-flat": 1}) == pytest.approx(60.0, abs=0.5)
    assert rises(bed_map, {"front-flat": 1, "rear-flat": 1}) is None


@pytest.mark.statistics
def test_shared_zero_of_a_run_that_was_turned_gives_the_mean_tilt_and_not_the_wind(drawn):
    """t + z and −t' + z: the zero falls out of their difference, which is the sum of the tilts."""
    turned = ("rear-flat", {"tilt": 80.0, "turned": True})
    bed_map = combine(there_and_back(drawn, ("front-flat", {"tilt": 20.0}), turned), drawn.bed)
    of_shapes = 2 * float(hollow(LENGTH) - hollow(0.0))
    assert rises(bed_map, {"front-flat": 1, "rear-flat": 1}) == pytest.approx(100.0 + of_shapes, abs=0.5)
    assert rises(bed_map, {"front-flat": -1, "rear-flat": 1}) is None


@pytest.mark.statistics
def test_shared_zero_with_a_face_that_looks_down_gives_the_taper_between_them(drawn):
    """It rises in space by 80, so its height, downwards, falls by 80: the metal between tapers by −60."""
    runs = there_and_back(drawn, ("front-flat", {"tilt": 20.0}), ("front-under", {"tilt": 80.0}))
    bed_map = combine(runs, drawn.bed)
    assert rises(bed_map, {"front-flat": 1, "front-under": 1}) == pytest.approx(-60.0, abs=0.5)
    assert rises(bed_map, {"front-flat": -1, "front-under": 1}) is None


@pytest.mark.statistics
@pytest.mark.parametrize("drift", [-8.0, 8.0])
def test_falling_drift_is_taken_off_as_a_rising_one_is(drawn, drift):
    """A drift of 8 µm/m over a run of one metre bows it by a micrometre; there and back it cancels."""
    runs = [drawn(drift=drift, direction=way) for way in ("forward", "reverse")]
    assert worst_error(combine(runs, drawn.bed), "front-flat", hollow)[0] < 0.5
