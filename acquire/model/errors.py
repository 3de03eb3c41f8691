"""The error tree, split by what the caller can do about it.

Every message is one line: *where* it happened, what was *found*, what was
*needed*, and what to *do*.  The command line prints it and ends with exit code 1;
anything that is not a `WaylogError` is a bug and shows its traceback.
"""

import os
import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager

LIKE = 0.65
"""Share of letters in common from which on a word is proposed."""


def did_you_mean(word: str, words: Iterable[str]) -> str:
    """A question that names the nearest one or two, or an empty text.

    Examples
    --------
    >>> did_you_mean("front-ve", ["front-vee", "rear-flat"]), did_you_mean("Slop", ["slope", "roll"])
    ('did you mean front-vee?', 'did you mean slope?')
    >>> did_you_mean("underside", ["front-vee", "rear-flat"])
    ''
    """
    import difflib  # imported where used: most runs have no wrong word

    known = {each.lower(): each for each in words}
    likely = difflib.get_close_matches(word.lower(), known, n=2, cutoff=LIKE)
    return f"did you mean {' or '.join(known[each] for each in likely)}?" if likely else ""


NO_SUCH = "no such "


class WaylogError(Exception):
    """An expected failure, told in one line.

    Parameters
    ----------
    where : str
        The file, table, port or station concerned.
    found : str
        What was met there.
    needed : str, optional
        What would have been accepted.
    do : str, optional
        What the person can do next.

    Examples
    --------
    >>> str(WaylogError("bed.toml [bed] length_mm", "found -5", "a length above 0 mm", "correct it"))
    'bed.toml [bed] length_mm: found -5; needed: a length above 0 mm. Correct it.'
    """

    def __init__(self, where: str, found: str, needed: str = "", do: str = ""):
        self.where, self.found, self.needed, self.do = where, found, needed, do
        text = f"{where}: {found}"
        if needed:
            text += f"; needed: {needed}"
        if meant := _meant(where, found, needed):
            text += f". {meant[0].upper()}{meant[1:]}"
        if do:
            text += f". {do[0].upper()}{do[1:]}"
        text = " ".join(text.split())
        super().__init__(text if text.endswith((".", "?")) else text + ".")


def _meant(where: str, found: str, needed: str) -> str:
    """Of a name that is not known, the near one of those that are.

    Examples
    --------
    >>> _meant("face 'rear-flt'", "found no such face in bed.toml", "front-vee | rear-flat")
    'did you mean rear-flat?'
    """
    if NO_SUCH not in found or not needed:
        return ""
    return did_you_mean(where.split()[-1].strip("'\""), re.split(r" \| |, ", needed))


@contextmanager
def told_as(
    kind: type[WaylogError], where: object, found: str, needed: str = "", do: str = ""
) -> Iterator[None]:
    """Tell what the system refuses meanwhile as an error of ours; its own words stand behind `found`.

    Examples
    --------
    >>> with told_as(SurveyError, "notes", "cannot be written"):
    ...     raise OSError(28, "No space left on device")
    Traceback (most recent call last):
    acquire.model.errors.SurveyError: notes: cannot be written (No space left on device).
    """
    try:
        yield
    except OSError as error:
        said = error.strerror or str(error)
        if error.errno and "errno" in said:  # HDF5 adds file, time, address and more
            said = os.strerror(error.errno)
        raise kind(str(where), f"{found} ({said})", needed, do) from error


class AcquireError(WaylogError):
    """Something on the measuring side."""


class UnitError(AcquireError):
    """A unit or a number that cannot be read as meant."""


class BedError(AcquireError):
    """bed.toml says something that cannot be; all of it is reported in one go."""


class SurveyError(AcquireError):
    """The survey folder is not as expected."""


class TraverseFileError(AcquireError):
    """An HDF5 file that is not ours, newer than us, or damaged."""


class PortError(AcquireError):
    """A port cannot be opened or has gone; the recorder tries again."""


class RecordingError(AcquireError):
    """The recording must stop; what was captured is kept."""


class EntryError(AcquireError):
    """Typed or imported readings that cannot be taken."""


class AnalysisError(WaylogError, ValueError):
    """The readings cannot answer what was asked."""
