"""A drawn block asked for again is not solved again, and one that differs by a bit is."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.adjust.combination import combine
from analysis.level.solved_once import REMEMBERED, SolvedOnce
from analysis.observe import continuous


@pytest.fixture
def solved(monkeypatch):
    """How often blocks were solved, counted from nothing remembered."""
    asked = []
    plain = continuous.heights_from_continuous_slopes

    def counting(*arguments, **options):
        asked.append(1)
        return plain(*arguments, **options)

    monkeypatch.setattr(continuous, "_solved", SolvedOnce(counting))
    return asked


@pytest.fixture
def drawn(invented_bed, make_traverse):
    """A level drawn along a face; read anew each time, from the same seed."""
    bed = invented_bed(pitch_mm=50)

    def make():
        x = np.arange(50.0, 951.0, 10.0)
        reading = 30 * np.sin(x / 150) + np.random.default_rng(3).normal(0, 0.2, len(x))
        return make_traverse(bed, "level", x, reading, mode="continuous", face="front-flat", number=1)

    make.bed = bed
    return make


def test_same_readings_opened_again_are_solved_once_and_one_that_differs_in_its_last_bit_anew(drawn, solved):
    first, again = combine([drawn()], drawn.bed), combine([drawn()], drawn.bed)
    assert len(solved) == 1
    one, other = first.profile("front-flat"), again.profile("front-flat")
    assert np.array_equal(one.height_um, other.height_um)
    assert np.array_equal(one.covariance_um2, other.covariance_um2)
    run = drawn()
    reading = run.stations.reading.copy()
    reading[7] = np.nextafter(reading[7], np.inf)
    combine([replace(run, stations=replace(run.stations, reading=reading))], drawn.bed)
    assert len(solved) == 2


def test_few_results_are_remembered():
    once = SolvedOnce(lambda value: np.full(3, value))
    first = once(0.0)
    for value in range(1, REMEMBERED):
        once(float(value))
    assert once(0.0) is first
    for value in range(REMEMBERED):
        once(100.0 + value)
    assert once(0.0) is not first
