"""Follows a journal while somebody else writes it: what is new in it since the last look.

It is read only, never locked, and a frame that is half there is left for the next look.
"""

import io
from collections.abc import Iterator
from pathlib import Path

from acquire.model.plain_files import open_plain
from acquire.store.journal import frames
from acquire.store.journal.reading import Batch, Numbered, Record

MOST_BYTES = 1 << 20
"""Read at one look: whoever comes late to a long recording catches up in several."""


class Following:
    """One journal, from its first record on.

    Examples
    --------
    >>> following = Following(Path("traverses/002-front-vee-level.journal"))
    >>> list(following.news())
    Traceback (most recent call last):
    FileNotFoundError: [Errno 2] No such file or directory: 'traverses/002-front-vee-level.journal'
    """

    def __init__(self, path: Path):
        self.path = path
        self._offset = len(frames.HEAD)
        self._most_bytes = frames.LONGEST_SETUP + frames.LONGEST_BODY  # its first record may be long
        self._numbered = Numbered()
        self.is_behind = False
        """Whether there was more than one look takes."""

    def news(self) -> Iterator[Record]:
        """The records that have become whole since the last call; of a long journal not all at once.

        Raises
        ------
        OSError
            If the journal is gone: its recording ended, and its traverse file is there.
        TraverseFileError
            If it says no longer what was measured.
        """
        data = self._next_bytes()
        found = list(frames.scan(io.BytesIO(frames.HEAD + data)))
        if found and isinstance(found[-1], frames.Loss):
            found.pop()  # the beginning of a frame, or damage that a later look finds behind it
        read = found[-1].end - len(frames.HEAD) if found else 0
        self._offset += read
        if self.is_behind and not read:
            self._offset += len(data)  # a megabyte without one whole frame
        for record in self._numbered.records(found, str(self.path)):
            assert not isinstance(record, Batch)
            yield record

    def _next_bytes(self) -> bytes:
        with open_plain(self.path) as file:
            file.seek(self._offset)
            data = file.read(self._most_bytes)
        self.is_behind = len(data) == self._most_bytes
        self._most_bytes = MOST_BYTES
        return data
