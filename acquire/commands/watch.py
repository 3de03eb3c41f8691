"""`waylog watch`: all instruments side by side; a still record, seating, and a level's zero."""

import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from acquire.commands.talk import CAUTION, PLACING_CAUTION, say_cautions
from acquire.model.inch_words import in_owners_unit
from acquire.model.saying import say

if TYPE_CHECKING:
    from acquire.bench.bench_session import BenchSession
    from acquire.model.bed import Bed, Instrument

FOOT = "q: end"
PLAIN_WHILE_MEASURING_S = 10.0
SIGNIFICANT = 2


@click.command(name="watch")
@click.argument("survey", type=click.Path(path_type=Path))
@click.option("--instrument", "names", multiple=True, metavar="I", help="Only this one; once for each.")
@click.option("--seconds", type=click.FloatRange(min=0.1), metavar="S", help="End by itself after so long.")
@click.option(
    "--still",
    "still_minutes",
    type=click.FloatRange(min=0.05),
    metavar="MINUTES",
    help="Let them stand: noise, drift and step of each; ten minutes are good.",
)
@click.option(
    "--replace",
    type=click.IntRange(4, 100),
    metavar="N",
    help="Seating: lift one instrument and put it back so many times; ten are good.",
)
@click.option("--reverse-end", is_flag=True, help="The zero of one level: turn it end for end and back.")
@click.option(
    "--dwell",
    "dwell_s",
    type=click.FloatRange(0.2, 600),
    default=3.0,
    show_default=True,
    metavar="S",
    help="How long one station is read.",
)
@click.option("--across", nargs=2, metavar="FRONT REAR", help="The two faces a cross level bridges.")
@click.option("--write", is_flag=True, help="Write what was measured into bed.toml without asking.")
def command(survey: Path, names: tuple[str, ...], **options: Any) -> int:
    """Show what the instruments of SURVEY send, side by side and large.

    With --still, --replace or --reverse-end it measures what they are worth, and offers to write
    that into bed.toml (without a terminal only with --write).
    """
    _refuse_what_cannot_be_measured(options)
    from acquire.store import survey_bed

    bed = survey_bed(survey)
    instruments = _chosen(bed, names, needs_one=bool(options["replace"] or options["reverse_end"]))
    say_cautions(PLACING_CAUTION if options["replace"] or options["reverse_end"] else CAUTION)
    with _session(instruments, bed.is_inch, options) as session:
        values, lines = _measured(session, bed, instruments, options)
    for line in lines:
        say(line)
    return _offer(survey / "bed.toml", bed, values, options)


def _refuse_what_cannot_be_measured(options: Mapping[str, Any]) -> None:
    given = [name for name in ("still_minutes", "replace", "reverse_end") if options[name]]
    if len(given) > 1:
        raise click.UsageError("one of --still, --replace and --reverse-end at a time.")
    from acquire.bench.still import FEWEST_DWELLS

    least_s = FEWEST_DWELLS * options["dwell_s"]
    if options["still_minutes"] and options["still_minutes"] * 60 < least_s:
        raise click.UsageError(
            f"--still {options['still_minutes']:g} is too short for {FEWEST_DWELLS} stretches of "
            f"{options['dwell_s']:g} s; needed: {least_s / 60:.2g} minutes at least, ten are good."
        )


def _chosen(bed: "Bed", names: tuple[str, ...], needs_one: bool) -> list["Instrument"]:
    from acquire.model.errors import EntryError

    speaking = [instrument for instrument in bed.instruments.values() if instrument.speaks]
    known = " | ".join(i.name for i in speaking)
    if not speaking:
        raise EntryError(
            "bed.toml",
            "found no instrument with a port",
            "an [instruments.NAME.port] table",
            "see `waylog identify`",
        )
    for name in names:
        if name not in [instrument.name for instrument in speaking]:
            raise EntryError(f"--instrument {name}", "found no such instrument with a port", known)
    chosen = [i for i in speaking if not names or i.name in names]
    if needs_one and len(chosen) != 1:
        raise click.UsageError(f"--replace and --reverse-end need one --instrument: {known}.")
    return chosen


@contextmanager
def _session(
    instruments: list["Instrument"], inch: bool, options: Mapping[str, Any]
) -> Iterator["BenchSession"]:
    """Ports opened, a page or plain lines, keys where there is a terminal, signals that end it."""
    from acquire.bench.bench_session import BenchSession
    from acquire.bench.listening import Receiver
    from acquire.console.keys import keys
    from acquire.record.recorder import ending_signals

    measures = bool(options["still_minutes"] or options["replace"] or options["reverse_end"])
    with ExitStack() as stack:
        receiver: Receiver = stack.enter_context(Receiver(instruments, time.monotonic, keeps_all=measures))
        view = _view(stack, inch, measures)
        pressed = stack.enter_context(keys()) if sys.stdin.isatty() else None
        key = (lambda: pressed(0.0)) if pressed else lambda: ""
        session = BenchSession(receiver, view, key, options["seconds"])
        stack.enter_context(ending_signals(session.stop))
        yield session


def _view(stack: ExitStack, inch: bool, measures: bool) -> Any:
    from acquire.bench.views import PageView, PlainView

    page = PageView(FOOT, inch)
    if page.can_redraw:
        return stack.enter_context(page)

    def tell(words: str) -> None:
        say(words, err=True)

    return PlainView(say, tell, PLAIN_WHILE_MEASURING_S if measures else 1.0, inch)


Values = dict[str, dict[str, float]]


def _measured(
    session: "BenchSession", bed: "Bed", instruments: list["Instrument"], options: Mapping[str, Any]
) -> tuple[Values, list[str]]:
    """What may be written, by instrument and key, and what is to be said."""
    from acquire.bench import words

    dwell_s = options["dwell_s"]
    if options["still_minutes"]:
        return _stood_still(session, options["still_minutes"] * 60, dwell_s)
    if not options["replace"] and not options["reverse_end"]:
        session.look_on()
        return {}, []
    (instrument,) = instruments
    gauge_mm = _gauge_mm(bed, options["across"])
    if options["reverse_end"]:
        lines = words.reversal_words(instrument, session.reverse(instrument, dwell_s, gauge_mm))
        return {}, [in_owners_unit(line, bed.is_inch) for line in lines]
    seating = session.replace(instrument, options["replace"], dwell_s, gauge_mm)
    lines = words.seating_words(instrument, seating)
    return (
        {instrument.name: {"seating_um": seating.seating_um}},
        [in_owners_unit(line, bed.is_inch) for line in lines],
    )


def _stood_still(session: "BenchSession", seconds: float, dwell_s: float) -> tuple[Values, list[str]]:
    """One instrument that sent too little does not take the others' results with it."""
    from acquire.bench.words import still_words
    from acquire.model.errors import AcquireError

    found = session.stand_still(seconds, dwell_s)
    values: Values = {}
    lines: list[str] = []
    faults = [record for record in found.values() if isinstance(record, AcquireError)]
    if len(faults) == len(found):
        raise faults[0]
    for instrument in session.receiver.instruments:
        record = found[instrument.name]
        if isinstance(record, AcquireError):
            lines.append(str(record))
            continue
        lines += still_words(instrument, record)
        if not record.disturbed_s and record.standard_uncertainty > 0:
            values[instrument.name] = {"standard_uncertainty": record.standard_uncertainty}
            if record.resolution is not None:
                values[instrument.name]["resolution"] = record.resolution
    return values, lines


def _gauge_mm(bed: "Bed", across: tuple[str, str] | None) -> float | None:
    front, rear = across or bed.carriage_ways()
    if front is None or rear is None or front not in bed.faces or rear not in bed.faces:
        return None
    gauge = bed.gauge_mm(front, rear)
    return None if gauge is None else abs(gauge)


def _offer(path: Path, bed: "Bed", values: Values, options: Mapping[str, Any]) -> int:
    """Ask, write, and say what stands there now."""
    from acquire.store.editing import set_instrument_values

    for name, found in values.items():
        new = {key: value if key == "resolution" else _rounded(value) for key, value in found.items()}
        words = ", ".join(f"{key} = {value:g}" for key, value in new.items())
        if not _may_write(f"write {words} for {name} into {path}?", options["write"]):
            say(f"not written: {words} for {name}", err=True)
            continue
        old = {key: getattr(bed.instruments[name], key) for key in new}
        set_instrument_values(path, name, new)
        was = ", ".join(
            f"{key} was {value if value is not None else 'not stated'}" for key, value in old.items()
        )
        say(f"{path}: {name} {words} ({was})")
    return 0


def _may_write(question: str, is_told: bool) -> bool:
    if is_told:
        return True
    return sys.stdin.isatty() and click.confirm(question, default=False, err=True)


def _rounded(value: float) -> float:
    return float(f"{value:.{SIGNIFICANT}g}")
