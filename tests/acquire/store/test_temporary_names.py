"""What is written beside its place is a file of our own that was not there before, whatever was planted."""

import os
import shutil

import pytest

from acquire.store.safe_files import write_file


@pytest.mark.parametrize("planted", [os.symlink, os.link, shutil.copy])
def test_file_planted_under_the_drawn_name_is_not_written(tmp_path, monkeypatch, planted):
    precious = tmp_path / "precious"
    precious.write_bytes(b"precious")
    folder = tmp_path / "survey"
    folder.mkdir()
    monkeypatch.setattr("os.urandom", bytes)
    trap = folder / f".waylog-{'0' * 16}.tmp"
    planted(precious, trap)
    with pytest.raises(FileExistsError):
        write_file(folder / "bed.toml", b"ours")
    assert precious.read_bytes() == b"precious" and trap.read_bytes() == b"precious"
    assert not (folder / "bed.toml").exists()
