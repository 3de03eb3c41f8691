"""What the window knows, gathered line by line from its input."""

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, get_args


@dataclass(frozen=True)
class Start:
    """What is measured, and where."""

    survey: str = ""
    number: int = 0
    face: str = ""
    instrument: str = ""
    quantity: str = "slope"
    unit: str = "um/m"
    base_mm: float | None = None
    direction: str = "forward"
    turned: bool = False
    display: str = "metric"
    places_mm: tuple[float, ...] = ()

    @property
    def is_inch(self) -> bool:
        """Whether people are shown inches and thou."""
        return self.display == "inch"


@dataclass(frozen=True)
class Now:
    """The newest state of things; None where a value is not known."""

    time_s: float = 0.0
    position_mm: float | None = None
    reading: float | None = None
    next_mm: float | None = None
    to_go_mm: float | None = None
    still_s: float = 0.0
    needed_s: float = 3.0
    is_settled: bool = False
    stations: int = 0
    places: int = 0
    problem: str | None = None


@dataclass(frozen=True)
class Station:
    """One station taken."""

    station_mm: float
    reading: float
    standard_uncertainty: float = 0.0
    repeat: int = 1
    time_s: float = 0.0
    doubt: str | None = None


@dataclass(frozen=True)
class State:
    """All that is drawn."""

    start: Start = Start()
    now: Now | None = None
    stations: tuple[Station, ...] = ()
    ended: str | None = None
    """Why the recording ended, once it has."""


def after(state: State, line: bytes | str) -> State:
    """The state after one line of input; a line that is not understood changes nothing.

    Examples
    --------
    >>> state = after(State(), '{"station": {"station_mm": 100, "reading": -3.5}}')
    >>> state = after(state, "not for us")
    >>> [(s.station_mm, s.reading) for s in state.stations]
    [(100.0, -3.5)]
    """
    try:
        said = json.loads(line)
    except ValueError:
        return state
    if not isinstance(said, dict):
        return state
    for kind, take in _TAKEN.items():
        if isinstance(said.get(kind), dict):
            return take(state, said[kind])
    return state


def _started(state: State, said: Mapping[str, Any]) -> State:
    known = {name: value for name, value in _fields(Start, said).items() if name != "places_mm"}
    places = said.get("places_mm")
    if isinstance(places, list):
        known["places_mm"] = tuple(float(x) for x in places if _is_number(x))
    return replace(state, start=Start(**known))


def _lives(state: State, said: Mapping[str, Any]) -> State:
    return replace(state, now=Now(**_fields(Now, said)))


def _stands(state: State, said: Mapping[str, Any]) -> State:
    known = _fields(Station, said)
    if "station_mm" not in known or "reading" not in known:
        return state
    return replace(state, stations=(*state.stations, Station(**known)))


def _ended(state: State, said: Mapping[str, Any]) -> State:
    return replace(state, ended=str(said.get("reason") or "its end"))


_TAKEN = {"start": _started, "live": _lives, "station": _stands, "end": _ended}


def _fields(kind: type, said: Mapping[str, Any]) -> dict[str, Any]:
    """Those values that are of their field's type; the others are left at their defaults."""
    found: dict[str, Any] = {}
    for name, field in kind.__dataclass_fields__.items():  # type: ignore[attr-defined]
        value: Any = said.get(name)
        allowed = get_args(field.type) or (field.type,)
        if bool in allowed or str in allowed:
            if isinstance(value, allowed) and value is not None:
                found[name] = value
        elif _is_number(value) and (float in allowed or int in allowed):
            found[name] = float(value) if float in allowed else int(value)
    return found


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
