"""Columns of numbers that grow, and where long ones are put: in memory, or wherever their owner says.

Who turns a recording into a traverse needs a few of its columns at a time. The others are put
aside: of a short recording in memory, where they stay; of a long one on the disk
(`store.scratch`), from where the same numbers come back as they are asked for.
"""

from mmap import mmap

import numpy as np

Raw = bytes | mmap
"""Bytes in memory, or of a file: a slice of either is bytes."""


class Columns:
    """A place for columns: in memory, where a subclass says nothing else.

    Examples
    --------
    >>> column = Columns().column(float)
    >>> column.append(np.array([1.0, 2.0]))
    >>> column.append(np.array([3.0]))
    >>> column.whole()
    array([1., 2., 3.])
    """

    def column(self, kind: type) -> "Column":
        """A column that is empty yet."""
        return Column(kind)

    def keep(self, values: np.ndarray) -> np.ndarray:
        """Put a whole column aside; what comes back is equal to it."""
        return values

    def let_go(self) -> None:
        """Give back what memory the columns take that need none."""


class Column:
    """Numbers of one kind, appended in pieces and joined when they are asked for."""

    def __init__(self, kind: type):
        self._kind = np.dtype(kind)
        self._pieces = bytearray()

    def append(self, values: np.ndarray) -> None:
        """Put `values` behind what is there."""
        self._pieces += np.ascontiguousarray(values, self._kind).data.cast("B") if len(values) else b""

    def whole(self) -> np.ndarray:
        """All of them; nothing is appended any more."""
        return np.frombuffer(self._pieces, self._kind)

    def raw(self) -> Raw:
        """All of them as bytes; nothing is appended any more."""
        return bytes(self._pieces)


IN_MEMORY = Columns()


def pieces_of(sent: np.ndarray, start: np.ndarray, size: int) -> np.ndarray:
    """So many bytes of `sent` from each start on, each piece one item of shape (n,).

    Examples
    --------
    >>> pieces_of(np.frombuffer(b"+1.0 +2.5", np.uint8), np.array([0, 5]), 4).tolist()
    [b'+1.0', b'+2.5']
    """
    return np.ndarray(max(0, len(sent) - size + 1), f"V{size}", sent, strides=(1,))[start]
