"""Whether what was asked for, and the description it was asked with, can be derived at all.

A setup comes out of a journal or a file, and `redo` puts the present bed.toml under it: an
instrument may have been renamed or lost its wire table since, and a file may be anybody's.
"""

import math
from collections.abc import Iterable

from acquire.model.errors import TraverseFileError
from acquire.model.traverse import Setup
from acquire.reduce.streams import instruments_recorded
from acquire.store.journal import Event


def check_can_be(setup: Setup, events: Iterable[Event]) -> None:
    """Refuse a setup that does not fit its own bed.toml.

    Raises
    ------
    TraverseFileError
        If the instrument is not described, measures something else, is not described on the
        wire though its bytes were recorded, or the feed is no speed.
    """
    where = f"traverse {setup.number:03d}"
    if setup.described.quantity != setup.quantity:
        raise TraverseFileError(
            where, f"{setup.instrument} is described as reading {setup.described.quantity}", setup.quantity
        )
    if setup.source != "record":
        return
    for instrument in instruments_recorded(setup, events):
        if "kind" not in instrument.wire:
            raise TraverseFileError(
                where,
                f"bed.toml does not say how {instrument.name} speaks",
                f"[instruments.{instrument.name}.wire], as when it was recorded",
            )
    kind, _, feed = setup.position.partition(":")
    if kind == "feed" and not _is_speed(feed):
        raise TraverseFileError(where, f"found a feed of {feed[:20]!r}", "mm/s above 0")


def _is_speed(text: str) -> bool:
    try:
        return 0 < float(text) < math.inf
    except ValueError:
        return False
