"""Opens an HDF5 file that may be anybody's, and hands out only what is plainly there.

Nothing outside the file is ever followed: external and soft links, external storage
and virtual datasets are refused. Shapes, types, filters and sizes are checked before
a byte of a dataset is read, so that a small file cannot ask for a large memory.

Datasets are asked by their handles (`h5py.h5d`): the checks ask each for a dozen things, which
takes several times as long through h5py's own objects.
"""

import math
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple

import h5py
import numpy as np

from acquire.model.errors import TraverseFileError
from acquire.model.system import bounded_address_space
from acquire.model.traverse import FORMAT, FORMAT_VERSION

SPARE_BYTES = 256 << 20
"""What any file may need: the library's own caches, and room for small files."""
TIMES_THE_FILE = 64
"""What a file may need unpacked, and again as arrays; ours pack to a tenth at the least."""
MOST_BYTES = 1 << 31
"""Most that one file may hold unpacked: over three times eight hours of four busy instruments."""
LARGEST_CHUNK_BYTES = 1 << 24
LONGEST_TEXT_BYTES = 1 << 24
ROWS_AT_ONCE = 1 << 18
MOST_STREAMS = 64
MOST_ATTRIBUTES = 200
CHECKSUM_BYTES = 4
_FILTERS = {h5py.h5z.FILTER_DEFLATE, h5py.h5z.FILTER_SHUFFLE, h5py.h5z.FILTER_FLETCHER32}
_DEFLATE_AT_MOST = 1100
"""No deflated byte holds more than about 1032; a little is left for the framing."""


@contextmanager
def opened(path: Path) -> Iterator["Source"]:
    """Open `path` as one of our files; anything wrong with it is one `TraverseFileError`."""
    if not path.is_file():
        raise TraverseFileError(str(path), "found no such file", "a survey folder or a traverse file (.h5)")
    try:
        with bounded_memory(path.stat().st_size), h5py.File(path, "r", locking=False) as file:
            source = Source(path, file)
            source.check_is_ours()
            yield source
    except TraverseFileError:
        raise
    except (OSError, RuntimeError, KeyError, ValueError, TypeError, MemoryError, AttributeError) as error:
        raise TraverseFileError(
            str(path),
            f"cannot be read as HDF5 ({str(error).splitlines()[0] if str(error) else type(error).__name__})",
            "a whole traverse file",
            "take it from a copy, or `waylog mend` if its journal is still there",
        ) from error


class Dataset(NamedTuple):
    """A dataset that was looked at."""

    handle: h5py.h5d.DatasetID
    shape: tuple[int, ...]
    dtype: np.dtype

    def values(self) -> np.ndarray:
        """All of it."""
        values = np.empty(self.shape, self.dtype)
        if values.size:
            self.handle.read(h5py.h5s.ALL, h5py.h5s.ALL, values)
        return values


class Source:
    """An opened file; every access is checked, and what has been handed out is counted."""

    def __init__(self, path: Path, file: h5py.File):
        self.path, self.file = path, file
        self._length = path.stat().st_size
        self._taken = 0

    def refuse(self, found: str, needed: str = "") -> TraverseFileError:
        """The error that tells what is wrong with this file."""
        return TraverseFileError(str(self.path), found, needed, "take the file from a copy")

    def check_is_ours(self) -> None:
        """Refuse what waylog did not write, and what a newer waylog wrote."""
        if h5py.h5a.get_num_attrs(self.file.id) > MOST_ATTRIBUTES or self.attribute("format") != FORMAT:
            raise self.refuse("found no traverse of waylog's", f"the attribute format = {FORMAT!r}")
        version = self.attribute("format_version")
        if not isinstance(version, int) or isinstance(version, bool) or version < 1:
            raise self.refuse(f"found format_version {version!r}", "a whole number from 1")
        if version > FORMAT_VERSION:
            raise TraverseFileError(
                str(self.path),
                f"written by a newer waylog (format version {version})",
                f"version {FORMAT_VERSION} or older",
                "bring waylog up to date",
            )

    def attribute(self, name: str) -> Any:
        """A root attribute as a plain value: text, number or truth; None where there is none."""
        try:
            kept = h5py.h5a.open(self.file.id, name.encode())
        except KeyError:
            return None
        if kept.shape != () or kept.get_storage_size() > LONGEST_TEXT_BYTES:
            raise self.refuse(f"attribute {name} is no single value")
        read = np.empty((), kept.dtype)
        kept.read(read)
        value = read.item()
        return value.decode("utf-8", "replace") if isinstance(value, bytes) else value

    def group(self, path: str, within: h5py.Group | None = None) -> h5py.Group:
        """A group of this very file."""
        found = self._hard(within if within is not None else self.file, path)
        if not isinstance(found, h5py.h5g.GroupID):
            raise self.refuse(f"{path} is no group", "a group")
        return h5py.Group(found)

    def names(self, group: h5py.Group) -> list[str]:
        """Names in a group, not many of them."""
        if len(group) > MOST_STREAMS:
            raise self.refuse(f"{group.name} holds {len(group)} entries", f"at most {MOST_STREAMS}")
        return list(group)

    def _hard(self, group: h5py.Group, name: str) -> Any:
        key = name.encode()
        try:
            link = group.id.links.get_info(key)
        except KeyError:
            raise self.refuse(f"{group.name.rstrip('/')}/{name} is missing") from None
        if link.type != h5py.h5l.TYPE_HARD:
            raise self.refuse(f"{name} points elsewhere (a link)", "everything in the file itself")
        return h5py.h5o.open(group.id, key)

    def dataset(self, group: h5py.Group, name: str, dimensions: int) -> Dataset:
        """A plain dataset of this very file, of a size that can be."""
        handle = self._hard(group, name)
        shape = handle.shape if isinstance(handle, h5py.h5d.DatasetID) else None  # None of one without values
        if shape is None or len(shape) != dimensions:
            raise self.refuse(f"{name} is not of the right shape", f"a dataset of {dimensions} dimension(s)")
        found = Dataset(handle, shape, handle.dtype)
        self._check_storage(found, name)
        return found

    def _check_storage(self, dataset: Dataset, name: str) -> None:
        handle, size, item_bytes = dataset.handle, math.prod(dataset.shape), dataset.dtype.itemsize
        packing = handle.get_create_plist()
        layout = packing.get_layout()
        if layout == h5py.h5d.VIRTUAL or packing.get_external_count():
            raise self.refuse(f"{name} keeps its values outside the file", "everything in the file itself")
        used = {packing.get_filter(index)[0] for index in range(packing.get_nfilters())}
        if not used <= _FILTERS:
            raise self.refuse(f"{name} is packed in a way not known here", "deflate, shuffle, fletcher32")
        piece_bytes = math.prod(packing.get_chunk()) * item_bytes if layout == h5py.h5d.CHUNKED else 0
        if piece_bytes > LARGEST_CHUNK_BYTES:
            raise self.refuse(f"{name} is cut in pieces of more than {LARGEST_CHUNK_BYTES >> 20} MiB")
        if size * item_bytes > _DEFLATE_AT_MOST * handle.get_storage_size():
            raise self.refuse(f"{name} claims {size} values that the file does not hold")
        if layout == h5py.h5d.CHUNKED:
            least = CHECKSUM_BYTES if h5py.h5z.FILTER_FLETCHER32 in used else 0
            self._check_pieces(handle, name, least, 1.01 * piece_bytes + 64)
        self._take(size * item_bytes, name)

    def _check_pieces(self, handle: h5py.h5d.DatasetID, name: str, least: int, most: float) -> None:
        """Refuse a piece shorter than its own checksum, longer than unpacked, packed otherwise, or not there.

        The library takes the checksum off without looking whether it is there, and reads past the end.
        """
        pieces: list[h5py.h5d.StoreInfo] = []
        handle.chunk_iter(pieces.append)  # in one go: asked one by one, each is sought among all before it
        for piece in pieces:
            is_there = piece.byte_offset is not None and piece.byte_offset + piece.size <= self._length
            if piece.filter_mask or not least < piece.size <= most or not is_there:
                raise self.refuse(f"{name} has a piece that is damaged ({piece.size} bytes)")

    def _take(self, count: int, name: str) -> None:
        self._taken += count
        if self._taken > MOST_BYTES:
            raise self.refuse(f"{name} and what goes before come to {self._taken} bytes", f"{MOST_BYTES}")

    def numbers(self, group: h5py.Group, name: str, dtype: str) -> np.ndarray:
        """A column of numbers, of exactly the kind that is kept there."""
        return np.asarray(self._numbers(group, name, dtype).values(), dtype)

    def holds(self, group: h5py.Group, name: str, values: np.ndarray) -> bool:
        """Whether a column holds just these numbers; it is read piece by piece."""
        found = h5py.Dataset(self._numbers(group, name, values.dtype.name).handle)
        parts = (slice(begin, begin + ROWS_AT_ONCE) for begin in range(0, len(values), ROWS_AT_ONCE))
        return len(found) == len(values) and all(np.array_equal(found[part], values[part]) for part in parts)

    def _numbers(self, group: h5py.Group, name: str, dtype: str) -> Dataset:
        found = self.dataset(group, name, 1)
        if found.dtype.kind != np.dtype(dtype).kind or found.dtype.itemsize > 8:
            raise self.refuse(f"{name} holds {found.dtype}", dtype)
        return found

    def texts(self, group: h5py.Group, name: str) -> tuple[str, ...]:
        """A column of texts of one width."""
        words = self._text(self.dataset(group, name, 1), name)
        return tuple(word.decode("utf-8", "replace") for word in words.tolist())

    def text(self, name: str) -> str:
        """A single text of the root."""
        found = self._text(self.dataset(self.file, name, 0), name)
        try:
            return bytes(found[()]).decode("utf-8")
        except UnicodeDecodeError as error:
            raise self.refuse(f"{name} is no text", "UTF-8") from error

    def _text(self, dataset: Dataset, name: str) -> np.ndarray:
        if dataset.dtype.kind != "S" or dataset.dtype.itemsize > LONGEST_TEXT_BYTES:
            raise self.refuse(f"{name} holds {dataset.dtype}", "texts of one width")
        return dataset.values()

    def units(self, group: h5py.Group, name: str) -> str:
        """The unit that a dataset names."""
        attributes = h5py.Dataset(self.dataset(group, name, 1).handle).attrs
        unit = attributes.get("units")
        if not isinstance(unit, str) or len(unit) > 60:
            raise self.refuse(f"{name} names no unit")
        return unit


@contextmanager
def bounded_memory(file_bytes: int) -> Iterator[None]:
    """Let the process grow by so much and no more; what asks for more gets none, and fails.

    Shapes and sizes of datasets are checked before they are read, but the length of a text
    kept aside in the file is only looked at inside the HDF5 library: four damaged bytes make
    it ask for gigabytes.  Where the system can refuse that, it is asked to.

    Parameters
    ----------
    file_bytes : int
        Size of the file that is read meanwhile.

    Notes
    -----
    On Linux alone; elsewhere nothing is bounded.  A lower bound that holds already stays.

    Examples
    --------
    >>> with bounded_memory(1000):
    ...     len(bytes(1000))
    1000
    """
    with bounded_address_space(lambda in_use: in_use + SPARE_BYTES + TIMES_THE_FILE * file_bytes):
        yield
