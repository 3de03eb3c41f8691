"""`waylog identify`: find out how an instrument speaks and offer its tables for bed.toml."""

import statistics
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from acquire.model.errors import BedError, PortError, UnitError
from acquire.model.lengths import in_mm
from acquire.model.options import ABOVE_0
from acquire.model.quantity import QUANTITIES
from acquire.model.saying import say

if TYPE_CHECKING:
    from acquire.bench.identify import Identified
    from acquire.bench.offered import Meaning
    from acquire.model.bed import Bed, Instrument
    from acquire.model.units import Reading

SHOWN_EVERY_S = 0.25


@click.command(name="identify")
@click.argument("port")
@click.option(
    "--ask",
    "requests",
    multiple=True,
    metavar="WORDS",
    help=r"A request to try if it is silent, e.g. 'READ?\r\n'.",
)
@click.option(
    "--seconds", default=3.0, metavar="S", show_default=True, help="How long to listen at each speed."
)
@click.option("--quantity", type=click.Choice(list(QUANTITIES)), help="What it reads.")
@click.option("--unit", metavar="U", help="The unit it reads, if that is known.")
@click.option(
    "--base",
    "--base-mm",
    "base",
    type=ABOVE_0,
    metavar="L",
    help="Distance between a level's feet (a bare number: mm, or inches with --into a survey in inches).",
)
@click.option(
    "--into",
    type=click.Path(path_type=Path, exists=True, file_okay=False),
    metavar="SURVEY",
    help="A survey to add it to.",
)
@click.option("--name", default="instrument", metavar="NAME", show_default=True, help="What to call it.")
def command(
    port: str,
    requests: tuple[str, ...],
    seconds: float,
    quantity: str | None,
    unit: str | None,
    base: "Reading | None",
    into: Path | None,
    name: str,
) -> None:
    """Listen to PORT until its speed, framing and line shape are known.

    On a terminal it then shows the readings and asks for a known move, which gives sign and unit.
    Isolate the machine and lock it off before fitting anything to it.
    """
    from acquire.bench.identify import identify, stable_name, with_stable_name
    from acquire.bench.offered import bed_tables, likely_quantity, trial_instrument
    from acquire.bench.still import shown_step
    from acquire.receive.ports.naming import found_ports

    is_inch = into is not None and _has_room(into / "bed.toml", name).is_inch
    found = identify(port, requests, most_s=seconds, say=lambda words: say(words, err=True))
    for line in _answer(found):
        say(line)
    quantity = quantity or _asked_quantity(likely_quantity(found.shape.unit if found.shape else None))
    written = found.shape.unit if found.shape else None
    trial = trial_instrument(found, quantity, _fitting_unit(quantity, unit, written))
    if base is None and trial.measures.has_feet_along and sys.stdin.isatty():
        base = click.prompt(f"How far apart are its feet? ({'in' if is_inch else 'mm'})", type=ABOVE_0)
    values = _live(trial)
    meaning = _asked_meaning(trial, is_inch) if sys.stdin.isatty() else None
    here = [one for one in found_ports() if one.device == port]
    stable = stable_name(here[0], found_ports()) if here else port
    text = bed_tables(
        name,
        with_stable_name(found, stable),
        quantity=quantity,
        unit=meaning.unit if meaning else trial.unit,
        meaning=meaning,
        base_mm=in_mm(base, is_inch),
        resolution=shown_step(values),
    )
    _give(text, into, name)


def _has_room(path: Path, name: str) -> "Bed":
    """The bed, which has no instrument of that name yet: refused before anybody is asked anything."""
    from acquire.model.bed_toml.reading import read_bed

    bed = read_bed(path)
    if name in bed.instruments:
        raise BedError(
            f"{path} [instruments.{name}]", "is there already", "another name", "give one with --name"
        )
    return bed


def _answer(found: "Identified") -> list[str]:
    asked = f", when asked with {found.ask!r}" if found.ask else ""
    lines = [f"It speaks at {found.port.settings}{asked}.", *(f"    {line}" for line in found.lines[:3])]
    if found.shape is not None and found.shape.numbers > 1:
        lines.append("Its lines hold several numbers; the one that varies most is taken.")
    return [*lines, *(f"But: {doubt}." for doubt in found.doubts)]


def _asked_quantity(likely: str) -> str:
    """What it measures: asked on a terminal, else what the unit in its lines makes likely."""
    if not sys.stdin.isatty():
        return likely
    say("What is it?")
    for quantity in QUANTITIES.values():
        say(f"    {quantity.name:<12} {quantity.read_with.described}")
    return click.prompt("Type one", default=likely, type=click.Choice(list(QUANTITIES)), show_choices=False)


def _fitting_unit(quantity: str, unit: str | None, written: str | None) -> str:
    """The unit asked for, else the one written in the lines, else the one that waylog keeps."""
    from acquire.model.units import unit_name

    allowed = QUANTITIES[quantity].units
    if unit is None:
        return written if written is not None and written in allowed else QUANTITIES[quantity].contract_unit
    known = unit_name(unit)
    if known is None or known not in allowed:
        raise click.BadParameter(f"{unit!r}; needed: {' | '.join(allowed)} for a {quantity}")
    return known


def _live(trial: "Instrument") -> list[float]:
    """Show the readings as they come, for a few seconds."""
    from acquire.bench.offered import read_for

    shown_s = [float("-inf")]

    def shown(reading: Any) -> None:
        if reading.arrival_s - shown_s[0] < SHOWN_EVERY_S:
            return
        shown_s[0] = reading.arrival_s
        what = f"{reading.value:g}" if reading.flag == 0 else f"garbled: {reading.text}"
        say(f"    {what}", err=True)

    readings = read_for(trial, 2.0, shown)
    values = [reading.value for reading in readings if reading.flag == 0]
    if not values:
        raise PortError(trial.port.url if trial.port else "", "no reading came", "some", "try again")
    say(f"{len(values)} readings, {min(values):g} to {max(values):g}; {len(readings) - len(values)} garbled.")
    return values


def _asked_meaning(trial: "Instrument", is_inch: bool) -> "Meaning | None":
    from acquire.bench.offered import known_move, meaning_of_move, read_for
    from acquire.model.lengths import parse_length
    from acquire.model.units import parse_reading

    read = parse_reading if trial.measures.is_angle else parse_length
    read_with = trial.measures.read_with
    example = read_with.inch_example if is_inch else read_with.example
    say(f"Which way is plus, and what is one worth? A known move tells: {read_with.move}; {example}.")
    known = None
    while known is None:
        text = click.prompt(
            "Leave it at rest and type the move to come, with its unit (Enter alone: skip)",
            default="",
            show_default=False,
        )
        if not text.strip():
            return None
        try:
            reading = read(text)
            known = known_move(reading.value, reading.unit, trial.quantity)
        except UnitError as error:
            say(f"  {error.found}; needed: {error.needed}")
    before = [one.value for one in read_for(trial, 2.0) if one.flag == 0]
    click.prompt(
        f"It reads {statistics.fmean(before):.4f}. Move it, let it settle, press Enter",
        default="",
        show_default=False,
    )
    after = [one.value for one in read_for(trial, 2.0) if one.flag == 0]
    meaning = meaning_of_move(before, after, known, trial.quantity)
    say(f"It {meaning.words}.")
    return meaning


def _give(text: str, into: Path | None, name: str) -> None:
    """Print the tables, or write them into the survey's bed.toml."""
    from acquire.store.editing import change_bed

    if into is None:
        say("\nFor bed.toml:\n")
        click.echo(text, nl=False)
        return
    path = into / "bed.toml"
    change_bed(path, lambda old: old.rstrip("\n") + "\n\n" + text)
    say(f"Written to {path} as {name}.")
