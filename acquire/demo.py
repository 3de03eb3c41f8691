"""The whole job on an invented bed: recorded by the very recorder, mapped by the very commands.

Everything after the recordings goes through the table of commands with the words that
are printed; at the end the map is held against the invented truth.
"""

import io
import json
import os
import shlex
import sys
from collections.abc import Callable, Mapping, Sequence
from contextlib import redirect_stdout
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from statistics import NormalDist
from typing import Any

import numpy as np

from acquire.model.bed import Bed
from acquire.model.errors import AcquireError, SurveyError, told_as
from acquire.model.saying import say
from acquire.model.system import utc_now
from acquire.model.units import UM_PER_THOU
from acquire.record.recorder import Recorder, Recording
from acquire.record.setup_checks import make_setup
from acquire.simulated import jobs
from acquire.simulated.bench import Bench, SteppedClock
from acquire.simulated.catalogue import BASE_MM, SPEAKING, description, vial
from acquire.simulated.instruments import read_by_eye
from acquire.simulated.jobs import Job
from acquire.simulated.performance import Performance
from acquire.simulated.ports import SimulatedPort, open_lines
from acquire.simulated.truth import InventedBed
from acquire.store import survey_bed
from acquire.store.safe_files import write_file

Run = Callable[[Sequence[str]], int]
"""The table of commands: words in, exit code out."""
Ports = Mapping[str, SimulatedPort]

MAPPED = ("front-vee", "rear-flat")
BY_HAND = "tail-flat"
DESCRIBED = ("front-vee", BY_HAND, "rear-flat")
CHANCE = 0.01

INVENTED = """\
INVENTED: the bed, its shape and its instruments exist nowhere; a simulation makes them up.
The bytes, ports, recorder, files and sums are the real ones."""

CAUTIONS = """\
At a real machine, before anything goes on the bed: isolate it from the mains and lock it
off; keep hands, cables and stands clear of power feed, leadscrew and chuck; wire nothing
into the emergency stop or the control. Never scrape from one survey: repeat it, and confirm
with blue and a straightedge, for metal does not go back. Local codes and licensed practice
come first."""


def run_demo(folder: Path, seed: int, is_quick: bool, run: Run) -> int:
    """Make the survey, record, analyse, report, and say how far off the map is.

    Parameters
    ----------
    folder : Path
        The survey to make; a new or empty folder.
    seed : int
        Which invented bed.
    is_quick : bool
        Fewer traverses.
    run : callable
        Runs one command of waylog by its words.

    Returns
    -------
    int
        0, or the exit code of the first command that failed.
    """
    bed = InventedBed(seed)
    say(f"{INVENTED}\n\n{CAUTIONS}\n")
    with open_lines(SPEAKING) as ports:
        make_survey(folder, bed, ports)
        record_all(folder, bed, jobs_of(bed, is_quick), seed, ports)
    for words in (imported(folder, bed, seed), *analyses(folder)):
        say(f"\n$ waylog {shlex.join(words)}")
        sys.stdout.flush()
        if code := run(words):
            say(f"The demo ends here: `waylog {words[0]}` did not succeed.", err=True)
            return code
    return tell_recovered(folder, bed, run)


def make_survey(folder: Path, bed: InventedBed, ports: Ports) -> None:
    """A new survey folder with the description of the invented bed."""
    text = description(bed, {name: port.url for name, port in ports.items()}, faces=DESCRIBED)
    with told_as(SurveyError, folder, "cannot be written", "a place for the demo's survey", "name another"):
        if os.path.lexists(folder) and (not folder.is_dir() or any(folder.iterdir())):
            raise SurveyError(str(folder), "is there already", "a new folder", "name another one")
        folder.mkdir(parents=True, exist_ok=True)
        write_file(folder / "bed.toml", text.encode("utf-8"))


def jobs_of(bed: InventedBed, is_quick: bool) -> list[Job]:
    """The traverses of the demo, in the order of a day's work."""
    directions = ("forward",) if is_quick else ("forward", "reverse")
    steps = [jobs.level_steps(bed, face, direction) for face in MAPPED for direction in directions]
    # there and back: the drift of a single drawn run would look like a bow of the way
    feed = [] if is_quick else [jobs.level_feed(bed, "front-vee", direction) for direction in directions]
    across = [jobs.cross_level_steps(bed, direction=direction) for direction in directions]
    return [*steps, *feed, *across, jobs.indicator_steps(bed)]


def record_all(folder: Path, bed: InventedBed, work: Sequence[Job], seed: int, ports: Ports) -> None:
    """Record every traverse, and show how far it has come."""
    described = survey_bed(folder)
    played = [job.perform(bed, 1000 * seed + number) for number, job in enumerate(work)]
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn

    columns = (BarColumn(bar_width=24), TaskProgressColumn(), TextColumn("{task.description}", markup=False))
    with Progress(*columns, transient=True, disable=not sys.stdout.isatty()) as progress:
        say = partial(progress.console.print, markup=False, highlight=False, soft_wrap=True)
        bar = progress.add_task("", total=sum(performance.seconds for performance in played))
        done_s = 0.0
        for job, performance in zip(work, played, strict=True):
            say(f"$ waylog record {shlex.join([str(folder), *job.arguments])}")
            progress.update(bar, description=job.words)

            def shown(seconds: float, before_s: float = done_s) -> None:
                progress.update(bar, completed=before_s + seconds)

            recording = record(folder, described, job, performance, ports, shown)
            done_s += performance.seconds
            say(f"  traverse {recording.number}: {recording.seconds:.0f} s of readings, {job.words}")


def record(
    folder: Path,
    bed: Bed,
    job: Job,
    performance: Performance,
    ports: Ports,
    on_progress: Callable[[float], None],
) -> Recording:
    """Record one traverse by the recorder that records everything; its clock is stepped."""
    setup = make_setup(bed, folder, source="record", created_utc=utc_now(), **job.asked)
    with Bench(performance, ports, SteppedClock(), on_progress) as bench:
        recorder = Recorder(folder, setup, observers=[bench], clock=bench.clock)
        bench.start(on_mark=recorder.mark, on_end=recorder.stop)
        recording = recorder.run()
        bench.join()
    for fault in recorder.faults:
        raise AcquireError(f"traverse {recording.number:03d}", f"an onlooker failed ({fault})") from fault
    return recording


def imported(folder: Path, bed: InventedBed, seed: int) -> list[str]:
    """Write readings as a person writes them at the bed, and the words that import them."""
    rng = np.random.default_rng([seed, 2])
    middle_mm = np.arange(BASE_MM / 2, bed.length_mm - BASE_MM / 2 + 1, BASE_MM)
    divisions = read_by_eye(vial(BY_HAND), bed, middle_mm, rng)
    rows = [
        f"{middle - BASE_MM / 2:g},{middle + BASE_MM / 2:g},{reading:+.1f},"
        for middle, reading in zip(middle_mm, divisions, strict=True)
    ]
    rows[0] += "invented: read by eye"
    path = folder / "by-hand" / f"{BY_HAND}-vial.csv"
    path.parent.mkdir(exist_ok=True)
    path.write_text("\n".join(["from_mm,to_mm,reading (div),note", *rows]) + "\n", encoding="utf-8")
    return ["import", str(folder), str(path), "--face", BY_HAND, "--instrument", "vial"]


def analyses(folder: Path) -> list[list[str]]:
    """The commands that turn the recordings into answers."""
    survey = str(folder)
    return [
        *(["map", survey, face] for face in MAPPED),
        ["map", survey, BY_HAND],
        ["twist", survey],
        ["compare", survey, "rear-flat:level", "rear-flat:indicator"],
        ["combine", survey],
        ["next", survey],
        ["report", survey],
    ]


@dataclass(frozen=True, eq=False)
class Recovered:
    """A map held against the invented truth, the line through its ends taken off both."""

    face: str
    station_mm: np.ndarray
    error_um: np.ndarray
    standard_uncertainty_um: np.ndarray

    @property
    def worst_um(self) -> float:
        """Largest error."""
        return float(np.abs(self.error_um).max())

    @property
    def rms_um(self) -> float:
        """Root-mean-square error."""
        return float(np.sqrt(np.mean(self.error_um**2)))

    @property
    def inside(self) -> int:
        """At how many stations the error is within twice the stated standard uncertainty."""
        return int(np.sum(np.abs(self.error_um) <= 2 * self.standard_uncertainty_um))

    @property
    def agrees(self) -> bool:
        """Whether the largest error is one that chance exceeds less than once in a hundred maps."""
        limit = NormalDist().inv_cdf(1 - CHANCE / (2 * len(self.error_um)))
        return bool(np.all(np.abs(self.error_um) <= limit * self.standard_uncertainty_um))

    def words(self) -> str:
        """One line for people."""
        at_mm = self.station_mm[np.abs(self.error_um).argmax()]
        verdict = "within" if self.agrees else "NOT within"
        return (
            f"  {self.face}: off by {_both(self.worst_um)} at worst, at {at_mm:g} mm, and "
            f"{_both(self.rms_um)} rms: {verdict} the stated uncertainty "
            f"({self.inside} of {len(self.error_um)} stations inside its 95 % band)"
        )


def recovered(bed: InventedBed, answer: dict[str, Any]) -> Recovered:
    """Hold the answer of `waylog map --json --line ends` against the truth.

    Stations whose height is not known are left out, as are the two that the line goes through.
    """
    triples = zip(answer["station_mm"], answer["height_um"], answer["standard_uncertainty_um"], strict=True)
    station, height, uncertainty = np.array([row for row in triples if row[1] is not None], float).T
    truth = bed.height_um(answer["face"], station)
    truth = truth - np.interp(station, station[[0, -1]], truth[[0, -1]])
    between = slice(1, -1)
    return Recovered(answer["face"], station[between], (height - truth)[between], uncertainty[between])


def tell_recovered(folder: Path, bed: InventedBed, run: Run) -> int:
    """Print how far the maps are from the truth, and the wind."""
    say("\nHow far the map is from the invented truth, which no real bed would tell:")
    for face in (*MAPPED, BY_HAND):
        code, answer = _asked_json(run, ["map", str(folder), face, "--line", "ends", "--json"])
        if code:
            return code
        say(recovered(bed, answer).words())
    code, answer = _asked_json(run, ["twist", str(folder), "--json"])
    if code:
        return code
    say(wind_words(bed, answer))
    say(f"\nThe bed was INVENTED. Its survey: {folder}; its report: {folder / 'report'}")
    return 0


def wind_words(bed: InventedBed, answer: dict[str, Any]) -> str:
    """The wind found beside the invented one, from the first station to the last that have a roll."""
    pairs = zip(answer["station_mm"], answer["roll_um_per_m"], strict=True)
    known = [station for station, roll in pairs if roll is not None]
    truth = bed.roll_um_per_m(answer["front"], answer["rear"], np.array([known[0], known[-1]]))
    invented = float(truth[1] - truth[0])
    return f"  wind from end to end: found {answer['wind_um_per_m']:+.1f} µm/m, invented {invented:+.1f} µm/m"


def _asked_json(run: Run, words: Sequence[str]) -> tuple[int, dict[str, Any]]:
    said = io.StringIO()
    with redirect_stdout(said):
        code = run(words)
    return code, json.loads(said.getvalue()) if code == 0 else {}


def _both(length_um: float) -> str:
    return f"{length_um:.1f} µm ({length_um / UM_PER_THOU:.2f} thou)"
