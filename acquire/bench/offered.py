"""What was found of an instrument, as tables for bed.toml; what its numbers are worth, by a known move."""

import math
import statistics
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from acquire.bench.identify import Identified
from acquire.model.bed import Instrument, Port
from acquire.model.bed_toml.examples import UnclearExampleError, pattern_of_example
from acquire.model.bed_toml.patterns import line_pattern
from acquire.model.bed_toml.wire_keys import with_pattern
from acquire.model.errors import PortError
from acquire.model.quantity import OFFSET, QUANTITIES, SLOPE, TEMPERATURE
from acquire.model.recorded import Chunk
from acquire.receive.ports.reader import PortReader
from acquire.receive.wire.decoding import Decoded
from acquire.receive.wire.kinds import decoder_for
from acquire.receive.wire.scoring import LineShape

NEVER_SHOWN = ("thou/ft",)
"""Units that people write and no instrument shows: one would be taken for divisions of nearly that size."""
ALIKE = math.log(1.25)
"""A unit is meant if the known move comes out within a quarter of it."""


def trial_instrument(found: Identified, quantity: str = "offset", unit: str = "um") -> Instrument:
    """An instrument to read the port with before its unit and sign are known.

    Raises
    ------
    PortError
        If the port speaks no lines of one form.
    """
    if found.shape is None:
        raise PortError(
            found.port.url, "; ".join(found.doubts), "lines of one form", "describe it in bed.toml by hand"
        )
    wire = with_pattern("lines", wire_table(found, quantity))
    return Instrument("identified", quantity, unit, port=found.port, wire=wire)


def wire_table(found: Identified, quantity: str) -> dict[str, Any]:
    """The wire table of what was found; with an example, unless the unit in it is none of the quantity."""
    table: dict[str, Any] = {"kind": "lines"}
    if found.shape is not None:
        fits = found.shape.unit is None or found.shape.unit in QUANTITIES[quantity].units
        if fits and (example := example_of(found.lines, found.shape)) is not None:
            table["example"] = example
        else:
            table["pattern"] = found.shape.pattern
            table |= {"decimal": ","} if found.shape.decimal == "," else {}
    if found.ask is not None:
        table |= {"ask": found.ask, "every_s": 0.5}
    return table


def example_of(lines: Sequence[str], shape: LineShape) -> str | None:
    """One of the lines heard, its value marked if need be, that stands for all of them; None if none does.

    It must make a pattern that takes every line and the same number of each as their common shape does.

    Examples
    --------
    >>> from acquire.receive.wire.scoring import line_shape
    >>> lines = ["X +1.50 T 21", "X -0.25 T 21", "X +3.00 T 22"]
    >>> example_of(lines, line_shape(lines))
    'X {+1.50} T 21'
    """
    pattern = line_pattern(shape.pattern)
    values = [match["value"] for line in lines if (match := pattern.fullmatch(line)) is not None]
    for line in lines:
        match = pattern.fullmatch(line)
        if match is None:
            continue
        start, end = match.span(pattern.groupindex["value"])
        for example in (line, f"{line[:start]}{{{line[start:end]}}}{line[end:]}"):
            if len(values) == len(lines) and _values_by_example(example, lines) == values:
                return example
    return None


def _values_by_example(example: str, lines: Sequence[str]) -> list[str] | None:
    """What the example's pattern takes out of each line; None where it does not take all of them."""
    try:
        pattern = line_pattern(pattern_of_example(example).pattern)
    except UnclearExampleError:
        return None
    matches = [pattern.fullmatch(line) for line in lines]
    return [match["value"] for match in matches if match is not None] if all(matches) else None


def read_for(
    instrument: Instrument, seconds: float, shown: Callable[[Decoded], None] = lambda reading: None
) -> list[Decoded]:
    """Readings of an instrument for so many seconds; `shown` is told each.

    Raises
    ------
    PortError
        If its port cannot be opened.
    """
    from acquire.receive.ports.asking import plan_ports

    plan, decoder, found = plan_ports([instrument]), decoder_for(instrument), []
    with PortReader(plan.specs, requests=plan.requests) as reader:
        began_s: float | None = None
        for _ in range(1_000_000):
            item = reader.get(min(1.0, seconds))
            if item is not None:
                began_s = item.time_s if began_s is None else began_s
                if item.time_s - began_s > seconds:
                    break
            elif began_s is not None:
                break
            if isinstance(item, Chunk):
                readings = decoder.feed(item.data, item.time_s)
                found += readings
                for reading in readings:
                    shown(reading)
    return found


@dataclass(frozen=True)
class Meaning:
    """What a reading means: its sign, and its unit or what one division is worth."""

    sign: int
    unit: str
    per_division: float | None
    words: str


def meaning_of_move(before: Sequence[float], after: Sequence[float], known: float, quantity: str) -> Meaning:
    """Sign and unit from the readings before and after a known move.

    Parameters
    ----------
    before, after : sequences
        Readings at rest before the move and after it.
    known : float
        The move in the contract's unit (µm/m, µm, mm, °C), positive in our sense: the end away
        from the headstock up, the rear up, the plunger in, away from station 0.
    quantity : str
        What it reads.

    Raises
    ------
    PortError
        If the readings did not change clearly.

    Examples
    --------
    A plunger pushed in by 1000 µm makes this indicator count down by 1:

    >>> meaning_of_move([0.001, 0.0], [-1.0, -0.999], 1000.0, "offset")
    Meaning(sign=-1, unit='mm', per_division=None, words='reads mm, the other way round')
    """
    change = statistics.fmean(after) - statistics.fmean(before)
    scatter = max(statistics.pstdev(before), statistics.pstdev(after))
    if abs(change) <= 3 * scatter or change == 0:
        raise PortError(
            "known move",
            f"the reading went from {statistics.fmean(before):g} to {statistics.fmean(after):g}",
            "a change well above its flicker",
            "move it farther, and let it settle",
        )
    sign, worth = (1 if known / change > 0 else -1), abs(known / change)
    way = "" if sign == 1 else ", the other way round"
    factors = {name: one for name, one in QUANTITIES[quantity].units.items() if name not in NEVER_SHOWN}
    unit = min(factors, key=lambda name: abs(math.log(worth / factors[name])))
    if abs(math.log(worth / factors[unit])) <= ALIKE:
        return Meaning(sign, unit, None, f"reads {unit}{way}")
    unit = QUANTITIES[quantity].contract_unit
    division = float(f"{worth:.3g}")
    return Meaning(sign, unit, division, f"reads divisions of {division:g} {unit}{way}")


def bed_tables(
    name: str,
    found: Identified,
    *,
    quantity: str,
    unit: str,
    meaning: Meaning | None = None,
    base_mm: float | None = None,
    resolution: float | None = None,
) -> str:
    """The tables for `bed.toml`, ready to paste."""
    per_division = None if meaning is None else meaning.per_division
    step = resolution or 1.0
    lines = [f"[instruments.{name}]", f'quantity = "{quantity}"', f'unit = "{unit}"']
    if per_division is not None:
        lines.append(f"per_division = {per_division:.10g}")
    if QUANTITIES[quantity].has_feet_along:
        shown = "# base_mm =            # between its feet: measure it, then take the mark away"
        lines.append(shown if base_mm is None else f"base_mm = {base_mm:.10g}")
    if resolution is not None:
        lines.append(f"resolution = {resolution:.10g}")
    if QUANTITIES[quantity].is_measuring:
        lines.append(
            f"standard_uncertainty = {step:.10g}   # a guess: its smallest step. `waylog watch` measures it"
        )
    if meaning is None:
        lines.append("sign = 1               # not tried: see hardware_notes/signs.md")
    else:
        lines.append(f"sign = {meaning.sign}")
    return "\n".join([*lines, *_port_lines(name, found.port), *_wire_lines(name, found, quantity)]) + "\n"


def _port_lines(name: str, port: Port) -> list[str]:
    lines = [f"[instruments.{name}.port]", f"url = {_toml(port.url)}", f"baud = {port.baud}"]
    if (port.bytesize, port.parity, port.stopbits) != (8, "N", 1):
        lines += [f"bytesize = {port.bytesize}", f'parity = "{port.parity}"', f"stopbits = {port.stopbits:g}"]
    return lines


def _wire_lines(name: str, found: Identified, quantity: str) -> list[str]:
    return [
        f"[instruments.{name}.wire]",
        *(f"{key} = {_toml(value)}" for key, value in wire_table(found, quantity).items()),
    ]


def _toml(value: Any) -> str:
    """A value of TOML; a text stands as it is where it can."""
    import tomlkit

    if not isinstance(value, str):
        return f"{value:g}"
    return tomlkit.string(value, literal="'" not in value and value.isprintable()).as_string()


def likely_quantity(unit: str | None) -> str:
    """What an instrument that writes this unit most likely reads."""
    likely = (SLOPE, OFFSET, TEMPERATURE)
    return next((each.name for each in likely if unit in each.units), OFFSET.name)


def known_move(value: float, unit: str | None, quantity: str) -> float:
    """A move as typed, in the contract's unit; a bare number is in that unit already."""
    return QUANTITIES[quantity].to_contract(value, unit or QUANTITIES[quantity].contract_unit)
