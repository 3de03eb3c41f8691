"""`waylog enter`: type the readings of a traverse, station by station."""

import math
import sys
import time
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from acquire.commands.talk import say_cautions, say_notes
from acquire.commands.traverse_options import (
    ask_about_run,
    asked_of,
    doubt_about_run,
    entry_options,
    sound_asked,
    sound_options,
    traverse_options,
)
from acquire.model.lengths import in_mm
from acquire.model.options import AcrossCommand
from acquire.model.saying import say
from acquire.model.system import utc_now

if TYPE_CHECKING:
    from collections.abc import Callable

    from acquire.entry.asking import Asker
    from acquire.entry.under_way import Entry
    from acquire.model.traverse import Setup
    from acquire.store.journal import JournalWriter


@click.command(name="enter", cls=AcrossCommand)
@click.argument("survey", type=click.Path(path_type=Path))
@click.argument("face", required=False)
@traverse_options()
@entry_options
@click.option("--sheet", is_flag=True, help="From a filled sheet: top to bottom, whatever the direction.")
@sound_options
@click.option("--resume/--new", "resume", default=None, help="Go on with an entry cut short, or begin anew.")
@click.pass_context
def command(
    ctx: click.Context,
    /,
    survey: Path,
    face: str | None,
    unit: str | None,
    resume: bool | None,
    **options: Any,
) -> int:
    """Ask for the readings on FACE station by station; each is on disk as soon as it is typed.

    Type a number, with a unit if it is not the instrument's own: +3, 3.5 thou, -0,02 mm, 2 div.
    b goes back, n to the next unread station, r reads the last station once more, - leaves a gap,
    q ends here and keeps what was read. Enter alone asks again. An instrument whose cable types like
    a keyboard may end its readings with Enter or Tab; only a hand answers questions. An entry that
    was cut short (Ctrl-C, a closed terminal, a flat battery) goes on where it stopped when the same
    command is given again. Without a terminal, lines are taken as they come.
    """
    from acquire.record.keeping import resumable
    from acquire.record.setup_checks import make_setup, setup_warnings
    from acquire.store import survey_bed
    from acquire.store.journal import JournalWriter, begin

    asked = {**asked_of(options, face), "unit": unit}
    setup = make_setup(survey_bed(survey), survey, source="enter", created_utc=utc_now(), **asked)
    _places(setup, options)
    say_cautions()
    say_notes(setup_warnings(setup), setup.bed.is_inch)
    left = resumable(survey, setup)
    is_resumed = left is not None and _goes_on(left, resume)
    writer = JournalWriter.reopen(left) if left is not None and is_resumed else begin(survey, setup)
    return _enter(ctx, survey, writer, options)


def _goes_on(left: Path, resume: bool | None) -> bool:
    """Whether to go on with an entry that was cut short: as said, as answered, else yes."""
    if resume is None and sys.stdin.isatty():
        resume = click.confirm(f"{left.name} was cut short. Go on with it?", default=True, err=True)
    if resume is None or resume:
        say(f"going on with {left.name}", err=True)
        return True
    return False


def _enter(ctx: click.Context, survey: Path, writer: "JournalWriter", options: dict[str, Any]) -> int:
    from acquire.console.sound import sounding
    from acquire.console.typed_lines import typed_lines
    from acquire.entry.asking import Manner, enter_readings
    from acquire.entry.under_way import Entry
    from acquire.record.keeping import keep_line, lines_of

    with writer, typed_lines() as next_typed, sounding(sound_asked(options)) as sound:
        setup = writer.setup
        entry = Entry.begun(setup, _places(setup, options), lines_of(writer.path), options["closing"])
        asker = _asker(setup, next_typed, sound, is_from_sheet=options["sheet"])
        manner = Manner.asked(options["vial"], options["settle_s"], _companion(ctx, survey, setup))
        entry, is_ended = enter_readings(entry, asker, lambda line: keep_line(writer, line), manner)
        if is_ended and entry.taken:
            writer.end(True, 0.0 if options["sheet"] else asker.seconds())
    return _finished(ctx, survey, entry, is_ended, writer)


def _places(setup: "Setup", options: dict[str, Any]) -> tuple[float, ...]:
    from acquire.entry.under_way import stations_to_read

    asked = (options[name] for name in ("step", "start", "end"))
    given = (in_mm(each, setup.bed.is_inch) for each in asked)
    places = stations_to_read(setup, *given)
    return tuple(sorted(places)) if options["sheet"] else places


def _finished(
    ctx: click.Context, survey: Path, entry: "Entry", is_ended: bool, writer: "JournalWriter"
) -> int:
    from acquire.entry.doubts import closing_words, summary_words
    from acquire.model.errors import EntryError
    from acquire.record.keeping import made_traverse

    if not entry.lines:
        writer.path.unlink()
        if is_ended:
            say("stopped: nothing was read, nothing is kept", err=True)
            return 0
        raise EntryError(
            "enter", "the input ended before a reading: nothing was read, nothing is kept", "readings"
        )
    if not is_ended or not entry.taken:
        say(f"stopped: {entry.taken} readings kept in {writer.path.name}, {entry.unread} to go", err=True)
        say("go on with the same command; or `waylog mend` makes a traverse of what is there", err=True)
        return 0
    path = made_traverse(writer)
    if (drift := closing_words(entry)) is not None:
        say(drift)
    say(summary_words(entry))
    say(f"traverse {writer.setup.number}: {path}")
    ask_about_run(survey, doubt_about_run(ctx, survey, writer.setup.number))
    return 0


def _asker(
    setup: "Setup",
    next_typed: "Callable[[], str | None]",
    sound: "Callable[[str, str], None]",
    is_from_sheet: bool,
) -> "Asker":
    import shutil

    from acquire.entry.asking import Asker
    from acquire.record.keeping import seconds_since_begun

    is_person = sys.stdin.isatty()
    return Asker(
        ask=partial(_ask_person, next_typed) if is_person else _next_line,
        say=lambda words: say(words, err=True),
        # when a sheet is copied says nothing of when it was measured: the direction gives the order
        seconds=lambda: math.nan if is_from_sheet else seconds_since_begun(setup),
        is_person=is_person,
        wait=time.sleep,
        columns=shutil.get_terminal_size().columns,
        sound=sound if is_person else lambda kind, words: None,
    )


def _ask_person(next_typed: "Callable[[], str | None]", prompt: str) -> str | None:
    click.echo(prompt, nl=False, err=True)
    return next_typed()


def _next_line(_: str) -> str | None:
    """One line as it was typed or sent; None at the end of input or where it was interrupted.

    The end of input within a line is no end of that line: "12" may be the half of "12.5".
    """
    try:
        line = sys.stdin.readline()
    except KeyboardInterrupt:
        click.echo("", err=True)
        return None
    except UnicodeDecodeError:
        return "?"
    if line and not line.endswith("\n"):
        say(f"the input ended within a line, which is not taken: {line[:40]!r}", err=True)
    return line if line.endswith("\n") else None


def _companion(ctx: click.Context, survey: Path, setup: "Setup") -> Any:
    """What looks over the shoulder, if the command table handed one in."""
    maker = (ctx.find_root().obj or {}).get("companion")
    return maker(survey, setup) if maker is not None and sys.stdin.isatty() else None
