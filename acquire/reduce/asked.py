"""Whether what was asked for, and the description it was asked with, can be derived at all.

A setup comes out of a journal or a file, and `redo` puts the present bed.toml under it: an
instrument may have been renamed or lost its wire table since, and a file may be anybody's.
"""

from collections.abc import Iterable

from acquire.model.errors import EntryError, TraverseFileError
from acquire.model.position import Position
from acquire.model.traverse import Setup
from acquire.reduce.streams import instruments_recorded
from acquire.store.journal import Event


def check_can_be(setup: Setup, events: Iterable[Event]) -> None:
    """Refuse a setup that does not fit its own bed.toml.

    Raises
    ------
    TraverseFileError
        If the instrument is not described, measures something else, is not described on the
        wire though its bytes were recorded, or its position names no way to tell the place.
    """
    where = f"traverse {setup.number:03d}"
    if setup.described.quantity != setup.quantity:
        raise TraverseFileError(
            where, f"{setup.instrument} is described as reading {setup.described.quantity}", setup.quantity
        )
    if setup.source != "record":
        return
    try:
        Position.parse(setup.position)
    except EntryError as error:
        raise TraverseFileError(where, error.found, error.needed) from error
    for instrument in instruments_recorded(setup, events):
        if "kind" not in instrument.wire:
            raise TraverseFileError(
                where,
                f"bed.toml does not say how {instrument.name} speaks",
                f"[instruments.{instrument.name}.wire], as when it was recorded",
            )
