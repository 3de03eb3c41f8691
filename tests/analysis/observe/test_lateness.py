"""Readings that lag their position, drawn there and back: seen, and put back to where they were true."""

import numpy as np
import pytest

from analysis.adjust.combination import combine
from analysis.linear.reference_lines import remove_line
from analysis.words.facts import sentences

LENGTH, BASE = 1500, 200
LEVEL = 'quantity = "slope"\nunit = "um/m"\nbase_mm = 200\nstandard_uncertainty = 0.5\nseating_um = 0'


def worn(x):
    return 5 * np.sin(2 * np.pi * x / 420) - 25 * np.exp(-(((x - 700) / 180) ** 2))


def bow(x):
    return 4e-5 * (x - 750) ** 2


@pytest.fixture
def there_and_back(invented_bed, make_traverse):
    """Two drawn traverses, the way back four times as fast, readings `lag_s` late."""

    def make(height, lag_s, *, seed=1, is_timed=True):
        bed = invented_bed(LENGTH, 100, instruments={"level": LEVEL})
        rng = np.random.default_rng(seed)
        x = np.arange(BASE / 2, LENGTH - BASE / 2 + 1, 1.0)
        runs = []
        for direction, way, speed in (("forward", 1, 5.0), ("reverse", -1, 20.0)):
            then = np.clip(x - way * speed * lag_s, x[0], x[-1])  # it stands before it goes
            slope = (height(then + BASE / 2) - height(then - BASE / 2)) / BASE * 1000
            time = (x - x[0] if way > 0 else x[-1] - x) / speed
            runs.append(
                make_traverse(
                    bed,
                    "level",
                    x,
                    slope + rng.normal(0, 0.5, len(x)) + rng.normal(0, 100),
                    face="front-flat",
                    mode="continuous",
                    direction=direction,
                    time_s=time if is_timed else None,
                )
            )
        return combine(runs, bed)

    return make


def errors(bed_map, height):
    """Error over standard uncertainty at the stations, the least-squares line removed."""
    level = remove_line(bed_map.profile("front-flat"), "least-squares")
    truth = height(level.station_mm)
    truth = truth - np.polyval(np.polyfit(level.station_mm, truth, 1), level.station_mm)
    return level.height_um - truth, level.standard_uncertainty_um


@pytest.mark.statistics
def test_lag_is_said_and_the_map_is_right_with_it_and_off_without(there_and_back):
    told, untold = (there_and_back(worn, 0.7, is_timed=known) for known in (True, False))
    words = " ".join(sentences(told.warnings))
    assert "readings of level lag the position by 0.70 ± 0.0" in words and "taken into account" in words
    assert "lag" not in " ".join(sentences(untold.warnings))
    off, sure = errors(told, worn)
    assert np.mean(np.abs(off) <= 2 * sure) > 0.9 and np.sqrt(np.mean((off / sure) ** 2)) < 1.4
    biased = errors(untold, worn)[0]
    assert np.max(np.abs(biased)) > 4 * np.max(np.abs(off))


@pytest.mark.statistics
def test_readings_on_time_are_left_where_they_are(there_and_back):
    assert "position" not in " ".join(sentences(there_and_back(worn, 0.0).warnings))


@pytest.mark.statistics
@pytest.mark.parametrize("seed", range(3))
def test_pure_bow_is_left_alone_without_a_word(there_and_back, seed):
    """Every shift of a parabola is a tilt: nothing could be told, and nothing is lost."""
    found = there_and_back(bow, 0.7, seed=seed)
    assert "position" not in " ".join(sentences(found.warnings))
    off, sure = errors(found, bow)
    assert np.max(np.abs(off / sure)) < 4
