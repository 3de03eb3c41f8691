"""A CSV of readings: all of it understood, or all of it refused with every reason in one go."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from acquire.model.cells import from_cell
from acquire.model.errors import EntryError
from acquire.model.places import ROUNDING_MM
from acquire.model.traverse import Row, Setup
from acquire.model.units import unit_words, with_plain_minus
from acquire.reduce.way_gone import other_way_words
from acquire.reduce.written.columns import Column, Columns, columns_of
from acquire.reduce.written.cutting import CutTable, cut
from acquire.reduce.written.readings import (
    GAPS,
    ReadingsTable,
    check_on_bed,
    expected_unit,
    gather,
    place_of,
    reading_of,
)

MOST_NAMED = 6
_MARK = re.compile(r"\d*([.,])\d*")
_THOUSANDS = re.compile(r"[-+]?[1-9]\d{0,2}[.,]\d{3}")
_PLAIN = re.compile(r"[-+]?\d+")


def readings_imported(setup: Setup, raw: bytes, where: str = "the imported file") -> ReadingsTable:
    """Read a CSV's bytes as the readings of one traverse.

    Columns are `station_mm,reading` (of a slope: the middle of the base, or `from_mm,to_mm`
    for its feet), and `repeat` and `note` if wanted; an empty reading is a gap.  A station
    that stands there several times gets the repeats 1, 2, ... in the order of the rows,
    unless a repeat column says otherwise.

    Raises
    ------
    EntryError
        If anything in it cannot be taken; the first bad rows are named, the others counted.

    Examples
    --------
    >>> from acquire.model.bed_toml.composing import NewBed, compose, preset_faces
    >>> bed = compose(NewBed("invented", 1000, 100, preset_faces("one-flat", 0), ["indicator"]))
    >>> setup = Setup("indicator", "offset", bed, face="way", reference="line")
    >>> readings_imported(setup, b"reading (thou);station_mm\\n1,5;200\\n-2;0\\n").stations.reading
    array([-50.8,  38.1])
    """
    return _Import(setup, cut(raw, where), where).table()


class _Import:
    """Walks the rows once and gathers readings, gaps and mistakes on its way."""

    def __init__(self, setup: Setup, cells: CutTable, where: str):
        self.setup, self.cells, self.where = setup, cells, where
        self.columns: Columns = columns_of(cells.header, setup, f"{where} line {cells.header_line}")
        self.unit = self.columns.reading.unit or setup.unit
        self.mistakes: list[str] = []
        self.readings: list[Row] = []
        self.gap_mm: list[float] = []
        self.gap_note: list[str] = []
        self.taken: dict[float, set[int]] = {}

    def table(self) -> ReadingsTable:
        mark = self.decimal_mark()
        for line, cells in self.cells.rows:
            try:
                self.row(cells)
            except EntryError as error:
                needed = f", needed {error.needed}" if error.needed else ""
                self.mistakes.append(f"line {line}: {error.where}: {error.found}{needed}")
        self.refuse_mistakes()
        if not self.readings:
            raise EntryError(self.where, f"found no reading in {len(self.cells.rows)} rows", "at least one")
        table = gather(self.setup, self.readings, self.gap_mm, self.understood(mark), self.doubts())
        return replace(table, unit=self.unit, gap_note=tuple(self.gap_note))

    def decimal_mark(self) -> str | None:
        """The file's decimal mark, once it is sure that no mark means thousands."""
        numbers = (*self.columns.places, self.columns.reading)
        by_column = {
            column.index: [
                (line, row[column.index]) for line, row in self.cells.rows if column.index < len(row)
            ]
            for column in numbers
        }
        mark = decimal_mark((cell for column in by_column.values() for cell in column), self.where)
        for column in self.columns.places:
            refuse_thousands(by_column[column.index], self.setup.bed.length_mm, "station", self.where)
        refuse_thousands(by_column[self.columns.reading.index], None, "reading", self.where)
        self.refuse_notes_of_digits()
        return mark

    def refuse_notes_of_digits(self) -> None:
        """Between commas, a note of bare digits behind every reading may be the reading's decimals."""
        note, reading = self.columns.note, self.columns.reading
        if note is None or self.cells.separator != "," or note.index != reading.index + 1:
            return
        notes = [row[note.index] for _, row in self.cells.rows if note.index < len(row)]
        if notes and all(text.isdigit() for text in notes):
            raise EntryError(
                self.where,
                f"found a note of bare digits ({notes[0]!r}) in every row: "
                "separators and decimal commas cannot be told apart",
                "semicolons or tabs between the cells, or decimal points",
            )

    def row(self, cells: tuple[str, ...]) -> None:
        written = self.cell(cells, self.columns.reading.index, "reading")
        station_mm = self.place(cells)
        check_on_bed(self.setup, station_mm)
        note = self.columns.note
        words = from_cell(cells[note.index]) if note is not None and note.index < len(cells) else ""
        if written in GAPS:
            self.gap_mm.append(station_mm)
            self.gap_note.append(words)
            return
        reading = reading_of(self.setup.described, written, self.unit)
        repeat = self.repeat(cells, station_mm)
        self.readings.append(Row(station_mm, reading, note=words, repeat=repeat))

    def cell(self, cells: tuple[str, ...], index: int, what: str) -> str:
        if index >= len(cells):
            raise EntryError(what, f"found {len(cells)} cells", f"{len(self.cells.header)}, as in the header")
        return cells[index]

    def place_unit(self, column: Column) -> str:
        return column.unit or self.setup.place_unit or "mm"

    def place(self, cells: tuple[str, ...]) -> float:
        places = [
            place_of(self.cell(cells, column.index, "station"), self.place_unit(column))
            for column in self.columns.places
        ]
        if len(places) == 1:
            return places[0]
        base_mm = self.setup.described.base_mm or 0.0
        start_mm, end_mm = places
        if abs(end_mm - start_mm - base_mm) > ROUNDING_MM:
            raise EntryError(
                "feet",
                f"found {start_mm:g} to {end_mm:g} mm",
                f"feet one base ({base_mm:g} mm) apart, the one nearer station 0 first",
            )
        return round((start_mm + end_mm) / 2, 6)

    def repeat(self, cells: tuple[str, ...], station_mm: float) -> int:
        """The repeat written, or the next free number at this station."""
        taken = self.taken.setdefault(round(station_mm, 2), set())
        column = self.columns.repeat
        written = cells[column.index] if column is not None and column.index < len(cells) else ""
        number = _whole(written) if written else max(taken, default=0) + 1
        if number in taken:
            raise EntryError("repeat", f"found {number} at {station_mm:g} mm again", "each repeat once")
        taken.add(number)
        return number

    def refuse_mistakes(self) -> None:
        if not self.mistakes:
            return
        count = len(self.mistakes)
        more = f"; and {count - MOST_NAMED} more like these" if count > MOST_NAMED else ""
        raise EntryError(
            self.where,
            f"found {count} bad row{'s' if count > 1 else ''}: {'; '.join(self.mistakes[:MOST_NAMED])}{more}",
            do="nothing was imported: correct the file and import it again",
        )

    def understood(self, mark: str | None) -> tuple[str, ...]:
        columns = self.columns
        decimals = {None: "whole numbers", ",": "decimal commas", ".": "decimal points"}[mark]
        unit = self.unit or expected_unit(self.setup)
        lines = [
            f"cells separated by {self.cells.separated_by}, {decimals}",
            f"reading: column {columns.reading.header!r} in {unit_words(unit)}",
            *(
                f"place: column {each.header!r} in {unit_words(self.place_unit(each))}"
                for each in columns.places
            ),
        ]
        if self.cells.titles:
            lines.append(f"passed over above the header: {', '.join(map(repr, self.cells.titles))}"[:200])
        if self.cells.comments:
            lines.append(f"{self.cells.comments} comment lines passed over")
        if unused := [name for name in columns.unused if name]:
            lines.append(f"columns not used: {', '.join(map(repr, unused))}"[:200])
        return tuple(lines)

    def doubts(self) -> tuple[str, ...]:
        """Rows that run against the direction asked for; a sheet's column for each direction stands."""
        if self.columns.is_of_direction:
            return ()
        places = np.array([item.station_mm for item in self.readings])
        words = other_way_words(self.setup.direction, places, "the rows")
        return () if words is None else (words,)


def _whole(text: str) -> int:
    if not text.isascii() or not text.isdigit() or not 1 <= len(text) <= 6 or int(text) < 1:
        raise EntryError("repeat", f"found {text[:40]!r}", "a whole number from 1")
    return int(text)


def decimal_mark(cells: Iterable[tuple[int, str]], where: str) -> str | None:
    """The one decimal mark in all the cells ((line, text) each); None where there is none.

    Raises
    ------
    EntryError
        If some cells have commas and others points: one may be a thousands mark.

    Examples
    --------
    >>> decimal_mark([(2, "0"), (3, "1,5")], "run.csv")
    ','
    """
    first: dict[str, tuple[int, str]] = {}
    for line, text in cells:
        for mark in re.findall(r"[.,]", text):
            first.setdefault(mark, (line, text))
    if len(first) > 1:
        (point_line, point), (comma_line, comma) = first["."], first[","]
        raise EntryError(
            where,
            f"found {point!r} on line {point_line} and {comma!r} on line {comma_line}: "
            "decimal and thousands marks cannot be told apart",
            "one decimal mark throughout and no thousands marks",
        )
    return next(iter(first), None)


def refuse_thousands(cells: Sequence[tuple[int, str]], highest: float | None, what: str, where: str) -> None:
    """Refuse a column that may be written with thousands marks (950, then 1,000).

    Suspicious is a column whose every mark has just three digits after it while other
    cells of three digits or more have none; `highest` is the largest value that could
    be meant, if one is known.

    Raises
    ------
    EntryError
        With the first cell that could be meant either way.
    """
    cells = [(line, with_plain_minus(text)) for line, text in cells]
    marked = [(line, text) for line, text in cells if _MARK.search(text) and re.search("[.,]", text)]
    if not marked or not all(_THOUSANDS.fullmatch(text) for _, text in marked):
        return
    if not any(_PLAIN.fullmatch(text) and len(text.lstrip("-+")) >= 3 for _, text in cells):
        return
    line, text = marked[0]
    whole = re.sub("[.,]", "", text)
    if highest is not None and float(whole) > highest:
        return
    raise EntryError(
        f"{where} line {line}",
        f"found the {what} {text!r}, which could mean {whole} or {text.replace(',', '.')}",
        "no thousands marks",
        "write it without, or the decimals in full",
    )
