"""A bound on what the HDF5 library may ask of memory while somebody's file is open.

Shapes and sizes of datasets are checked before they are read, but the length of a text
kept aside in the file is only looked at inside the library: four damaged bytes make it
ask for gigabytes.  Where the system can refuse that, it is asked to.
"""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

SPARE_BYTES = 256 << 20
"""What any file may need: the library's own caches, and room for small files."""
TIMES_THE_FILE = 64
"""What a file may need unpacked, and again as arrays; ours pack to a tenth at the least."""


@contextmanager
def bounded_memory(file_bytes: int) -> Iterator[None]:
    """Let the process grow by so much and no more; what asks for more gets none, and fails.

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
    in_use = _in_use_bytes()
    if in_use is None:
        yield
        return
    import resource

    soft, hard = resource.getrlimit(resource.RLIMIT_AS)
    bound = in_use + SPARE_BYTES + TIMES_THE_FILE * file_bytes
    if soft != resource.RLIM_INFINITY and soft <= bound:
        yield
        return
    resource.setrlimit(resource.RLIMIT_AS, (bound, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_AS, (soft, hard))


def _in_use_bytes() -> int | None:
    """How much address space the process has now; None where the system does not tell."""
    try:
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0])
    except (OSError, ValueError, IndexError):
        return None
    return pages * os.sysconf("SC_PAGE_SIZE")
