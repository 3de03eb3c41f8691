"""A damaged length inside a file cannot make the HDF5 library take memory without bound."""

import struct
import subprocess
import sys
from pathlib import Path

import pytest

from acquire.store import read_traverse
from acquire.store.traverse_file.opening import bounded_memory

CAPTURE = Path(__file__).parents[3] / "captures" / "version_1"
MEASURED = """
import resource, sys
from acquire.model.errors import TraverseFileError
from acquire.store import read_traverse
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
try:
    read_traverse(sys.argv[1])
except TraverseFileError as error:
    print(error)
print((resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) // 1024)
"""


def _damaged(whole: bytes) -> bytes:
    """The length of the first text kept in the file's heap, made three gigabytes."""
    heap = struct.pack("<Q", whole.index(b"GCOL"))
    at = whole.index(heap)
    return whole[: at - 4] + struct.pack("<I", 3_000_000_000) + whole[at:]


@pytest.mark.whole
@pytest.mark.skipif(sys.platform != "linux", reason="only there can the system be asked to refuse")
def test_text_that_claims_three_gigabytes_is_refused_in_little_memory(tmp_path):
    path = tmp_path / "001-front-level.h5"
    path.write_bytes(_damaged(next(CAPTURE.glob("*.h5")).read_bytes()))
    done = subprocess.run(
        [sys.executable, "-c", MEASURED, str(path)], capture_output=True, text=True, check=True,
        cwd=Path(__file__).parents[4],
    )  # fmt: skip
    said, grown_mb = done.stdout.splitlines()
    assert "cannot be read as HDF5" in said
    assert int(grown_mb) < 300


def test_whole_files_are_read_within_the_bound():
    for path in CAPTURE.glob("*.h5"):
        assert len(read_traverse(path).stations) > 0


@pytest.mark.skipif(sys.platform != "linux", reason="only there can the system be asked to refuse")
def test_bound_is_lifted_again_whatever_happens():
    import resource

    before = resource.getrlimit(resource.RLIMIT_AS)
    with pytest.raises(MemoryError), bounded_memory(0):
        bytearray(1 << 32)
    assert resource.getrlimit(resource.RLIMIT_AS) == before
