"""At the end of a run: is it what the rest of the survey makes of it, or was it written down wrongly?"""

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from acquire.commands.talk import say

if TYPE_CHECKING:
    from acquire.model.companion import RunDoubt

RunDoubter = Callable[[Path, int], "RunDoubt | None"]
"""Handed in by the command table: survey folder and number of the run to what is doubtful of it."""


def doubt_about_run(ctx: click.Context, survey: Path, number: int | None) -> "RunDoubt | None":
    """What the other runs contradict in a run; None where nothing, or where there are no others."""
    from acquire.store import files_of

    doubter: RunDoubter | None = (ctx.find_root().obj or {}).get("run_doubt")
    if doubter is None or number is None or len(files_of(survey)) < 2:
        return None
    return doubter(survey, number)


def ask_about_run(survey: Path, doubt: "RunDoubt | None") -> None:
    """Say what the other runs contradict; a person is asked whether it was so, and then it is mended.

    Nothing is altered unasked: without a terminal the command that mends it is told.
    """
    if doubt is None:
        return
    say(f"? {doubt.says}.", err=True)
    if not sys.stdin.isatty():
        return
    for mend in doubt.mends:
        if click.confirm(mend.question, default=False, err=True):
            _mend(survey, mend.traverses, mend.redo_as)
            return


def _mend(survey: Path, traverses: tuple[int, ...], redo_as: tuple[str, ...]) -> None:
    from acquire.record.redoing import redo

    for done in redo(survey, traverses, corrections=redo_as):
        what = " and ".join(redo_as)
        say(f"traverse {done.number} is taken as {what}; what was written stays in the file", err=True)
    numbers = " ".join(map(str, traverses))
    say(f"`waylog redo {survey} {numbers} --as written` takes that back", err=True)
