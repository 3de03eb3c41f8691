"""One level drawn there and back along two faces without touching its zero: it goes on drifting in between.

Ways and drifts are invented; readings come from plain geometry, noise 0.5 µm/m, runs four minutes apart.
A level shows the rise of its far foot over its near one in space, whichever face it hangs under, and
the negative when it is turned.
"""

from datetime import UTC, datetime, timedelta
from functools import cache

import numpy as np
import pytest

from analysis.adjust.combination import combine
from analysis.answers.assumptions import assumptions
from analysis.answers.twist import RestsOnOneZero, twist_of
from analysis.words.facts import sentences

BEGAN = datetime(2026, 1, 5, 9, tzinfo=UTC)
MIDDLE = np.arange(50.0, 951.0, 10.0)
LEVEL = 'quantity = "slope"\nunit = "um/m"\nbase_mm = 100\nstandard_uncertainty = 0.5\nseating_um = 0'
APART_S = 240.0
BOTH = ("front-flat", "rear-flat")


def in_space(face):
    """Rise of the metal above a level line, in µm."""
    if face == "front-flat":
        return lambda x: -20 * np.exp(-(((x - 400) / 250) ** 2))
    return lambda x: 0.02 * x + 5 * np.sin(x / 300)


@pytest.fixture(scope="module")
def surveyed(invented_bed, from_one):
    """The map of runs there and back over the front flat and another face, with one zero; or one way."""
    make_traverse = from_one()

    @cache
    def make(
        other,
        per_s,
        *,
        seed=0,
        turned=False,
        is_timed=True,
        bent_um=0.0,
        one_way=(),
        stepped=(),
        chained=False,
    ):
        bed = invented_bed(instruments={"level": LEVEL})
        rng, runs = np.random.default_rng(seed), []
        for face in ("front-flat", other):
            for direction in ("forward",) if face in one_way else ("forward", "reverse"):
                number, start_s = len(runs) + 1, APART_S * len(runs)
                middle = MIDDLE[::10] if face in stepped else MIDDLE
                time_s = (middle - 50 if direction == "forward" else 950 - middle) / 5
                h = in_space(face)
                slope = (h(middle + 50) - h(middle - 50)) * 10
                if direction == "reverse":
                    slope = slope - 8 * bent_um * (middle - 500) / 1000
                is_turned = turned and face == other
                reading = (-1 if is_turned else 1) * slope + 12.0 + per_s * (start_s + time_s)
                runs.append(make_traverse(
                    bed, "level", middle, reading + rng.normal(0, 0.5, len(middle)),
                    mode="stepped" if face in stepped else "continuous",
                    face=face, direction=direction, turned=is_turned, number=number,
                    time_s=time_s if is_timed else None,
                    created_utc=(BEGAN + timedelta(seconds=start_s)).isoformat(),
                    same_zero_as=None if number == 1 else number - 1 if chained else 1,
                ))  # fmt: skip
        return combine(runs, bed)

    return make


def against_each_other(bed_map, other, sign):
    """Rise of the other face from end to end, plus the sign times that of the front; its uncertainty."""
    row = np.zeros((1, len(bed_map.nodes)))
    for face, weight in ((other, 1.0), ("front-flat", sign)):
        index = bed_map.indices(face)
        row[0, index[[0, -1]]] = -weight, weight
    found = bed_map.functional(row)
    return float(found.value_um[0]), float(found.covariance_um2[0, 0] ** 0.5)


ENDS = np.array([0.0, 1000.0])


@pytest.mark.parametrize(
    ("other", "turned", "normal", "sign", "per_s"),
    [
        pytest.param("rear-flat", False, 1, -1, 0.03, marks=pytest.mark.statistics),
        pytest.param("rear-flat", True, 1, 1, -0.03, marks=pytest.mark.statistics),
        ("front-under", False, -1, 1, 0.03),
    ],
)
def test_two_faces_with_one_drifting_zero_are_told_apart(surveyed, other, turned, normal, sign, per_s):
    """0.03 µm/m a second: 14 µm/m between the faces, so 14 µm of wind where it was not taken off (± 0.1).

    Of what the zero falls out: the difference of two rises; their sum where one was turned or looks down.
    """
    value, doubt = against_each_other(surveyed(other, per_s, turned=turned), other, sign)
    truth = normal * np.diff(in_space(other)(ENDS))[0] + sign * np.diff(in_space("front-flat")(ENDS))[0]
    assert doubt < 0.6
    assert abs(value - truth) < 3 * doubt


@pytest.mark.statistics
def test_zero_of_runs_that_tell_no_drift_may_have_moved_or_not(surveyed):
    """The bed bent by 3 µm before each return, which looks like a drift but for the means: both are held."""
    value, doubt = against_each_other(surveyed("rear-flat", 0.0, bent_um=3.0), "rear-flat", -1)
    truth = np.diff(in_space("rear-flat")(ENDS))[0] - np.diff(in_space("front-flat")(ENDS))[0]
    assert abs(value - truth) < 2 * doubt
    assert doubt > 5.0


def test_zero_used_on_one_face_only_makes_no_difference(surveyed):
    """Nothing shares it: there is no unknown for what it drifted."""
    bed_map = surveyed("rear-flat", 0.03)
    alone = combine(list(bed_map.observations[0].drawn_traverses), bed_map.bed)
    assert not any("of the zero" in key.of for key in alone.assembly.nuisances)
    assert any("of the zero" in key.of for key in bed_map.assembly.nuisances)


@pytest.mark.parametrize("one_way", [("rear-flat",), pytest.param(BOTH, marks=pytest.mark.statistics)])
def test_zero_of_a_level_drawn_one_way_is_not_taken_as_that_of_another_face(surveyed, one_way):
    """0.03 µm/m a second makes 7 µm/m until the next run begins: 7 µm of wind at ± 0.1 where it was."""
    bed_map = surveyed("rear-flat", 0.03, one_way=one_way)
    value, _ = against_each_other(bed_map, "rear-flat", -1)
    assert np.isnan(value)
    said = [words for words in sentences(bed_map.warnings) if "not taken as shared" in words]
    assert len(said) == len(one_way) and "run back along rear-flat without" in said[-1]
    assert bed_map.profile("rear-flat").station_mm.size == 11


@pytest.mark.statistics
def test_level_stepped_one_way_goes_on_drifting_as_it_did_there_and_back(surveyed):
    """Its zero untouched: 14 µm/m by the third run, and a bow in it, where no drift of it was known."""
    bed_map = surveyed("rear-flat", 0.03, one_way=("rear-flat",), stepped=BOTH)
    value, doubt = against_each_other(bed_map, "rear-flat", -1)
    truth = np.diff(in_space("rear-flat")(ENDS))[0] - np.diff(in_space("front-flat")(ENDS))[0]
    assert abs(value - truth) < 3 * doubt < 4.0
    assert "no drift" not in {each.what for each in assumptions(bed_map)}


@pytest.mark.statistics
@pytest.mark.parametrize(
    ("stepped", "chained"), [(("rear-flat",), False), (("front-flat",), True), ((), True)]
)
def test_untouched_zero_is_shared_by_drawn_and_stepped_runs_there_and_back(surveyed, stepped, chained):
    """Its drift shows on either face: nothing is left open, and nothing is said to be.

    Each run names the first as the one whose zero it has, or the one before it.
    """
    bed_map = surveyed("rear-flat", 0.03, stepped=stepped, chained=chained)
    value, doubt = against_each_other(bed_map, "rear-flat", -1)
    truth = np.diff(in_space("rear-flat")(ENDS))[0] - np.diff(in_space("front-flat")(ENDS))[0]
    assert abs(value - truth) < 3 * doubt < 6.0
    assert not any("not taken as shared" in words for words in sentences(bed_map.warnings))


def test_wind_that_rests_on_an_untouched_zero_alone_says_so(surveyed):
    """Levels stepped one way: a zero that moved by 1 µm/m tilts 1000 mm of one way, 250 mm from the other."""
    bed_map = surveyed("rear-flat", 0.0, one_way=BOTH, stepped=BOTH)
    runs = [source for each in bed_map.observations for source in each.sources]
    twist = twist_of(runs, bed_map.bed, "front-flat", "rear-flat")
    (fact,) = [each for each in twist.warnings if isinstance(each, RestsOnOneZero)]
    assert fact.wind_per_drift == pytest.approx(1000 / twist.gauge_mm)
    back = surveyed("rear-flat", 0.0, one_way=("rear-flat",), stepped=BOTH)
    runs = [source for each in back.observations for source in each.sources]
    assert not any(
        isinstance(each, RestsOnOneZero)
        for each in twist_of(runs, back.bed, "front-flat", "rear-flat").warnings
    )
