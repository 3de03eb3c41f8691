"""`waylog correct`: one misread of a traverse corrected or struck out."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from acquire.model.position import DIRECTIONS
from acquire.model.saying import say
from acquire.model.units import length_text

if TYPE_CHECKING:
    from acquire.record.correcting import Misread

REASON = "such as 'a zero too many'"


@click.command(name="correct")
@click.argument("survey", type=click.Path(path_type=Path))
@click.argument("number", metavar="N", type=click.IntRange(min=1))
@click.option("--station", "place", metavar="S", help="Where: 450, 450mm, 18in.")
@click.option(
    "--repeat", type=click.IntRange(min=1), metavar="K", help="Of several readings there, this one."
)
@click.option(
    "--reading", "words", metavar="R", help="What should have been read, as the instrument shows it."
)
@click.option("--strike", is_flag=True, help="The reading does not count.")
@click.option("--as-read", is_flag=True, help="Take an earlier correction back.")
@click.option("--direction", type=click.Choice(DIRECTIONS), help="Of the whole run: which way it went.")
@click.option(
    "--no-station",
    type=click.IntRange(min=1),
    metavar="K",
    help="Of a run in turn: its Kth rest was no station.",
)
@click.option("--because", metavar="WHY", help=f"What was wrong, {REASON}; kept with the reading.")
def command(
    survey: Path,
    number: int,
    place: str | None,
    repeat: int | None,
    direction: str | None,
    no_station: int | None,
    because: str | None,
    **asked: Any,
) -> int:
    """Correct one misread at station S of traverse N, or strike it out; or say which way it went.

    A bare number is in the unit in which the traverse was read. What was read stays in the file,
    beside the reason, and in `waylog show`; the file as it was goes to traverses/superseded. For a
    whole run that went wrong see `waylog undo` and `waylog redo`. On a terminal, what is not said
    is asked.
    """
    if sum(each is not None for each in (place, direction, no_station)) != 1:
        raise click.UsageError("Say which reading: --station S; or of the run: --direction or --no-station.")
    if no_station is not None:
        return _no_station(survey, number, no_station, _reason(because))
    if direction is not None:
        return _direction(survey, number, direction, _reason(because))
    return _one_reading(survey, number, place or "", repeat, because, asked)


def _no_station(survey: Path, number: int, which: int, because: str) -> int:
    from acquire.record.correcting import correct_stop

    traverse, kept = correct_stop(survey, number, which, because)
    say(f"traverse {number}: rest {which} is no station; {len(traverse.stations)} stations are left")
    say(f"the file as it was: superseded/{kept.name}")
    return 0


def _direction(survey: Path, number: int, direction: str, because: str) -> int:
    from acquire.record.correcting import correct_direction

    kept = correct_direction(survey, number, direction, because)
    say(f"traverse {number} went {direction}\nthe file as it was: superseded/{kept.name}")
    return 0


def _one_reading(
    survey: Path, number: int, place: str, repeat: int | None, because: str | None, asked: dict[str, Any]
) -> int:
    from acquire.record.correcting import correct, find_misread
    from acquire.reduce.written.readings import place_of
    from acquire.store import survey_bed

    station_mm = place_of(place, "in" if survey_bed(survey).is_inch else "mm")
    misread = find_misread(survey, number, station_mm, repeat)
    words, as_read = _wanted(misread, **asked)
    if words is None and not as_read and not asked["strike"]:
        say("nothing was changed", err=True)
        return 0
    reason = _reason(because)
    done = correct(survey, misread, reason, None if words in (None, "-") else words, as_read=as_read)
    setup, correction = done.setup, done.correction
    where = f"traverse {number}, {setup.subject} by {setup.instrument}, at {_place(misread)}"
    say(f"{where}: {_in_full(correction.now, misread.unit)} instead of {correction.was}")
    say(f"the file as it was: superseded/{done.kept.name}")
    if done.others_changed:
        say(
            f"  look: {done.others_changed} other readings came out otherwise than before: "
            "this waylog reads the raw bytes in another way than the one that made the file",
            err=True,
        )
    return 0


def _place(misread: "Misread") -> str:
    return length_text(misread.station_mm, misread.traverse.setup.bed.is_inch)


def _wanted(misread: "Misread", words: str | None, strike: bool, as_read: bool) -> tuple[str | None, bool]:
    """What is to count, as asked for or as answered: a reading, "-" to strike it out, None for neither."""
    if sum((words is not None, strike, as_read)) > 1:
        raise click.UsageError("One of --reading, --strike and --as-read.")
    if words is not None or as_read:
        return words, as_read
    if strike:
        return "-", False
    if not sys.stdin.isatty():
        raise click.UsageError("Say what is to count: --reading R, --strike or --as-read.")
    return _asked(misread), False


def _asked(misread: "Misread") -> str | None:
    from acquire.model.errors import EntryError
    from acquire.reduce.written.readings import GAPS
    from acquire.reduce.written.typed import typed_reading

    setup = misread.traverse.setup
    since = f", corrected since to {misread.now}" if misread.now else ""
    click.echo(f"traverse {setup.number}, {setup.subject} by {setup.instrument}: ", nl=False, err=True)
    say(f"{misread.was} was read at {_place(misread)}{since}.", err=True)
    while True:
        prompt = f"what should stand there ({misread.unit}; - strikes it out, Enter leaves it)"
        words = click.prompt(prompt, default="", show_default=False, err=True).strip()
        if not words:
            return None
        if words in GAPS:
            return "-"
        try:
            typed_reading(setup.described, words, misread.unit)
            return words
        except EntryError as error:
            say(f"  {error.found}; needed: {error.needed}", err=True)


def _reason(because: str | None) -> str:
    from acquire.model.corrections import LONGEST_REASON

    if because is None and sys.stdin.isatty():
        because = click.prompt(f"why ({REASON})", err=True)
    reason = " ".join((because or "").split())
    if not reason:
        raise click.UsageError(f"Say why: --because WHY, {REASON}. It is kept with the reading.")
    if len(reason) > LONGEST_REASON:
        raise click.UsageError(
            f"--because holds {len(reason)} characters; {LONGEST_REASON} at most are kept."
        )
    return reason


def _in_full(now: str, unit: str) -> str:
    """A bare number with its unit."""
    return f"{now} {unit}" if now[-1:].isdigit() else now
