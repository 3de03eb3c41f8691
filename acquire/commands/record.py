"""`waylog record`: log a traverse from the instruments' ports."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from acquire.commands.talk import is_quiet, is_verbose, say_cautions, say_notes
from acquire.commands.traverse_options import (
    ask_about_run,
    asked_of,
    doubt_about_run,
    sound_asked,
    sound_options,
    traverse_options,
)
from acquire.model.inch_words import in_owners_unit
from acquire.model.lengths import in_mm
from acquire.model.options import AcrossCommand, Written
from acquire.model.places import end_where_rounded
from acquire.model.position import with_feed_in_mm_per_s
from acquire.model.saying import say
from acquire.model.system import utc_now
from acquire.model.units import clock_text

if TYPE_CHECKING:
    from collections.abc import Iterable

    from acquire.console.showing import Screen
    from acquire.model.bed import Bed, Instrument
    from acquire.model.recorded import Chunk, Event
    from acquire.model.traverse import Setup, Traverse
    from acquire.model.units import Reading
    from acquire.record.recorder import Recording


@click.command(name="record", cls=AcrossCommand)
@click.argument("survey", type=click.Path(path_type=Path))
@click.argument("face", required=False)
@traverse_options()
@click.option(
    "--position",
    metavar="P",
    default="stations",
    show_default=True,
    help="scale:NAME (a second stream), stations (in turn, or Enter at each), or feed:MM_PER_S, "
    "also feed:12in/min.",
)
@click.option("--from", "start", type=Written(), metavar="L", help="With feed: the place where it starts.")
@click.option("--standing", metavar="NAME", help="A second level standing still: its changes are taken off.")
@click.option("--beside", multiple=True, metavar="NAME", help="Keep this instrument too (a temperature).")
@click.option(
    "--settled-seconds",
    "settled_s",
    type=click.FloatRange(0.5, 600),
    metavar="S",
    default=3.0,
    show_default=True,
    help="Stand still so long before the screen takes a station.",
)
@click.option("--seconds", type=click.FloatRange(min=0.1), metavar="S", help="End by itself after so long.")
@click.option(
    "--no-acceleration-correction",
    is_flag=True,
    help="Leave in the tilt that a moving level shows when the carriage speeds up or slows.",
)
@click.option("--window", is_flag=True, help="Show it large in a window as well.")
@sound_options
@click.option("--quiet", is_flag=True, help="Only the beginning, what goes wrong, and the end.")
@click.option(
    "--leave-free",
    "leave_free_mb",
    type=click.FloatRange(min=0),
    default=200,
    show_default=True,
    metavar="MB",
    help="End cleanly before the disk holds less.",
)
@click.pass_context
def command(ctx: click.Context, /, survey: Path, face: str | None, **options: Any) -> int:
    """Log a traverse of FACE from the ports of its instruments.

    Every byte is kept as it comes. It ends with q, Ctrl-C, at the last station or after --seconds;
    then the traverse's file is written. A recording that was killed comes back with `waylog mend`.
    """
    from acquire.record.recorder import Recorder, ending_signals
    from acquire.record.setup_checks import setup_warnings
    from acquire.store import number_of, read_traverse, survey_bed

    bed = survey_bed(survey)
    setup = _setup(bed, survey, face, options)
    from_mm = options["from_mm"] = _start_mm(bed, options["start"])
    _check_position(setup, from_mm)
    beside = [_instrument_beside(bed, name) for name in options["beside"]]
    beforehand = _Beforehand(setup_warnings(setup), bed.is_inch)
    screen = _screen(ctx, survey, setup, beside, options)
    recorder = Recorder(
        survey,
        setup,
        beside=beside,
        observers=(beforehand, screen),
        announced=_announced(from_mm),
        seconds=options["seconds"],
        floor_bytes=int(options["leave_free_mb"] * 1e6),
    )
    with ending_signals(recorder.stop):
        with screen.watch(recorder):
            recording = recorder.run()
        traverse = read_traverse(recording.path)
        for line in summary(recording, screen, traverse.events):
            say(in_owners_unit(line, bed.is_inch))
    _ask_direction(survey, traverse)
    _ask_first_rest(survey, traverse)
    with ending_signals(recorder.stop):  # one that comes late finds the run kept
        doubt = doubt_about_run(ctx, survey, number_of(recording.path))
    ask_about_run(survey, doubt)
    for fault in recorder.faults:
        if not isinstance(fault, OSError):
            raise fault  # a bug of the display: the traverse is safe, the bug shows
    return 0


def _setup(bed: "Bed", survey: Path, face: str | None, options: dict[str, Any]) -> "Setup":
    from acquire.record.setup_checks import make_setup

    return make_setup(
        bed,
        survey,
        source="record",
        created_utc=utc_now(),
        **asked_of(options, face),
        position=with_feed_in_mm_per_s(options["position"]),
        standing=options["standing"],
        acceleration_corrected=not options["no_acceleration_correction"],
    )


def _start_mm(bed: "Bed", start: "Reading | None") -> float | None:
    """Where a feed starts, as was said."""
    return None if start is None else end_where_rounded(bed.length_mm, in_mm(start, bed.is_inch))


def _ask_direction(survey: Path, traverse: "Traverse") -> None:
    """Where the position ran against `--direction`, ask a person which it is; others are told the command."""
    from acquire.record.correcting import correct_direction
    from acquire.reduce.way_gone import OTHER_WAY

    if OTHER_WAY not in traverse.events.kind:
        return
    gone = "forward" if traverse.setup.direction == "reverse" else "reverse"
    if sys.stdin.isatty() and click.confirm(f"Keep it as {gone}?", default=None, err=True):
        correct_direction(survey, traverse.number, gone, "as the position ran")
        say(f"kept as {gone}", err=True)
    elif not sys.stdin.isatty():
        command = f"waylog correct {survey} {traverse.number} --direction {gone} --because 'as it ran'"
        say(f"if it did go {gone}: {command}", err=True)


def _ask_first_rest(survey: Path, traverse: "Traverse") -> None:
    """Where there are more rests than stations, ask a person whether the first one was none."""
    from acquire.record.correcting import correct_stop
    from acquire.reduce.in_order import TOO_MANY

    question = "Was the first of them before the traverse began, and no station?"
    while TOO_MANY in traverse.events.kind and sys.stdin.isatty():
        if not click.confirm(question, default=None, err=True):
            return
        traverse, _ = correct_stop(survey, traverse.number, 1, "before the traverse began")
        say(f"{len(traverse.stations)} stations from the rests that are left", err=True)


class _Beforehand:
    """Says cautions and notes: at once where a person reads, else when the ports are open.

    Whatever reads the errors of a recording that cannot begin then finds one line.
    """

    def __init__(self, notes: "Iterable[str]", inch: bool):
        self._notes: list[str] | None = list(notes)
        self._inch = inch
        if sys.stderr.isatty():
            self._say()

    def chunk(self, chunk: "Chunk") -> None:
        """Bytes are nothing to say something about."""

    def event(self, event: "Event") -> None:
        """The first event comes when the ports are open."""
        self._say()

    def _say(self) -> None:
        if self._notes is not None:
            say_cautions()
            say_notes(self._notes, self._inch)
        self._notes = None


def _announced(from_mm: float | None) -> list[tuple[str, str]]:
    from acquire.reduce.placed import FEED_FROM

    return [] if from_mm is None else [(FEED_FROM, f"{from_mm:.10g}")]


def _check_position(setup: "Setup", from_mm: float | None) -> None:
    """Refuse what cannot be recorded: no port to listen to, a place that is off the bed."""
    from acquire.model.errors import EntryError
    from acquire.model.position import RECORDED
    from acquire.model.units import length_text

    if setup.placed_by.kind == "file":
        raise EntryError("--position file", "found a recording", RECORDED)
    if from_mm is None:
        return
    if not setup.placed_by.is_feed:
        raise EntryError("--from", f"found --position {setup.position}", "feed:MM_PER_S")
    shown, end = (length_text(mm, setup.bed.is_inch) for mm in (from_mm, setup.bed.length_mm))
    if not 0 <= from_mm <= setup.bed.length_mm:
        raise EntryError("--from", f"found {shown}", f"a place from 0 to {end}")


def _instrument_beside(bed: "Bed", name: str) -> "Instrument":
    from acquire.model.errors import EntryError

    if name not in bed.instruments:
        known = " | ".join(bed.instruments) or "none is described"
        raise EntryError(f"--beside {name}", "found no such instrument in bed.toml", known)
    return bed.instruments[name]


def _screen(
    ctx: click.Context, survey: Path, setup: "Setup", beside: list["Instrument"], options: dict[str, Any]
) -> "Screen":
    from acquire.console.showing import Screen
    from acquire.console.sound import aloud
    from acquire.console.window import WindowFeed

    maker = (ctx.find_root().obj or {}).get("companion")
    return Screen(
        survey,
        setup,
        beside=beside,
        settled_s=options["settled_s"],
        company=None if maker is None else lambda: maker(survey, setup),
        has_bell=sound_asked(options) == "bell",
        aloud=aloud(sound_asked(options)),
        is_quiet=options["quiet"] or is_quiet(),
        tells_all=is_verbose(),
        window=WindowFeed if options["window"] else None,
        from_mm=options["from_mm"],
    )


def summary(recording: "Recording", screen: "Screen", events: "Iterable[Event]") -> list[str]:
    """What was kept, and what to look at before the instruments come off the bed."""
    converted = recording.converted
    beside = f" ({converted.garbled} more garbled)" if converted.garbled else ""
    lines = [
        f"{recording.path.name}: {_count(converted.stations, 'station')} from "
        f"{_count(converted.readings, 'reading')}{beside} in {clock_text(round(recording.seconds))} min, "
        f"ended by {recording.ended_by}"
    ]
    live = screen.tracker.tick(recording.seconds)
    described = screen.tracker.setup.bed.instruments
    for name, (good, others) in live.counts.items():
        if name in live.unread:
            lines.append(f"{name}: {unread_words(described[name], live.unread[name])}")
        elif others:
            words = "look at its speed, its pattern and its wiring" if others > good else "left out"
            lines.append(f"{name}: {others} of {good + others} readings not good: {words}")
        elif good == 0:
            lines.append(f"{name}: sent nothing; look at its power, its speed, and the wiring")
    lines += _worth_a_word(events, recording.path)
    if converted.stations == 0:
        lines.append(
            f"no station came of it: look at the events with `waylog show {recording.path}`; "
            "the bytes are kept, and `waylog redo` derives it anew once bed.toml is put right"
        )
    return lines


def unread_words(instrument: "Instrument", count: int) -> str:
    """Bytes came, and never a whole line or frame."""
    is_text = instrument.wire.get("kind") in ("lines", "counter")
    what = "no line end" if is_text else "no whole frame"
    speed = "its speed" if instrument.port is None else f"{instrument.port.baud} baud its speed"
    other = "`ends` right" if is_text else "its wire table right"
    return f"{count:,} byte{'s' if count > 1 else ''}, {what}: is {speed}, and {other}?"


WORTH_A_WORD = (
    "before_begin", "bumped", "creeping", "damage", "feed", "frozen", "lost", "lumps", "no_position",
    "not_taken",    "off_bed", "one_rest", "other_way", "places", "standing", "too_many",
)  # fmt: skip
MOST_WORDS = 12


def _worth_a_word(events: "Iterable[Event]", path: Path) -> list[str]:
    """What the person ought to look at while the instruments are still on the bed."""
    found = [event.text for event in events if event.kind in WORTH_A_WORD and event.text]
    more = [f"and {len(found) - MOST_WORDS} more: `waylog show {path}`"] if len(found) > MOST_WORDS else []
    return [f"look: {text}" for text in found[:MOST_WORDS]] + more


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"
