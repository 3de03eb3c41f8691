"""Columns of a long recording on the disk, in a file without a name that is gone with its process."""

import mmap
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

import numpy as np

from acquire.model.columns import Column, Columns, Raw

_GIVE_BACK = getattr(mmap, "MADV_DONTNEED", None)
"""Where the system lets pages of a file go that it can read again."""


class Scratch(Columns):
    """A place for columns beside what is made of them; mapped, so that the system reads what is used.

    Examples
    --------
    >>> with tempfile.TemporaryDirectory() as folder, scratch(Path(folder)) as columns:
    ...     columns.keep(np.array([1.5, 2.5])).tolist(), list(Path(folder).iterdir())
    ([1.5, 2.5], [])
    """

    def __init__(self, folder: Path):
        self._folder = folder
        self._files: list[IO[bytes]] = []
        self._maps: list[mmap.mmap] = []

    def column(self, kind: type) -> "ScratchColumn":
        """A column that is empty yet."""
        file = tempfile.TemporaryFile(dir=self._folder, prefix=".waylog-")  # noqa: SIM115  closed by `close`
        self._files.append(file)
        return ScratchColumn(file, np.dtype(kind), self._maps)

    def keep(self, values: np.ndarray) -> np.ndarray:
        """Put a whole column on the disk; what comes back reads it from there."""
        column = self.column(values.dtype.type)
        column.append(values)
        self.let_go()
        return column.whole()

    def let_go(self) -> None:
        """Give back the memory of what has been read so far; it is read again where it is used again."""
        if _GIVE_BACK is not None:
            for each in self._maps:
                each.madvise(_GIVE_BACK)

    def close(self) -> None:
        """Have the files gone as soon as nobody looks at their columns any more."""
        for file in self._files:
            file.close()


class ScratchColumn(Column):
    """One column on the disk."""

    def __init__(self, file: IO[bytes], kind: np.dtype, maps: list[mmap.mmap]):
        self._file, self._kind, self._maps = file, kind, maps

    def append(self, values: np.ndarray) -> None:
        """Put `values` behind what is there."""
        if len(values):
            self._file.write(np.ascontiguousarray(values, self._kind).data.cast("B"))

    def whole(self) -> np.ndarray:
        """All of them; they may be read only."""
        return np.frombuffer(self.raw(), self._kind)

    def raw(self) -> Raw:
        """All of them as bytes."""
        self._file.flush()
        if not self._file.tell():
            return b""
        mapped = mmap.mmap(self._file.fileno(), 0, access=mmap.ACCESS_READ)
        self._maps.append(mapped)
        return mapped


@contextmanager
def scratch(folder: Path) -> Iterator[Scratch]:
    """A place for columns on the disk of `folder`; nothing of it is left at the end."""
    columns = Scratch(folder)
    try:
        yield columns
    finally:
        columns.close()
