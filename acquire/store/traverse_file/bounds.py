"""A bound on what the HDF5 library may ask of memory while somebody's file is open.

Shapes and sizes of datasets are checked before they are read, but the length of a text
kept aside in the file is only looked at inside the library: four damaged bytes make it
ask for gigabytes.  Where the system can refuse that, it is asked to.
"""

from collections.abc import Iterator
from contextlib import contextmanager

from acquire.model.system import bounded_address_space

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
    with bounded_address_space(lambda in_use: in_use + SPARE_BYTES + TIMES_THE_FILE * file_bytes):
        yield
