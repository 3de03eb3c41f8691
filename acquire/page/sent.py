"""What a page sends, taken apart and refused where it is not what was agreed."""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Self, TypeGuard

from acquire.entry.under_way import Slot
from acquire.model.errors import AcquireError, EntryError

MOST_WORDS = 60
NAME = re.compile(r"[A-Za-z0-9_-]{8,64}")
"""Of a reading: long enough that two phones do not draw the same."""


class Conflict(AcquireError):
    """What was sent does not follow on what is there; nothing of it was stored."""

    def __init__(self, found: str, needed: str, stands: str | None = None):
        super().__init__("page", found, needed)
        self.stands = stands
        """The words that stand there now."""


@dataclass(frozen=True)
class Sent:
    """One reading as a page sends it."""

    run: str
    sent_as: str
    slot: Slot
    words: str
    before: str | None
    """What the sender saw in its place; None: nothing."""
    age_s: float
    """How long ago it was typed."""

    @classmethod
    def of(cls, body: Mapping[str, Any]) -> Self:
        """Of what was sent.

        Raises
        ------
        EntryError
            If anything of it is missing or of another kind.
        """
        before, age_s = body.get("before"), body.get("age_s", 0.0)
        if before is not None:
            before = text_of(body, "before", MOST_WORDS)
        if not NAME.fullmatch(text_of(body, "sent_as", 64)):
            raise EntryError("sent_as", f"found {str(body['sent_as'])[:70]!r}", "8 to 64 letters and digits")
        if not _is_number(age_s) or age_s < 0:
            raise EntryError("age_s", f"found {age_s!r:.40}", "seconds since it was typed")
        words = plain_words(text_of(body, "words", MOST_WORDS))
        if not words:  # at a prompt Enter alone is no reading either; a gap is said by a stroke
            raise EntryError("reading", "found nothing", "a number, or - for a gap")
        return cls(text_of(body, "run", 64), body["sent_as"], slot_of(body), words, before, float(age_s))


def plain_words(words: str) -> str:
    """As they are kept: single blanks, none around.

    Examples
    --------
    >>> plain_words(" 3  thou ")
    '3 thou'
    """
    return " ".join(words.split())


def slot_of(body: Mapping[str, Any]) -> Slot:
    """Which reading is meant."""
    station_mm, repeat = body.get("station_mm"), body.get("repeat", 1)
    if not _is_number(station_mm) or type(repeat) is not int or not 1 <= repeat < 1000:
        raise EntryError("reading", "found no place for it", "station_mm and repeat")
    return Slot(float(station_mm), repeat)


def text_of(body: Mapping[str, Any], name: str, most: int) -> str:
    """A text that must be there, of at most so many characters."""
    text = body.get(name)
    if not isinstance(text, str) or len(text) > most or not (text.isprintable() or text == ""):
        raise EntryError(name, f"found {text!r:.60}", f"a text of at most {most} characters")
    return text


def _is_number(value: Any) -> TypeGuard[float]:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
