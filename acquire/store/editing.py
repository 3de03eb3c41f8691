"""Changes `bed.toml` where it stands: the owner's comments and order kept, the old text never lost.

The new text is written beside, read back as a bed, compared with what was meant, and only
then given the file's name. Whatever fails on the way, the file is as it was.
"""

import dataclasses
import shutil
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from acquire.model.bed import Bed
from acquire.model.bed_toml.reading import parse_bed, read_bed
from acquire.model.errors import BedError, told_as
from acquire.store.safe_files import NewFile


def set_instrument_values(path: Path | str, name: str, values: Mapping[str, float]) -> Bed:
    """Set numbers of one instrument in a `bed.toml`; gives the bed as it now reads.

    Parameters
    ----------
    path : Path
        The `bed.toml`.
    name : str
        The instrument.
    values : mapping
        Key (``standard_uncertainty``, ``resolution``, ``seating_um`` ...) to its new
        value. A key that is there keeps its place and its comment; a new one comes after
        the instrument's last.

    Raises
    ------
    BedError
        If the file is no valid bed before or would be none after, has no such
        instrument, was changed by somebody meanwhile, or cannot be written.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> text = '''[bed]
    ... name = "invented bench bed"
    ... length_mm = 400
    ... station_pitch_mm = 100
    ... [faces.way]
    ... normal = "up"
    ... [instruments.level]
    ... quantity = "slope"
    ... unit = "um/m"
    ... base_mm = 200                # measured twice
    ... standard_uncertainty = 1.0   # typical
    ... '''
    >>> with TemporaryDirectory() as folder:
    ...     path = Path(folder) / "bed.toml"
    ...     _ = path.write_text(text)
    ...     _ = set_instrument_values(path, "level", {"standard_uncertainty": 0.6, "seating_um": 0.3})
    ...     print("".join(path.read_text().splitlines(keepends=True)[-3:]), end="")
    base_mm = 200                # measured twice
    standard_uncertainty = 0.6   # typical
    seating_um = 0.3
    """
    path = Path(path)
    before = read_bed(path)
    if name not in before.instruments:
        known = " | ".join(before.instruments) or "none is described"
        raise BedError(str(path), f"found no instrument {name!r}", known)
    meant = _with_values(before, name, values)
    return change_bed(path, lambda text: _set_in_text(text, name, values), meant)


def change_bed(path: Path | str, change: Callable[[str], str], meant: Bed | None = None) -> Bed:
    """Replace a `bed.toml` by what `change` makes of its text; gives the bed as it then reads.

    Parameters
    ----------
    path : Path
        The `bed.toml`; a link is followed.
    change : callable
        From the old text to the new.
    meant : Bed, optional
        What the new text must describe, its `text` aside; anything else is refused.

    Raises
    ------
    BedError
        As `set_instrument_values`.
    """
    path = Path(path).resolve()
    do = "it is as it was; make room, then try again"
    with told_as(BedError, path, "cannot be written", "a disk and a folder to write in", do):
        old = path.read_bytes()
        new = change(_decoded(old, path))
        _checked(parse_bed(new, str(path)), meant, path)
        with _written_beside(path, new, old) as written:
            bed = _checked(read_bed(written.path), meant, path)
            if path.read_bytes() != old:
                raise BedError(
                    str(path),
                    "was changed by somebody meanwhile",
                    "a file that nobody edits",
                    "save it, then repeat",
                )
            written.put_in_place(replace=True)
    return bed


def _with_values(bed: Bed, name: str, values: Mapping[str, float]) -> Bed:
    instrument = dataclasses.replace(bed.instruments[name], **dict[str, Any](values))
    return dataclasses.replace(bed, instruments={**bed.instruments, name: instrument})


def _set_in_text(text: str, name: str, values: Mapping[str, float]) -> str:
    import tomlkit

    document = tomlkit.parse(text)
    table: Any = document["instruments"][name]
    for key, value in values.items():
        if key in table or not _came_after_last(table, f"{key} = {tomlkit.item(value).as_string()}\n"):
            table[key] = value
    return tomlkit.dumps(document)


def _came_after_last(table: Any, line: str) -> bool:
    """Put a line behind the table's last value, where comments below it stay with what they speak of."""
    from tomlkit.items import AoT, Table

    if not isinstance(table, Table):
        return False
    plain = [item for key, item in table.value.body if key is not None and not isinstance(item, Table | AoT)]
    if not plain or "\n" not in plain[-1].trivia.trail:
        return False
    plain[-1].trivia.trail += line
    return True


def _decoded(raw: bytes, path: Path) -> str:
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise BedError(str(path), "found bytes that are no text", "UTF-8", "save it as UTF-8") from error


def _checked(bed: Bed, meant: Bed | None, path: Path) -> Bed:
    if meant is not None and dataclasses.replace(bed, text="") != dataclasses.replace(meant, text=""):
        raise BedError(
            str(path), "could not be changed without touching more than was meant", "", "change it by hand"
        )
    return bed


def _written_beside(path: Path, text: str, old: bytes) -> NewFile:
    """The new text in a file of its own, with the old file's permissions and byte order mark."""
    mark = b"\xef\xbb\xbf" if old.startswith(b"\xef\xbb\xbf") else b""
    written = NewFile(path)
    try:
        written.write(mark + text.encode("utf-8"))
        with suppress(OSError):
            shutil.copymode(path, written.path)
    except OSError:
        written.close()
        raise
    return written
