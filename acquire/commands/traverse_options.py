"""What `record`, `enter` and `import` share: options that say what is measured, and a question at the end.

The question: is the run what the rest of the survey makes of it, or was it written down wrongly?
"""

import sys
from collections.abc import Callable
from functools import reduce
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from acquire.model.options import ABOVE_0, Written
from acquire.model.position import DIRECTIONS, MODES
from acquire.model.reference import CARRIAGE
from acquire.model.saying import say

if TYPE_CHECKING:
    from acquire.model.companion import RunDoubt, RunDoubter


_OPTIONS = (
    click.option(
        "--across",
        nargs=2,
        metavar="FRONT REAR",
        help="Roll: the two faces it bridges; or: --across carriage.",
    ),
    click.option(
        "--reference",
        "-r",
        metavar="R",
        help="Offset: what carries it: FACE, A+B, carriage, straightedge:NAME, wire:NAME or line.",
    ),
    click.option("--other", metavar="F2", help="Span: the second face."),
    click.option("--inside", is_flag=True, help="Span: between two faces that look at each other."),
    click.option(
        "--direction",
        type=click.Choice(DIRECTIONS),
        default="forward",
        show_default=True,
        help="Forward: away from station 0.",
    ),
    click.option("--mode", type=click.Choice(MODES), help="Said rather than decided by the spacing."),
    click.option("--turned", is_flag=True, help="The level stands turned end for end."),
    click.option("--turned-over", is_flag=True, help="The straightedge is turned over (its shape reverses)."),
    click.option(
        "--same-zero-as",
        type=click.IntRange(min=1),
        metavar="N",
        help="Nothing was touched since traverse N, same carrier.",
    ),
)

_ENTRY_OPTIONS = (
    click.option("--unit", metavar="U", help="Unit of bare numbers, where it is not the instrument's own."),
    click.option("--step", type=ABOVE_0, metavar="L", help="Step along the bed; of a level: its base."),
    click.option("--from", "start", type=Written(), metavar="L", help="Begin here."),
    click.option("--to", "end", type=Written(), metavar="L", help="End here."),
    click.option("--closing", is_flag=True, help="Read the first station again at the end: shows drift."),
    click.option("--vial", is_flag=True, help="Read both ends of the bubble; their mean counts."),
    click.option(
        "--settle", "settle_s", type=click.FloatRange(0, 600), metavar="S", help="Wait before each reading."
    ),
)

SOUNDS = ("bell", "tones", "speech", "off")

_NAMES = (
    "instrument", "across", "reference", "other", "inside", "direction", "turned", "turned_over",
    "same_zero_as",
)  # fmt: skip


Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]


def traverse_options(*, needs_instrument: bool = True) -> Decorator:
    """Add the shared options to a command; `asked_of` makes of their values what `make_setup` takes."""
    instrument = click.option(
        "--instrument", "-i", required=needs_instrument, metavar="I", help="Instrument in bed.toml."
    )

    return _added(instrument, *_OPTIONS)


def entry_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add what readings typed at a prompt or on a page have in common: unit, stretch, how each is read."""
    return _added(*_ENTRY_OPTIONS)(function)


def _added(*options: Decorator) -> Decorator:
    return lambda function: reduce(lambda done, option: option(done), reversed(options), function)


def sound_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add `--sound KIND` and `--no-sound` to a command; `sound_asked` gives the kind."""
    kind = click.option(
        "--sound",
        type=click.Choice(SOUNDS),
        default=SOUNDS[0],
        show_default=True,
        help="One when a station is taken, another when something is wrong.",
    )
    return kind(click.option("--no-sound", is_flag=True, help="The same as --sound off.")(function))


def sound_asked(options: dict[str, Any]) -> str:
    """Which kind of sound is wanted."""
    return "off" if options["no_sound"] else str(options["sound"])


def asked_of(options: dict[str, Any], face: str | None) -> dict[str, Any]:
    """What `make_setup` takes, out of the values of `traverse_options`."""
    across = options["across"]
    asked = {name: options[name] for name in _NAMES}
    if across is not None and across[0] == CARRIAGE:
        asked["across"] = (CARRIAGE,)
    return {**asked, "mode": options["mode"] or "", "face": face}


def doubt_about_run(ctx: click.Context, survey: Path, number: int | None) -> "RunDoubt | None":
    """What the other runs contradict in a run; None where nothing."""
    doubter: RunDoubter | None = (ctx.find_root().obj or {}).get("run_doubt")
    return None if doubter is None or number is None else doubter(survey, number)


def ask_about_run(survey: Path, doubt: "RunDoubt | None") -> None:
    """Say what the other runs contradict; a person is asked whether it was so, and then it is mended.

    Nothing is altered unasked: without a terminal the command that mends it is told.
    """
    if doubt is None:
        return
    say(f"? {doubt.says}.", err=True)
    if not sys.stdin.isatty():
        return
    from acquire.record.redoing import mended

    for mend in doubt.mends:
        if click.confirm(mend.question, default=False, err=True):
            say(mended(survey, mend), err=True)
            return
