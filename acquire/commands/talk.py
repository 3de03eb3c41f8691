"""What commands say beside their answer: cautions, notes, how far long work has come; all on stderr."""

import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager

import click

from acquire.model.inch_words import in_owners_unit
from acquire.model.saying import say

CAUTION = (
    "caution: isolate the machine and lock it off first; wire nothing to its control;",
    "  no hands, cables or stands near power feed, leadscrew or chuck.",
)
PLACING_CAUTION = (
    CAUTION[0],
    "  lift with both hands, strong magnets pinch; stay clear of leadscrew and chuck.",
)


def is_quiet() -> bool:
    """Whether only answers and faults are wanted: `waylog --quiet COMMAND`."""
    return _asked("quiet")


def is_verbose() -> bool:
    """Whether all there is to say is wanted: `waylog --verbose COMMAND`."""
    return _asked("verbose")


def _asked(what: str) -> bool:
    context = click.get_current_context(silent=True)
    return bool(context is not None and context.find_root().params.get(what))


def say_cautions(lines: Sequence[str] = CAUTION) -> None:
    """The two lines that come before instruments go on a machine, whatever was asked for."""
    for line in lines:
        say(line, err=True)


def say_notes(notes: Iterable[str], inch: bool = False) -> None:
    """What ought to be known before the readings are believed."""
    for words in notes:
        if not is_quiet():
            say(f"note: {in_owners_unit(words, inch)}", err=True)


@contextmanager
def progress(steps: int) -> Iterator[Callable[[], None]]:
    """A bar for so many traverses to be derived, on a terminal only; gives what is called after each step."""
    if is_quiet() or steps < 2 or not sys.stderr.isatty():
        yield lambda: None
        return
    with click.progressbar(length=steps, label="deriving", file=sys.stderr) as bar:
        yield lambda: bar.update(1)
