"""Writes a traverse as HDF5: beside its place, synced, read back and compared, then renamed."""

import json
import os
import shutil
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, ExitStack
from pathlib import Path
from typing import Any

import h5py
import numpy as np

from acquire.model.errors import TraverseFileError, told_as
from acquire.model.traverse import FLAGS, FORMAT, FORMAT_VERSION, Setup, Traverse
from acquire.store.safe_files import NewFile
from acquire.store.traverse_file.layout import MEANING, Column, columns_of
from acquire.store.traverse_file.sense import faults

ROOM_BYTES = 1 << 18
"""Of the file's own order, beside its columns."""
CHUNK_BYTES = 1 << 17
"""Rows are compressed in pieces of this size: 16,384 numbers."""


def _nothing() -> None:
    """After a column that is in memory there is nothing to be done."""


def write_traverse(
    path: Path | str,
    traverse: Traverse,
    *,
    after_each: Callable[[], None] = _nothing,
) -> None:
    """Write `traverse` to `path`; the file appears there whole and compared, or not at all.

    Parameters
    ----------
    path : Path
        Final name. An existing file is refused.
    traverse : Traverse
        What to write. Columns of unequal length, readings that are no number and the
        like are refused.
    after_each : callable
        Called after each column, whose memory may be given back then.

    Raises
    ------
    TraverseFileError
        If the traverse holds what cannot be, the disk refuses, or what was read back
        differs from what was written. Nothing is then left at `path` or beside it.
    SurveyError
        If `path` is taken.
    """
    path = Path(path)
    with _told(path), traverse_beside(path, traverse, after_each) as new:
        new.put_in_place()


def traverse_beside(
    path: Path | str, traverse: Traverse, after_each: Callable[[], None] = _nothing
) -> NewFile:
    """Write `traverse` beside `path`, read it back and compare; the caller puts it in place.

    Raises
    ------
    TraverseFileError
        As `write_traverse` does; nothing is then left.
    """
    path = Path(path)
    wrong = faults(traverse, after_each)
    if wrong:
        raise TraverseFileError(str(path), f"not written: {wrong[0]}", "a traverse that can be")
    _check_room(path, traverse)
    with _told(path), ExitStack() as stack:
        new = stack.enter_context(NewFile(path))
        with new_file(new.path) as file:
            write_into(file, traverse, after_each)
            file.flush()
        os.fsync(new.handle)
        _compare(new.path, traverse, after_each)
        stack.pop_all()
        return new


def _check_room(path: Path, traverse: Traverse) -> None:
    """Refuse what may not fit even unpacked, before the library can fail of it and take its process down."""
    needed = ROOM_BYTES + sum(column.values.nbytes for column in _columns(traverse))
    try:
        free = shutil.disk_usage(path.parent).free
    except OSError:
        return
    if free < needed:
        raise TraverseFileError(
            str(path),
            f"not written: found {free / 1e6:.1f} MB free on the disk",
            f"{needed / 1e6:.1f} MB of room at least",
            "the raw bytes are untouched where they were",
        )


def _columns(traverse: Traverse) -> Iterator[Column]:
    return columns_of(traverse, traverse.setup.measures.contract_unit)


def _told(path: Path) -> AbstractContextManager[None]:
    needed, do = "room on the disk and leave to write there", "the raw bytes are untouched where they were"
    return told_as(TraverseFileError, path, "cannot be written", needed, do)


def new_file(path: Path) -> h5py.File:
    """A new HDF5 file to be written once, front to back.

    Without the library's own lock, which would meet ours, and without its cache, which would hold up
    to eight megabytes of each column to the end.
    """
    return h5py.File(path, "w", locking=False, rdcc_nbytes=0)


def write_into(group: h5py.Group, traverse: Traverse, after_each: Callable[[], None] = _nothing) -> None:
    """Write all of a traverse into an open file, or into a group of one that holds several."""
    for name, value in root_attributes(traverse).items():
        group.attrs[name] = value
    for name, text in root_texts(traverse.setup).items():
        written = group.create_dataset(name, data=_scalar_text(text))
        written.attrs.update({"units": "1", "_Encoding": "utf-8"})
    _make_groups(group, traverse)
    # the library takes as long to find what it has open as to write a short column
    opened: dict[str, Any] = {}
    for column in _columns(traverse):
        if column.group not in opened:
            opened[column.group] = group.require_group(column.group)
        opened[column.path] = _write_column(opened[column.group], column)
        _hang_on_scale(opened, column)
        after_each()


def root_attributes(traverse: Traverse) -> dict[str, Any]:
    """The attributes of the file's root: what it is, of what, how the bed stood."""
    setup = traverse.setup
    found = {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "Conventions": "CF-1.10",
        "mode": traverse.mode,
        "complete": bool(traverse.complete),
        "reference": "",  # there for every reader; what is read along nothing names nothing
        **{name: value for name, value in vars(setup).items() if _is_plain(value) and name != "bed_toml"},
        **{f"state_{name}": value for name, value in setup.state.items()},
    }
    return {name: value if _is_plain(value) else json.dumps(value) for name, value in found.items()}


def root_texts(setup: Setup) -> dict[str, str]:
    """The texts of the root: the bed as it was described, and the setup for an exact way back."""
    return {"bed_toml": setup.bed_toml, "setup_json": setup.as_json()}


def _is_plain(value: Any) -> bool:
    return isinstance(value, str | bool | int | float)


def _scalar_text(text: str) -> np.ndarray:
    encoded = text.encode("utf-8")
    return np.array(encoded, dtype=h5py.string_dtype("utf-8", max(len(encoded), 1)))


def _make_groups(file: h5py.Group, traverse: Traverse) -> None:
    for stream in traverse.streams.values():
        group = file.require_group(f"streams/{stream.instrument}")
        group.attrs["instrument"] = stream.instrument
    for name in ("streams", "stations", "events"):
        file.require_group(name)


def _write_column(group: h5py.Group, column: Column) -> h5py.Dataset:
    values = column.values
    if values.dtype.kind == "S":
        values = values.astype(h5py.string_dtype("utf-8", values.dtype.itemsize))
    dataset = group.create_dataset(column.name, data=values, **_packing(values))
    attributes = dataset.attrs
    attributes.update({"units": column.units, "long_name": MEANING[column.name]})
    if values.dtype.kind == "S":
        attributes["_Encoding"] = "utf-8"
    if column.name == "flag":
        attributes["flag_values"] = np.array(list(FLAGS.values()), np.uint8)
        attributes["flag_meanings"] = " ".join(FLAGS)
    return dataset


def _packing(values: np.ndarray) -> dict[str, Any]:
    if not len(values):
        return {}
    packed = {"compression": "gzip", "compression_opts": 1, "shuffle": True, "fletcher32": True}
    return {**packed, "chunks": (min(len(values), _rows(values)),)}


def _rows(values: np.ndarray) -> int:
    return max(CHUNK_BYTES // values.dtype.itemsize, 1)


def _pieces(values: np.ndarray) -> Iterator[slice]:
    """Whole chunks, so that each is unpacked once."""
    step = 16 * _rows(values)
    return (slice(start, start + step) for start in range(0, len(values), step))


def _hang_on_scale(opened: Mapping[str, Any], column: Column) -> None:
    if column.is_scale:
        opened[column.path].make_scale(column.name)
    elif column.scale is not None:
        opened[column.path].dims[0].attach_scale(opened[column.scale])


def _compare(path: Path, traverse: Traverse, after_each: Callable[[], None]) -> None:
    with h5py.File(path, "r", locking=False) as file:
        for name, text in root_texts(traverse.setup).items():
            if file[name].asstr()[()] != text:
                raise _differs(path, name)
        for column in _columns(traverse):
            dataset = file[column.path]
            same = dataset.shape == column.values.shape and all(
                _are_equal(dataset[piece], column.values[piece]) for piece in _pieces(column.values)
            )
            if not same:
                raise _differs(path, column.path)
            after_each()


def _are_equal(read: np.ndarray, written: np.ndarray) -> bool:
    if read.dtype == written.dtype and written.dtype.kind == "f":  # bit by bit, NaN like any other
        read, written = (each.view(f"i{each.itemsize}") for each in (read, written))
    return np.array_equal(read, written)


def _differs(path: Path, name: str) -> TraverseFileError:
    return TraverseFileError(
        str(path), f"{name} read back differs from what was written", "", "check the disk, then try again"
    )
