"""Feeds the growing picture, a process of its own; what it does never reaches the recorder."""

import json
import math
import queue
import subprocess
import threading
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from acquire.console.taken import Taken
from acquire.console.tracking import Live
from acquire.model.traverse import Setup
from acquire.record.own_process import own_command, own_environment

MODULE = "analysis.draw.live_window"
MOST_WAITING = 20


def start_line(survey: Path, setup: Setup, places_mm: Sequence[float]) -> dict[str, Any]:
    """The first line: what is measured and where."""
    return {
        "start": {
            "survey": str(survey),
            "number": setup.number,
            "face": setup.subject,
            "instrument": setup.instrument,
            "quantity": setup.quantity,
            "unit": setup.described.contract_unit,
            "base_mm": setup.described.base_mm,
            "direction": setup.direction,
            "turned": setup.turned,
            "display": setup.bed.display,
            "places_mm": list(places_mm),
        }
    }


def live_line(live: Live) -> dict[str, Any]:
    """The state of things."""
    return {
        "live": {
            "time_s": live.time_s,
            "position_mm": live.position_mm,
            "reading": live.reading,
            "next_mm": live.next_mm,
            "to_go_mm": live.to_go_mm,
            "still_s": live.still_s,
            "needed_s": live.needed_s,
            "is_settled": live.is_settled,
            "stations": len(live.taken),
            "places": live.places,
            "problem": live.problem or None,
        }
    }


def station_line(taken: Taken) -> dict[str, Any]:
    """One station taken."""
    return {
        "station": {
            "station_mm": taken.station_mm,
            "reading": taken.reading,
            "standard_uncertainty": taken.uncertainty,
            "repeat": taken.repeat,
            "time_s": taken.time_s,
            "doubt": taken.doubt,
        }
    }


def encoded(line: Mapping[str, Any]) -> bytes:
    """One line of JSON; a number that is none becomes null.

    Examples
    --------
    >>> encoded({"live": {"reading": float("nan"), "stations": 3}})
    b'{"live": {"reading": null, "stations": 3}}\\n'
    """
    plain = {
        key: {k: None if isinstance(v, float) and not math.isfinite(v) else v for k, v in inner.items()}
        for key, inner in line.items()
    }
    return json.dumps(plain).encode() + b"\n"


class WindowFeed:
    """The window's process and a thread that writes to it; live lines are dropped while it is slow."""

    def __init__(self, command: Sequence[str] = ()):
        self._process = subprocess.Popen(
            command or own_command(MODULE),
            stdin=subprocess.PIPE,
            env=own_environment(),
            start_new_session=True,  # Ctrl-C ends the recording, not the picture of it
        )
        self._lines: queue.Queue[bytes | None] = queue.Queue()
        self._thread = threading.Thread(target=self._write, name="waylog window", daemon=True)
        self._thread.start()
        self.has_gone = False
        """Whether it was closed, or failed."""

    def put(self, line: Mapping[str, Any]) -> None:
        """Send a line; a live one only where the window keeps up."""
        if self.has_gone or ("live" in line and self._lines.qsize() > MOST_WAITING):
            return
        self._lines.put(encoded(line))

    def close(self) -> None:
        """Send the end of the input; the window stays for the person to look at."""
        self._lines.put(None)
        self._thread.join(1.0)

    def _write(self) -> None:
        stream = self._process.stdin
        assert stream is not None
        try:
            while (line := self._lines.get()) is not None:
                stream.write(line)
                stream.flush()
        except (OSError, ValueError):
            self.has_gone = True
        finally:
            with suppress(OSError):
                stream.close()
