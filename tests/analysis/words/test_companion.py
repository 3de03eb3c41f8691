"""What looks over the shoulder speaks only of what the survey knows; invented ways, seeded."""

import numpy as np
import pytest

from acquire.entry.doubts import doubt_of
from acquire.store import write_traverse
from analysis.words.companion import Companion
from tests.invented import survey_in

MIDDLES = np.arange(100.0, 1400, 200)
STATIONS = np.arange(0.0, 1401.0, 200.0)
LEVEL = 'quantity = "slope"\nunit = "um/m"\nbase_mm = 200\nstandard_uncertainty = 1.0\nseating_um = 0.0'
CROSS = 'quantity = "roll"\nunit = "um/m"\nstandard_uncertainty = 1.0\nseating_um = 0.0'
DIAL = 'quantity = "offset"\nunit = "um"\nstandard_uncertainty = 1.0\nseating_um = 0.0'
SCALED = LEVEL + "\nscale_uncertainty = 0.02"


@pytest.fixture
def bed(invented_bed):
    instruments = {"level": LEVEL, "cross": CROSS, "dial": DIAL, "scaled": SCALED}
    return invented_bed(length_mm=1400, pitch_mm=200, instruments=instruments)


@pytest.fixture
def companion(bed, make_traverse, tmp_path):
    """Of one run under way after others: `companion(runs, run)`."""
    survey_in(tmp_path, bed.text)

    def make(others, run):
        for each in others:
            name = (
                f"{each.setup.number:03d}-{each.setup.subject.replace('/', '-')}-{each.setup.instrument}.h5"
            )
            write_traverse(tmp_path / "traverses" / name, each)
        return Companion(tmp_path, run.setup)

    return make


def questions(companion, run):
    """The doubts about each reading of a run, taken in the order of its direction."""
    stations, asked = run.stations, []
    order = np.arange(len(stations))[:: -1 if run.setup.direction == "reverse" else 1]
    for k in range(1, len(order)):
        done = np.sort(order[:k])
        before = type(stations)(*(getattr(stations, name)[done] for name in COLUMNS))
        place, reading = stations.station_mm[order[k]], stations.reading[order[k]]
        prediction = companion.predict(before, place)
        if prediction is not None:
            asked.append(doubt_of(run.instrument, before, place, reading, prediction))
    return asked


COLUMNS = ("station_mm", "reading", "standard_uncertainty", "scatter", "samples", "repeat", "time_s")


def slopes(rng, size=60.0):
    """Readings on a way as uneven as they come: each step leans otherwise."""
    return rng.normal(0, size, len(MIDDLES))


def noise(rng, of):
    return rng.normal(0, 1.0, len(of))


def test_first_run_on_a_further_face_is_not_held_against_a_guess(bed, companion, make_traverse):
    """Each foot goes beyond the last one measured: nothing is known there."""
    rng = np.random.default_rng(5)
    front = make_traverse(bed, "level", MIDDLES, slopes(rng), face="front-flat", number=1)
    rear = make_traverse(bed, "level", MIDDLES, slopes(rng), face="rear-flat", number=2)
    assert questions(companion([front], rear), rear) == []


def test_run_after_an_interrupted_one_is_not_held_against_a_guess(bed, companion, make_traverse):
    """Three readings were taken, then a run begins anew at the far end: the gap is not known."""
    rng = np.random.default_rng(6)
    way = slopes(rng)
    cut = make_traverse(bed, "level", MIDDLES[:3], way[:3], face="front-flat", number=1)
    back = make_traverse(
        bed, "level", MIDDLES, way + 40 + noise(rng, way), face="front-flat", number=2, direction="reverse"
    )
    doubts = questions(companion([cut], back), back)
    assert doubts == [None]  # over the known feet the first two tell zero and drift, the third is checked


def test_return_of_a_drifting_level_is_not_questioned(bed, companion, make_traverse):
    """12 µm/m a reading, there and back: the bow is a drift, and goes on."""
    rng = np.random.default_rng(7)
    way, order = slopes(rng), np.arange(len(MIDDLES))
    there = make_traverse(bed, "level", MIDDLES, way + 12 * order, face="front-flat", number=1)
    back = make_traverse(
        bed, "level", MIDDLES, way + 500 + 12 * order[::-1] + noise(rng, way),
        face="front-flat", number=2, direction="reverse",
    )  # fmt: skip
    doubts = questions(companion([there], back), back)
    assert doubts and all(doubt is None for doubt in doubts)


def test_return_of_a_level_with_an_uncertain_scale_is_not_questioned(bed, companion, make_traverse):
    """The bed leans by 3000 µm/m, which is the zero's and not the scale's."""
    rng = np.random.default_rng(8)
    way = slopes(rng) + 3000
    runs = [
        make_traverse(
            bed,
            "scaled",
            MIDDLES,
            way + noise(rng, way),
            face="front-flat",
            number=number,
            direction=direction,
        )
        for number, direction in ((1, "forward"), (2, "forward"))
    ]
    doubts = questions(companion(runs[:1], runs[1]), runs[1])
    assert len(doubts) == len(MIDDLES) - 1 and all(doubt is None for doubt in doubts)


@pytest.mark.parametrize("off", [-20.0, 20.0])
def test_reading_that_the_first_run_contradicts_is_questioned(bed, companion, make_traverse, off):
    rng = np.random.default_rng(9)
    way = slopes(rng)
    first = make_traverse(bed, "level", MIDDLES, way, face="front-flat", number=1)
    wrong = np.where(MIDDLES == 900, off, 0.0)
    again = make_traverse(bed, "level", MIDDLES, way + 300 + wrong, face="front-flat", number=2)
    doubts = questions(companion([first], again), again)
    assert [doubt is not None for doubt in doubts] == [False, False, False, True, False, False]


@pytest.mark.statistics
def test_right_readings_are_seldom_questioned_whatever_was_measured_before(bed, companion, make_traverse):
    """Both ways levelled, a cross level and a dial after them; 5 standard uncertainties leave none."""
    rng = np.random.default_rng(10)
    ways = {face: np.append(0.0, np.cumsum(slopes(rng, 40.0)) * 0.2) for face in ("front-flat", "rear-flat")}
    there = [
        make_traverse(bed, "level", MIDDLES, np.diff(h) / 0.2 + noise(rng, MIDDLES), face=face, number=n)
        for n, (face, h) in enumerate(ways.items(), 1)
    ]
    rise = ways["rear-flat"] - ways["front-flat"]
    cross = make_traverse(
        bed, "cross", STATIONS, rise / 0.3 + noise(rng, rise), front="front-flat", rear="rear-flat", number=3
    )
    dial = make_traverse(
        bed, "dial", STATIONS, rise + noise(rng, rise), face="rear-flat", reference="front-flat", number=4
    )
    doubts = questions(companion(there, cross), cross) + questions(companion([cross], dial), dial)
    assert len(doubts) >= 12 and all(doubt is None for doubt in doubts)
