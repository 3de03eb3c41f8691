"""A test of a few readings (`align`, `square`, `dovetail`, `flanks angles`) that is kept with the survey."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

LONGEST = 1000
"""Readings under one name, letters of one word."""


@dataclass(frozen=True)
class KeptTest:
    """One test as it was read: every reading under a name that tells its unit."""

    test: str
    """As the command line calls it: `align bar`."""
    created_utc: str
    readings: Mapping[str, Any]
    """Numbers, words, or lists of either."""
    note: str = ""
    number: int = 0
    """As kept; 0 before."""


def checked_readings(readings: Any) -> dict[str, Any]:
    """Readings out of a file.

    Raises
    ------
    ValueError
        If a name or a value is none that a test is kept with.

    Examples
    --------
    >>> checked_readings({"top_um": [2, 11.5], "guide": "wall", "is_over": True})
    {'top_um': [2.0, 11.5], 'guide': 'wall', 'is_over': True}
    """
    if not isinstance(readings, Mapping):
        raise ValueError("readings are no table")
    return {str(name): _value(value) for name, value in readings.items()}


def _value(value: Any) -> Any:
    if isinstance(value, list) and len(value) <= LONGEST:
        return [_value(each) for each in value if not isinstance(each, list)]
    if isinstance(value, bool) or (isinstance(value, str) and len(value) <= LONGEST):
        return value
    if isinstance(value, int | float) and math.isfinite(value):
        return float(value)
    raise ValueError(f"{str(value)[:40]!r} is no reading")
