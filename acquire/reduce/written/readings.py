"""Readings by hand or from a file: each understood in any unit of its quantity, all put in order."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from acquire.model.bed import Instrument, units_read_by
from acquire.model.errors import EntryError, UnitError
from acquire.model.lengths import in_mm, parse_length
from acquire.model.places import is_on_bed
from acquire.model.traverse import Row, Setup, Stations
from acquire.model.units import MINUS_SIGNS, Reading, parse_reading

GAPS = ("", *MINUS_SIGNS)
"""What is written where there is no reading."""
ONE_LENGTH = 'one reading such as +3, 3.5 thou, -0,02 mm or 6 1/2", a fraction with its unit'


def expected_unit(setup: Setup) -> str:
    """The unit that a bare number is taken in: as asked for, else what the instrument reads."""
    return setup.unit or setup.described.reading_unit


def reading_of(instrument: Instrument, text: str, unit: str | None = None) -> float:
    """What `text` says, in the contract's unit and sign; a bare number is in `unit`, if given.

    Raises
    ------
    EntryError
        If it is no number, its unit is none of the instrument's quantity, or it is
        outside what the instrument can show.

    Examples
    --------
    >>> vial = Instrument("vial", "slope", "mm/m", per_division=0.02)
    >>> reading_of(vial, "2"), reading_of(vial, "-0,04 mm/m"), reading_of(vial, "3", "um/m")
    (40.0, -40.0, 3.0)
    """
    written = written_in(instrument, text)
    found_unit = _of_angle(instrument, text, written.unit) or unit
    allowed = units_read_by(instrument)
    if found_unit is not None and found_unit not in allowed:
        raise EntryError(
            "reading",
            f"found {text.strip()[:40]!r}",
            f"a {instrument.quantity} in {' | '.join(allowed)}",
        )
    value = instrument.to_contract(written.value, found_unit)
    _check_size(instrument, value, text)
    return value


def written_in(instrument: Instrument, text: str) -> Reading:
    """The number and unit as written: of a length with feet, inches and fractions, else a plain one.

    Raises
    ------
    EntryError
        If it is no number, or its unit is none known; of a length that is a fraction without its unit.
    """
    is_length = instrument.measures.is_length and "div" not in text.lower()
    try:
        written = parse_length(text) if is_length else parse_reading(text)
    except UnitError as error:
        raise EntryError("reading", error.found, ONE_LENGTH if is_length else error.needed) from None
    if is_length and written.unit is None and "/" in text:
        raise EntryError("reading", f"found {text.strip()[:40]!r}", ONE_LENGTH)
    return written


def _of_angle(instrument: Instrument, text: str, unit: str | None) -> str | None:
    """A double stroke after a slope or roll means seconds of arc, after a length inches."""
    return "arcsec" if unit == "in" and instrument.measures.is_angle and '"' in text else unit


def _check_size(instrument: Instrument, value: float, text: str) -> None:
    found = f"found {text.strip()[:40]!r}"
    if not math.isfinite(value) or abs(value) > instrument.measures.highest:
        raise EntryError(
            "reading", found, f"at most {instrument.measures.highest:g} {instrument.contract_unit}"
        )
    if instrument.range is None:
        return
    shown = instrument.as_shown(value)
    lowest, highest = instrument.range
    slack = 1e-9 * max(abs(lowest), abs(highest))
    if not lowest - slack <= shown <= highest + slack:
        raise EntryError(
            "reading",
            found,
            f"{lowest:g} to {highest:g} {instrument.reading_unit}, the range of {instrument.name}",
        )


def place_of(text: str, unit: str = "mm") -> float:
    """A place along the bed in mm; a bare number is in `unit`.

    Examples
    --------
    >>> place_of("450"), place_of("2", "in"), place_of('1 1/2"')
    (450.0, 50.8, 38.1)
    """
    try:
        written = parse_length(text)
    except UnitError as error:
        raise EntryError("station", error.found, error.needed) from None
    return in_mm(Reading(written.value, written.unit or unit), is_inch=False)


def check_on_bed(setup: Setup, station_mm: float) -> None:
    """Refuse a station off the bed, or one where a foot of the level would hang off it.

    Raises
    ------
    EntryError
        With what stands off the bed and by how much.
    """
    if setup.is_on_bed(station_mm):
        return
    length_mm, half_mm = setup.bed.length_mm, (setup.foot_base_mm or 0.0) / 2
    if half_mm and is_on_bed(length_mm, station_mm):
        raise EntryError(
            "station",
            f"found {station_mm:g} mm, where the feet stand at {station_mm - half_mm:g} and "
            f"{station_mm + half_mm:g} mm",
            f"both feet on the bed (0 to {length_mm:g} mm); a slope's station is the middle of the base",
        )
    raise EntryError("station", f"found {station_mm:g} mm", f"a place on the bed, 0 to {length_mm:g} mm")


@dataclass(frozen=True, eq=False)
class ReadingsTable:
    """The stations of one written traverse, and what was made of what was written."""

    stations: Stations
    mode: str
    """stepped | continuous."""
    gap_mm: tuple[float, ...] = ()
    """Stations that were left out on purpose."""
    understood: tuple[str, ...] = ()
    """A line each on how it was read, for the person to look over."""
    doubts: tuple[str, ...] = ()
    """What was taken but looks odd."""
    unit: str | None = None
    """Of bare numbers, where it is not the instrument's own."""
    gap_note: tuple[str, ...] = ()
    """What was written beside each gap; empty where nothing was beside any."""


def gather(
    setup: Setup,
    rows: Sequence[Row],
    gap_mm: Sequence[float] = (),
    understood: Sequence[str] = (),
    doubts: Sequence[str] = (),
) -> ReadingsTable:
    """Put the readings in order of station and repeat, with the instrument's own uncertainty."""
    stations = Stations.of(rows, setup.described.uncertainty)
    return ReadingsTable(
        stations, mode_of(setup, stations.station_mm), tuple(gap_mm), tuple(understood), tuple(doubts)
    )


def mode_of(setup: Setup, station_mm: np.ndarray) -> str:
    """Stepped, or continuous: as asked for, else a slope spaced under half its base is continuous.

    Examples
    --------
    >>> from acquire.model.bed_toml.composing import NewBed, compose, preset_faces
    >>> bed = compose(NewBed("invented", 1000, 100, preset_faces("one-flat", 0), ["level"]))
    >>> setup = Setup("level", "slope", bed, face="way")
    >>> mode_of(setup, np.arange(100.0, 900.0, 200.0)), mode_of(setup, np.arange(100.0, 900.0, 5.0))
    ('stepped', 'continuous')
    """
    if setup.mode_asked:
        return setup.mode_asked
    places = np.unique(station_mm)
    if not setup.described.step_mm or len(places) < 2:
        return "stepped"
    spacing_mm = float(np.median(np.diff(places)))
    return "continuous" if spacing_mm < 0.499 * setup.described.step_mm else "stepped"
