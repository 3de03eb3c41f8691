"""An invented bed and traverse for the tests of what is kept on disk."""

import dataclasses
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from acquire.model.traverse import Events, Setup, Stations, Stream, Traverse
from acquire.store.journal import JournalWriter, begin
from tests.invented import NUMBER, bed_toml, cross_level, flat, level, scale, speaks, survey_in, vee

INVENTED_BED = bed_toml(
    faces={"front-vee": vee(0, "front"), "rear-flat": flat(300, "rear")},
    instruments={"level": level(**speaks("loop://", NUMBER)), "cross-level": cross_level(), "scale": scale()},
)


@pytest.fixture(autouse=True)
def converted_as_at_the_machine(request, is_converted_here):
    """Where a test claims the whole program, a finished run is converted in a process of its own."""
    is_converted_here[0] = request.node.get_closest_marker("whole") is None
    yield
    is_converted_here[0] = True


@pytest.fixture(scope="session")
def invented_bed_toml() -> str:
    """Text of a bed.toml."""
    return INVENTED_BED


@pytest.fixture
def level_setup() -> Setup:
    """A level stepped along the front vee; number 1."""
    return Setup(
        "level",
        "slope",
        INVENTED_BED,
        number=1,
        face="front-vee",
        created_utc="2025-11-25T08:00:00Z",
        state={"clamped": True, "temperature_top_degC": 20.5, "note": "invented; 20 °C"},
    )


@pytest.fixture
def level_traverse(level_setup) -> Traverse:
    """A small stepped traverse with a garbled reading, a repeat, a note and events."""
    raw = b"+1.0\r\n+2.0\r\n@@\r\n+3.0\r\n"
    stream = Stream(
        "level",
        "um/m",
        time_s=np.array([0.0, 1.0, 1.5, 2.0]),
        value=np.array([1.0, 2.0, np.nan, 3.0]),
        flag=np.array([0, 0, 1, 0], np.uint8),
        arrival_s=np.array([0.1, 1.1, 1.6, 2.1]),
        raw=raw,
        chunk_end=np.array([6, 12, 16, 22]),
        chunk_time_s=np.array([0.1, 1.1, 1.6, 2.1]),
    )
    stations = Stations(
        station_mm=np.array([100.0, 300.0, 300.0]),
        reading=np.array([1.0, 2.0, 3.0]),
        standard_uncertainty=np.array([1.0, 1.0, 1.5]),
        scatter=np.array([0.1, 0.2, 0.0]),
        samples=np.array([10, 12, 1]),
        repeat=np.array([1, 1, 2]),
        time_s=np.array([0.0, np.nan, 2.0]),
        note=("", "wiped, 2 µm of dirt", ""),
    )
    events = Events(np.array([0.0, 1.6]), ("mark", "garbled"), ("begun", "b'@@' is no reading"))
    return Traverse(level_setup, {"level": stream}, stations, events, "stepped", True)


def send_a_stepped_run(writer: JournalWriter, stops: int = 3) -> None:
    """Invented: at each stop ten readings a second for eight seconds, then two of moving about."""
    random = np.random.default_rng(1)
    for index in range(stops * 100):
        spread = 0.5 if index % 100 < 80 else 300.0
        value = 10 * (index // 100) + random.normal(0, spread)
        writer.chunk("level", index / 10, f"{value:+.1f}\r\n".encode())
    writer.event(stops * 10.0, "note", "all stops made")


@pytest.fixture
def survey(tmp_path: Path) -> Path:
    """A survey folder without a traverse."""
    return survey_in(tmp_path / "survey", INVENTED_BED)


@pytest.fixture
def cut_short(survey: Path, level_setup: Setup) -> Callable[..., Path]:
    """Leaves a journal in the survey as a recording that was cut short does; gives its path."""

    def leave(stops: int = 3, ended: bool | None = None, **changes: object) -> Path:
        setup = dataclasses.replace(level_setup, position="stations", **changes)
        with begin(survey, setup) as writer:
            send_a_stepped_run(writer, stops)
            if ended is not None:
                writer.end(ended, stops * 10.0)
        return writer.path

    return leave
