"""A CSV as people's spreadsheets write it, cut into cells; or a refusal where it cannot be told how.

Byte-order marks, Windows and old line ends, comments (#), blank lines and lines of nothing but
separators are all met in practice.  The separator is read from the header line, which holds no
number: a tab before a semicolon before a comma.
"""

import csv
import io
import re
from dataclasses import dataclass

from acquire.model.errors import EntryError

LARGEST_FILE_BYTES = 32 << 20
MOST_ROWS = 200_000
_NAMES = {"\t": "tabs", ";": "semicolons", ",": "commas"}


@dataclass(frozen=True)
class CutTable:
    """Header and rows as text, each row with the number of its line in the file."""

    header: tuple[str, ...]
    header_line: int
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    separator: str
    comments: int
    titles: tuple[str, ...] = ()
    """Lines above the header that hold one cell alone, as a merged title does."""

    @property
    def separated_by(self) -> str:
        """The separator as people call it."""
        return _NAMES[self.separator]


def cut(raw: bytes, where: str) -> CutTable:
    """Cut the bytes of a CSV into a header and rows of cells.

    Raises
    ------
    EntryError
        If they are no text, too many, or it cannot be told what separates the cells.

    Examples
    --------
    >>> table = cut(b"\\xef\\xbb\\xbfstation_mm;reading\\r\\n0;1,5\\r\\n", "run.csv")
    >>> table.separated_by, table.header, table.rows
    ('semicolons', ('station_mm', 'reading'), ((2, ('0', '1,5')),))
    >>> cut(b"Front way;\\nstation_mm;reading\\n0;1,5\\n", "run.csv").titles
    ('Front way',)
    """
    text = _text(raw, where)
    separator, text = _separator(text, where)
    rows, comments = _rows(text, separator, where)
    if not rows:
        raise EntryError(where, "found no rows", "a header such as station_mm,reading and rows below it")
    above = next((n for n, (_, cells) in enumerate(rows) if sum(map(bool, cells)) > 1), 0)
    titles = tuple("".join(cells) for _, cells in rows[:above])
    (header_line, header), *below = rows[above:]
    fitted = _same_width(below, header, separator, where)
    return CutTable(header, header_line, fitted, separator, comments, titles)


def _text(raw: bytes, where: str) -> str:
    if len(raw) > LARGEST_FILE_BYTES:
        raise EntryError(where, f"found {len(raw)} bytes", f"at most {LARGEST_FILE_BYTES}", "split the file")
    encoding = "utf-16" if raw[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    try:
        text = raw.decode(encoding)
    except UnicodeDecodeError:
        text = raw.decode("cp1252", errors="replace")
    odd = next((c for c in text if (c < " " and c not in "\t\r\n\f\v") or c == "\ufffd"), None)
    if odd is not None:
        raise EntryError(where, f"found the byte or character {odd!r}", "text: a CSV file, not a workbook")
    return text


def _is_comment(line: str) -> bool:
    return line.lstrip().startswith("#")


def _separator(text: str, where: str) -> tuple[str, str]:
    """What separates the cells; a first line `sep=;` says so itself and is blanked."""
    said = re.match(r'\s*"?sep=([;,\t])"?[^\S\r\n]*(?=[\r\n]|$)', text)
    if said:
        return said.group(1), text[: said.start()] + text[said.end() :]
    lines = [s for s in re.split(r"\r\n|\r|\n", text) if s.strip() and not _is_comment(s)]
    for line in lines:  # a title above the header may stand alone in its line
        unquoted = re.sub(r'"[^"]*"', "", line)
        if (separator := next((each for each in _NAMES if each in unquoted), None)) is not None:
            return separator, text
    raise EntryError(
        where,
        f"found the header {(lines or [''])[0].strip()[:60]!r}",
        "at least the columns station_mm and reading, separated by commas, semicolons or tabs",
    )


def _rows(text: str, separator: str, where: str) -> tuple[list[tuple[int, tuple[str, ...]]], int]:
    """All rows that hold something, the header first, and the number of comment lines."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, skipinitialspace=True)
    rows: list[tuple[int, tuple[str, ...]]] = []
    comments = 0
    try:
        for cells in reader:
            if cells and _is_comment(cells[0]):
                comments += 1
            elif any(cell.strip() for cell in cells):
                rows.append((reader.line_num, tuple(cell.strip() for cell in cells)))
            if len(rows) > MOST_ROWS + 1:
                raise EntryError(
                    where, f"found more than {MOST_ROWS} rows", f"at most {MOST_ROWS}", "split it"
                )
    except csv.Error as error:
        raise EntryError(
            f"{where} line {reader.line_num}", f"found {error}", "cells as a CSV has them"
        ) from None
    return rows, comments


def _same_width(
    rows: list[tuple[int, tuple[str, ...]]], header: tuple[str, ...], separator: str, where: str
) -> tuple[tuple[int, tuple[str, ...]], ...]:
    """The rows as wide as the header; empty cells too many are dropped, none too few are added."""
    width, fitted, wide = len(header), [], []
    for line, cells in rows:
        kept = cells[:width] if not any(cells[width:]) else cells
        if len(kept) > width:
            wide.append((line, len(kept)))
        fitted.append((line, kept))
    if wide:
        _refuse_wide(wide, width, separator, where)
    return tuple(fitted)


def _refuse_wide(wide: list[tuple[int, int]], width: int, separator: str, where: str) -> None:
    line, cells = wide[0]
    found = f"line {line} falls into {cells} cells under {width} headers ({len(wide)} such lines)"
    if separator == ",":
        raise EntryError(
            where,
            found + ": separators and decimal commas cannot be told apart",
            "semicolons or tabs between the cells, or decimal points",
            "save it again so",
        )
    raise EntryError(where, found, f"{width} cells a line")
