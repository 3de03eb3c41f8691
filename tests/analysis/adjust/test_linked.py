"""What is said beside one face's map is about runs that bear on it.  Beds and readings are invented."""

import numpy as np
import pytest

from analysis.adjust.combination import adjusted, combine
from analysis.adjust.nuisances import linked_traverses
from analysis.adjust.there_and_back import Return
from analysis.answers.face_map import map_face
from analysis.observe import observe_all

MIDDLES = np.arange(50.0, 1000.0, 100.0)
STATIONS = np.arange(0.0, 1001.0, 100.0)


@pytest.fixture
def bed(invented_bed):
    return invented_bed()


@pytest.fixture
def level(bed, make_traverse):
    """One run of the level along a face, its readings bowed by so much towards its end."""

    def make(number, face, direction="forward", bowed=0.0, seed=0, **setup):
        rng = np.random.default_rng([number, seed])
        slope = rng.normal(0, 1.0, 10) + bowed * np.linspace(-1, 1, 10)
        return make_traverse(
            bed, "level", MIDDLES, slope, face=face, direction=direction, number=number, **setup
        )

    return make


def there_and_back(level, **setup):
    """Front bowed between its two runs; rear read once."""
    return [
        level(1, "front-flat"),
        level(2, "front-flat", "reverse", bowed=60.0),
        level(3, "rear-flat", **setup),
    ]


def bows_said(bed_map, face):
    return [fact for fact in map_face(bed_map, face).warnings if isinstance(fact, Return)]


@pytest.mark.statistics
def test_bow_of_runs_on_another_face_is_not_said_where_nothing_links_the_two(level, bed):
    bed_map = combine(there_and_back(level), bed)
    assert bows_said(bed_map, "front-flat") and not bows_said(bed_map, "rear-flat")
    assert linked_traverses(bed_map.observations, "front-flat") == {1, 2}
    assert linked_traverses(bed_map.observations, "rear-flat") == {3}


def test_bow_is_said_on_every_face_that_a_zero_links_to_it(level, bed):
    bed_map = adjusted(observe_all(there_and_back(level, same_zero_as=1), bed), bed)
    assert bows_said(bed_map, "rear-flat")
    assert linked_traverses(bed_map.observations, "rear-flat") == {1, 2, 3}


@pytest.mark.statistics
def test_bow_is_said_on_every_face_that_readings_link_to_it(level, bed, make_traverse):
    roll = make_traverse(bed, "cross", STATIONS, np.zeros(11), front="front-flat", rear="rear-flat", number=4)
    bed_map = combine([*there_and_back(level), roll], bed)
    assert bows_said(bed_map, "rear-flat")
    assert linked_traverses(bed_map.observations, "rear-flat") == {1, 2, 3, 4}


def test_reading_of_a_run_that_is_not_linked_changes_no_height(level, bed):
    one, other = (combine([level(1, "front-flat", seed=seed), level(3, "rear-flat")], bed) for seed in (0, 1))
    assert other.profile("rear-flat").height_um == pytest.approx(one.profile("rear-flat").height_um, abs=1e-9)
    assert np.ptp(other.profile("front-flat").height_um - one.profile("front-flat").height_um) > 0.1
