"""Reads traverse files back; refuses what is not ours, newer, damaged or hostile."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import h5py
import numpy as np

from acquire.model.errors import SurveyError
from acquire.model.traverse import Events, Setup, Stations, Stream, Traverse
from acquire.store.survey import files_of
from acquire.store.traverse_file.layout import EVENTS, RAW, STATIONS, STREAM, TEXT
from acquire.store.traverse_file.opening import Source, opened
from acquire.store.traverse_file.sense import faults, stream_faults

CHECKED = ("face", "front", "rear", "instrument", "reference", "quantity", "direction")
"""Root attributes that other programs read; they must say what the setup says."""


def read_traverse(path: Path | str, *, raw: bool = True, only: Collection[str] | None = None) -> Traverse:
    """Read one traverse file whole.

    Parameters
    ----------
    path : Path
        The file.
    raw : bool
        Whether to read the raw bytes too. Analysis needs none of them; without them the
        traverse must not be written again (`streams` then say they got no byte).
    only : collection of str, optional
        Names of the streams to be read; all by default.

    Raises
    ------
    TraverseFileError
        If it is no file of ours, newer than this program, damaged, or holds what cannot
        be. At most 2 GiB (`opening.MOST_BYTES`) are ever taken from one file.
    """
    with opened(Path(path)) as source:
        group = source.group("streams")
        names = source.names(group)
        return _whole(
            source,
            {name: _stream(source, group, name, raw) for name in names if only is None or name in only},
        )


def _whole(source: Source, streams: Mapping[str, Stream]) -> Traverse:
    traverse = Traverse(
        setup=_setup(source),
        streams=streams,
        stations=_stations(source),
        events=_events(source),
        mode=str(source.attribute("mode")),
        complete=source.attribute("complete") is True,
    )
    _refuse_any(source, faults(traverse))
    return traverse


def _refuse_any(source: Source, wrong: Sequence[str]) -> None:
    if wrong:
        raise source.refuse(wrong[0], "a traverse that can be")


def holds_raw(path: Path | str, name: str, columns: Mapping[str, np.ndarray]) -> bool:
    """Whether of what one port sent a file holds just these columns, the raw bytes among them.

    Raises
    ------
    TraverseFileError
        As `read_traverse` does.
    """
    with opened(Path(path)) as source:
        group = source.group("streams")
        if name not in source.names(group):
            return False
        kept = source.group("raw", source.group(name, group))
        return all(source.holds(kept, column, values) for column, values in columns.items())


class _Later(Mapping[str, Stream]):
    """The streams of a file, each read when it is asked for."""

    def __init__(self, path: Path, names: Sequence[str]):
        self._path, self._names = path, names
        self._read: dict[str, Stream] = {}

    def __getitem__(self, name: str) -> Stream:
        if name not in self._names:
            raise KeyError(name)
        if name not in self._read:
            with opened(self._path) as source:
                stream = _stream(source, source.group("streams"), name, raw=True)
                _refuse_any(source, stream_faults(stream))
            self._read[name] = stream
        return self._read[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._names)

    def __len__(self) -> int:
        return len(self._names)


def read_survey(folder: Path | str) -> list[Traverse]:
    """All traverses of a survey in order of their numbers; journals are passed over.

    What an instrument sent, byte by byte, is most of a file and of no use to a map: a stream is read, and
    what is wrong with it told, when it is asked for.

    Raises
    ------
    TraverseFileError
        If one of the files cannot be read.
    SurveyError
        If a file was renamed to another number: others may refer to it by its own.
    """
    return [_numbered(path, number) for number, path in files_of(folder).items()]


def _numbered(path: Path, number: int) -> Traverse:
    with opened(path) as source:
        traverse = _whole(source, {})
        streams = _Later(path, source.names(source.group("streams")))
    if traverse.number != number:
        raise SurveyError(
            str(path), f"holds traverse {traverse.number:03d}", f"a name beginning {traverse.number:03d}-"
        )
    return replace(traverse, streams=streams)


def _setup(source: Source) -> Setup:
    setup = Setup.from_json(source.text("setup_json"), str(source.path))
    if source.text("bed_toml") != setup.bed_toml:
        raise source.refuse("bed_toml and setup_json tell of different beds", "the same in both")
    for name in CHECKED:
        found = source.attribute(name) or None
        if found != getattr(setup, name):
            raise source.refuse(
                f"attribute {name} is {found!r}", f"{getattr(setup, name)!r} as in setup_json"
            )
    return setup


def _stream(source: Source, streams: h5py.Group, name: str, raw: bool) -> Stream:
    group = source.group(name, streams)
    stream = Stream(
        instrument=name,
        unit=source.units(group, "value"),
        **_columns(source, group, STREAM),
    )
    if not raw:
        return stream
    kept = source.group("raw", group)
    return replace(
        stream,
        raw=source.numbers(kept, "bytes", "uint8").tobytes(),
        **_columns(source, kept, RAW),
    )


def _columns(source: Source, group: h5py.Group, table: dict[str, str]) -> dict[str, Any]:
    return {
        column: source.texts(group, column) if kind == TEXT else source.numbers(group, column, kind)
        for column, kind in table.items()
    }


def _stations(source: Source) -> Stations:
    found = _columns(source, source.group("stations"), STATIONS)
    found["note"] = found["note"] if any(found["note"]) else ()
    return Stations(**found)


def _events(source: Source) -> Events:
    return Events(**_columns(source, source.group("events"), EVENTS))
