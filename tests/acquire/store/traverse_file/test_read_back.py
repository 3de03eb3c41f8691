"""A file that the disk spoilt never takes its place: each column and text is read back and compared."""

import h5py
import numpy as np
import pytest

from acquire.model.errors import TraverseFileError
from acquire.record.conversion import convert_here
from acquire.store.traverse_file import writer


def spoil(file, name):
    """The last value of a column turned to another by its smallest step; of a text, its last letter."""
    old = file[name]
    if h5py.check_string_dtype(old.dtype):
        text = old.asstr()[()]
        del file[name]
        file[name] = text[:-1] + "?"
    elif old.dtype.kind == "f":
        old[-1] = np.nextafter(old[-1], np.inf)
    else:
        old[-1] = old[-1] ^ 1
    file.flush()


@pytest.mark.parametrize(
    "name", ["stations/reading", "stations/station_mm", "streams/level/raw/bytes", "bed_toml", "setup_json"]
)
def test_spoilt_column_or_text_is_told_and_the_journal_stays(cut_short, monkeypatch, name):
    journal = cut_short()
    before, write = journal.read_bytes(), writer.write_into

    def write_and_spoil(file, *rest):
        write(file, *rest)
        spoil(file, name)

    monkeypatch.setattr(writer, "write_into", write_and_spoil)
    with pytest.raises(TraverseFileError, match=f"{name} read back differs from what was written"):
        convert_here(journal, journal.with_suffix(".h5"))
    assert journal.read_bytes() == before
    assert [path.name for path in journal.parent.iterdir() if path.is_file()] == [journal.name]
