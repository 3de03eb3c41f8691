"""The invented bed recorded by the very recorder, and what is made of it."""

from pathlib import Path

import numpy as np
import pytest

from acquire import demo
from acquire.commands.record import command as record_command
from acquire.commands.traverse_options import asked_of
from acquire.demo import imported, jobs_of, make_survey, record, recovered, wind_words
from acquire.model.errors import SurveyError
from acquire.model.traverse import FLAGS
from acquire.record.setup_checks import make_setup
from acquire.reduce.written.imported import readings_imported
from acquire.simulated import jobs
from acquire.simulated.catalogue import SPEAKING
from acquire.simulated.ports import open_lines
from acquire.simulated.truth import InventedBed
from acquire.store import read_traverse, survey_bed

pytestmark = pytest.mark.whole

BED = InventedBed(1)


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A survey of the invented bed with its lines open."""
    folder = tmp_path_factory.mktemp("invented") / "survey"
    with open_lines(SPEAKING) as ports:
        make_survey(folder, BED, ports)
        yield folder, survey_bed(folder), ports


def recorded(bench, job, seed=5):
    folder, described, ports = bench
    performance = job.perform(BED, seed)
    recording = record(folder, described, job, performance, ports, lambda seconds: None)
    return read_traverse(recording.path), performance


@pytest.mark.parametrize(
    "job",
    [
        jobs.level_steps(BED, "front-vee"),
        jobs.level_steps(BED, "rear-flat", "reverse"),
        jobs.cross_level_steps(BED),
        jobs.indicator_steps(BED, direction="reverse"),
        jobs.level_marks(BED, "rear-flat"),
    ],
    ids=lambda job: job.words,
)
def test_stepped_recording_recovers_the_truth_within_its_stated_uncertainty(bench, job):
    traverse, _ = recorded(bench, job)
    stations, instrument = traverse.stations, job.instruments[job.asked["instrument"]]
    truth = instrument.task.reading(BED, stations.station_mm)
    error = stations.reading - truth - np.mean(stations.reading - truth)
    seat = np.std(instrument.task.seating(BED, np.random.default_rng(1), 4000, instrument.seating_um))
    drift = instrument.drift_per_hour * np.ptp(stations.time_s) / 3600 / np.sqrt(12)
    stated = np.sqrt(stations.standard_uncertainty**2 + seat**2 + drift**2)
    assert traverse.mode == "stepped" and traverse.complete
    # With n readings, Bonferroni: one in a thousand right recordings exceeds 4.2 somewhere.
    assert np.abs(error / stated).max() < 4.2
    # Chi-square with 7 degrees, the fewest here, leaves this range once in five hundred.
    assert 0.25 < np.sqrt(np.mean((error / stated) ** 2)) < 1.75


def test_wind_is_told_beside_the_invented_one_of_the_stretch_whose_roll_is_known():
    """By hand: + where the rear way rises over the front one from the first known station to the last."""
    bed = InventedBed(2)
    front, rear = "front-vee", "rear-flat"
    rises = {
        face: float(np.diff(bed.height_um(face, np.array([100.0, 1500.0])))[0]) for face in (front, rear)
    }
    gauge_m = (bed.faces[rear].across_mm - bed.faces[front].across_mm) / 1000
    found = {"front": front, "rear": rear, "station_mm": [0, 100, 1500], "roll_um_per_m": [None, 4.0, 7.0]}
    words = wind_words(bed, found | {"wind_um_per_m": 3.0})
    assert f"found +3.0 µm/m, invented {(rises[rear] - rises[front]) / gauge_m:+.1f} µm/m" in words


def test_every_station_of_the_script_is_found(bench):
    traverse, _ = recorded(bench, jobs.cross_level_steps(BED))
    assert traverse.stations.station_mm == pytest.approx(np.arange(0, 1601, 100.0))


def test_continuous_recording_recovers_the_slopes_of_the_truth(bench):
    job = jobs.level_feed(BED, "front-vee")
    traverse, _ = recorded(bench, job)
    stations = traverse.stations
    truth = job.instruments["long-level"].task.reading(BED, stations.station_mm)
    error = stations.reading - truth - np.mean(stations.reading - truth)
    assert traverse.mode == "continuous"
    # White 1 and slow 0.4 µm/m, drift 20 µm/m an hour for two minutes; a shift of one sample
    # in position alone would read 0.6 mm · 1 µm/m per mm more.
    assert np.sqrt(np.mean(error**2)) < 1.5


def test_same_seed_gives_the_same_bytes_and_stations_through_real_ports(bench):
    job = jobs.level_steps(BED, "front-vee")
    (one, played), (two, _) = recorded(bench, job), recorded(bench, job)
    for name, sent in played.sent.items():
        assert one.streams[name].raw == two.streams[name].raw == sent.data
        assert np.array_equal(one.streams[name].arrival_s, two.streams[name].arrival_s)
    assert np.array_equal(one.stations.reading, two.stations.reading)


def test_sockets_give_the_same_recording_as_terminals(bench, tmp_path):
    """What the bench falls back on where there are no pseudo-terminals, twice over the same door."""
    folder, job = tmp_path / "survey", jobs.level_steps(BED, "front-vee")
    one, played = recorded(bench, job)
    with open_lines(SPEAKING, loopback=True) as ports:
        make_survey(folder, BED, ports)
        over_sockets = (folder, survey_bed(folder), ports)
        recorded(over_sockets, jobs.level_marks(BED, "rear-flat"))
        two, _ = recorded(over_sockets, job)
    for name, sent in played.sent.items():
        assert two.streams[name].raw == sent.data
        assert np.array_equal(one.streams[name].arrival_s, two.streams[name].arrival_s)
    # A network has no speed of its line: the ten milliseconds on the wire are not taken off.
    assert one.stations.reading == pytest.approx(two.stations.reading, abs=0.2)


def test_garbled_lines_are_counted_in_the_file(bench):
    traverse, played = recorded(bench, jobs.cross_level_steps(BED))
    bad = int(played.sent["cross-level"].is_garbled.sum())
    flags = traverse.streams["cross-level"].flag
    assert bad > 0
    assert 0 < np.sum(flags == FLAGS["garbled"]) <= bad
    assert "garbled" in traverse.events.kind


def test_folder_that_holds_something_is_refused_and_left_alone(tmp_path):
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(SurveyError, match="new folder"):
        make_survey(tmp_path, BED, {})
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_demo_ends_with_the_first_command_that_fails_and_its_code(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(demo, "jobs_of", lambda bed, is_quick: [])
    ran = []

    def run(words):
        ran.append(words[0])
        return 7 if len(ran) == 2 else 0

    assert demo.run_demo(tmp_path / "survey", 1, True, run) == 7
    assert ran[0] == "import" and len(ran) == 2
    assert f"`waylog {ran[1]}` did not succeed" in capsys.readouterr().err


def test_readings_by_hand_are_understood_and_near_the_truth(bench):
    folder, described, _ = bench
    words = imported(folder, BED, seed=1)
    setup = make_setup(described, folder, source="import", face="tail-flat", instrument="vial")
    stations = readings_imported(setup, Path(words[2]).read_bytes()).stations
    x = stations.station_mm
    rise = (BED.height_um("tail-flat", x + 100) - BED.height_um("tail-flat", x - 100)) / 0.2
    assert np.std(stations.reading - rise) < 6


def test_quick_demo_is_part_of_the_whole():
    quick, whole = ({job.words for job in jobs_of(BED, is_quick)} for is_quick in (True, False))
    assert quick < whole


def answer_of(error_um, uncertainty_um=1.0):
    """What `map --json` would say of front-vee with this error at each station."""
    station = np.arange(0, 1601, 200.0)
    truth = BED.height_um("front-vee", station)
    height = truth - np.interp(station, station[[0, -1]], truth[[0, -1]]) + error_um
    return {
        "face": "front-vee",
        "station_mm": [*station, 1700.0],
        "height_um": [*height, None],
        "standard_uncertainty_um": [0.0, *[uncertainty_um] * (len(station) - 2), 0.0, None],
    }


def test_right_map_is_found_right():
    found = recovered(BED, answer_of(np.zeros(9)))
    assert found.worst_um < 1e-9 and found.agrees and found.inside == 7


def test_map_that_is_wrong_at_one_station_is_found_wrong_there():
    error = np.zeros(9)
    error[3] = -4.0
    found = recovered(BED, answer_of(error))
    assert (found.worst_um, found.inside, found.agrees) == (pytest.approx(4.0), 6, False)
    assert found.rms_um == pytest.approx(4 / np.sqrt(7))
    assert "NOT within" in found.words() and "600 mm" in found.words() and "0.16 thou" in found.words()


@pytest.mark.parametrize("job", jobs_of(BED, is_quick=False), ids=lambda job: job.words)
def test_printed_words_mean_to_record_what_the_demo_records(bench, job):
    folder, described, _ = bench
    options = record_command.make_context("record", [str(folder), *job.arguments]).params
    said = {**asked_of(options, options["face"]), "position": options["position"]}
    assert make_setup(described, folder, **said) == make_setup(described, folder, **job.asked)
