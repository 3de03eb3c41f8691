"""Readings that somebody wrote: typed lines and imported files, from their bytes to stations.

Both doors keep the bytes as they came; these functions are the one pure way from there,
so that a traverse can be derived anew from its own bytes at any time.
"""

from acquire.reduce.written.imported import readings_imported
from acquire.reduce.written.readings import ReadingsTable, expected_unit, mode_of, reading_of
from acquire.reduce.written.typed import TypedLine, readings_typed, typed_lines

__all__ = [
    "ReadingsTable",
    "TypedLine",
    "expected_unit",
    "mode_of",
    "reading_of",
    "readings_imported",
    "readings_typed",
    "typed_lines",
]
