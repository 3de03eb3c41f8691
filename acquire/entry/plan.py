"""Which stations an entry asks for, in the order in which they are reached."""

import numpy as np

from acquire.model.errors import EntryError
from acquire.model.places import end_where_rounded
from acquire.model.traverse import Setup

MOST_STATIONS = 10_000


def stations_to_read(
    setup: Setup, step_mm: float | None = None, from_mm: float | None = None, to_mm: float | None = None
) -> tuple[float, ...]:
    """The stations to ask for: of a level the middles of its base, stepped foot to foot; else the bed's.

    A level begins with its rear foot at `from_mm` (0) and ends before its front foot passes
    `to_mm` (the bed's end).  `step_mm` steps otherwise.  Reverse begins at the far end.

    Raises
    ------
    EntryError
        If no station fits between the two, or the step is none.

    Examples
    --------
    >>> bed = '''
    ... [bed]
    ... name = "invented"
    ... length_mm = 1000
    ... station_pitch_mm = 250
    ... [faces.way]
    ... normal = "up"
    ... [instruments.level]
    ... quantity = "slope"
    ... unit = "um/m"
    ... base_mm = 200
    ... standard_uncertainty = 1
    ... '''
    >>> stations_to_read(Setup("level", "slope", bed, face="way"))
    (100.0, 300.0, 500.0, 700.0, 900.0)
    >>> stations_to_read(Setup("level", "slope", bed, face="way", direction="reverse"), from_mm=500)
    (800.0, 600.0)
    """
    length_mm = setup.bed.length_mm
    start_mm = 0.0 if from_mm is None else from_mm
    end_mm = length_mm if to_mm is None else to_mm
    start_mm, end_mm = (end_where_rounded(length_mm, float(mm)) for mm in (start_mm, end_mm))
    if not 0 <= start_mm < end_mm <= length_mm:
        raise EntryError(
            "stretch to read",
            f"found {start_mm:g} to {end_mm:g} mm",
            f"a stretch within 0 to {length_mm:g} mm",
        )
    if step_mm is not None and not step_mm > 0:
        raise EntryError("--step", f"found {step_mm:g} mm", "a step above 0")
    places = _places(setup, step_mm, start_mm, end_mm)
    if not 1 <= len(places) <= MOST_STATIONS:
        raise EntryError(
            "stretch to read", f"found {len(places)} stations in it", f"1 to {MOST_STATIONS}", "choose others"
        )
    return places if setup.direction == "forward" else places[::-1]


def _places(setup: Setup, step_mm: float | None, start_mm: float, end_mm: float) -> tuple[float, ...]:
    base_mm = setup.described.step_mm or 0.0
    step_mm = step_mm or base_mm or None
    if step_mm is None:
        return tuple(x for x in setup.bed.station_mm if start_mm <= x <= end_mm)
    count = int(np.floor((end_mm - start_mm - base_mm) / step_mm + 1e-9)) + 1
    if count > MOST_STATIONS:
        raise EntryError(
            "--step", f"found {count} stations", f"at most {MOST_STATIONS}", "take a longer step"
        )
    return tuple(round(start_mm + base_mm / 2 + index * step_mm, 6) for index in range(max(count, 0)))
