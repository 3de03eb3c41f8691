"""What no traverse can hold: told in words, on the way into a file and on the way out."""

from collections.abc import Callable, Iterator

import numpy as np

from acquire.model.bed_toml.keys import NAME_RULE, name_is_allowed
from acquire.model.places import is_on_bed
from acquire.model.position import DIRECTIONS, MODES
from acquire.model.quantity import MEASURING
from acquire.model.traverse import Events, Stations, Stream, Traverse

UNSURE = 1e3
"""A few wild samples may be worth less than any reading; such a mean says nothing, but it is no lie."""


def faults(traverse: Traverse, after_each: Callable[[], None] = lambda: None) -> list[str]:
    """Everything in `traverse` that cannot be (numbers that are none, columns of unequal length).

    `after_each` is called after each column of a stream, which may be given back then.
    """
    found: list[str] = []
    for stream in traverse.streams.values():
        found += stream_faults(stream, after_each)
    found += _station_faults(traverse.stations)
    found += _bound_faults(traverse)
    found += _event_faults(traverse.events)
    if traverse.mode not in MODES:
        found.append(f"the mode is {traverse.mode!r}, not {' or '.join(MODES)}")
    if traverse.setup.direction not in DIRECTIONS:
        found.append(f"the direction is {traverse.setup.direction!r}, not {' or '.join(DIRECTIONS)}")
    found += [
        f"a stream is named {name[:60]!r}; needed {NAME_RULE}"
        for name in traverse.streams
        if not name_is_allowed(name)
    ]
    found += [
        f"the stream of {stream.instrument!r} stands under {name!r}"
        for name, stream in traverse.streams.items()
        if name != stream.instrument
    ]
    return found


def _unequal(part: object, names: tuple[str, ...], what: str) -> Iterator[str]:
    lengths = {name: len(getattr(part, name)) for name in names}
    if len(set(lengths.values())) > 1:
        yield f"{what} has columns of unequal length ({', '.join(f'{k} {v}' for k, v in lengths.items())})"


def stream_faults(stream: Stream, after_each: Callable[[], None] = lambda: None) -> list[str]:
    """Everything in one stream that cannot be."""
    return list(_stream_faults(stream, after_each))


def _stream_faults(stream: Stream, after_each: Callable[[], None]) -> Iterator[str]:
    what = f"stream {stream.instrument!r}"
    yield from _unequal(stream, ("time_s", "value", "flag", "arrival_s"), what)
    yield from _unequal(stream, ("chunk_end", "chunk_time_s"), what)
    for name in ("time_s", "arrival_s", "chunk_time_s"):
        if not np.isfinite(getattr(stream, name)).all():
            yield f"{what} has a time that is no number ({name})"
        after_each()
    ends = np.asarray(stream.chunk_end)
    last = int(ends[-1]) if len(ends) else 0
    if last != len(stream.raw) or (ends[:1] < 0).any() or (ends[1:] < ends[:-1]).any():
        yield f"{what} has chunks that do not add up to its {len(stream.raw)} bytes"
    after_each()


def _station_faults(stations: Stations) -> Iterator[str]:
    names = ("station_mm", "reading", "standard_uncertainty", "scatter", "samples", "repeat", "time_s")
    yield from _unequal(stations, names, "stations")
    if stations.note:
        yield from _unequal(stations, ("station_mm", "note"), "stations")
    if (np.diff(stations.station_mm) < 0).any():
        yield "stations do not rise"
    rules: dict[str, tuple[Callable[[np.ndarray], np.ndarray], str]] = {
        "station_mm": (np.isfinite, "a finite place"),
        "reading": (np.isfinite, "a finite reading"),
        "standard_uncertainty": (_is_an_uncertainty, "0 or more"),
        "scatter": (_is_an_uncertainty, "0 or more"),
        "samples": (_is_positive, "1 or more"),
        "repeat": (_is_positive, "1 or more"),
        "time_s": (_is_time, "a time, or no number where none is known"),
    }
    for name, (holds, needed) in rules.items():
        values = np.asarray(getattr(stations, name))
        wrong = values[~holds(values)]
        if wrong.size:
            yield f"stations {name} is {wrong[0]} somewhere; needed {needed}"


def _bound_faults(traverse: Traverse) -> Iterator[str]:
    """Stations off the bed, and readings and uncertainties that no instrument can have."""
    stations, quantity = traverse.stations, traverse.setup.quantity
    if quantity not in MEASURING:
        yield f"the quantity is {quantity!r}, not {' or '.join(MEASURING)}"
        return
    length_mm, largest = traverse.setup.bed.length_mm, traverse.setup.measures.highest
    off_bed = stations.station_mm[~np.asarray(is_on_bed(length_mm, stations.station_mm))]
    if off_bed.size:
        yield f"stations station_mm is {off_bed[0]} somewhere; needed a place on the bed, 0 to {length_mm:g}"
    bounds = {"reading": largest, "standard_uncertainty": UNSURE * largest, "scatter": UNSURE * largest}
    for name, bound in bounds.items():
        beyond = getattr(stations, name)[np.abs(getattr(stations, name)) > bound]
        if beyond.size:
            yield f"stations {name} is {beyond[0]:g} somewhere; needed at most {bound:g}"


def _event_faults(events: Events) -> Iterator[str]:
    yield from _unequal(events, ("time_s", "kind", "text"), "events")
    if not np.isfinite(events.time_s).all():
        yield "events have a time that is no number"


def _is_an_uncertainty(values: np.ndarray) -> np.ndarray:
    return np.isfinite(values) & (values >= 0)


def _is_time(values: np.ndarray) -> np.ndarray:
    return ~np.isinf(values)


def _is_positive(values: np.ndarray) -> np.ndarray:
    return values >= 1
