"""What is watched and measured, in words and in lines of text."""

from collections.abc import Sequence

from rich.console import Console
from rich.table import Column, Table
from rich.text import Text

from acquire.bench.listening import SPREAD_S, Seen
from acquire.bench.seating import Reversal, Seating
from acquire.bench.still import StillRecord
from acquire.entry.terminal_text import BETWEEN, large, on_lines
from acquire.model.bed import Instrument
from acquire.model.inch_words import in_owners_unit
from acquire.model.units import clock_text, decimals_for, number_text, reading_decimals, unit_text

NARROWEST, BETWEEN_BLOCKS = 34, 2
LONG_ENOUGH_S = 300.0
COVERAGE_FACTOR = 2.0
"""What stands behind ± is twice the standard uncertainty, as everywhere (95 %)."""


def value_words(seen: Seen) -> str:
    """The last reading with its unit."""
    instrument, value = seen.instrument, seen.health.last_value
    if value is None:
        return "no reading yet"
    decimals = reading_decimals(instrument.resolution, value)
    return f"{number_text(value, decimals)} {unit_text(instrument.reading_unit)}"


def meant_words(seen: Seen, inch: bool = False) -> str:
    """What the reading means by bed.toml, where that is another number: sign, divisions, unit, offset.

    With `inch`, in what a survey in inches is shown in.
    """
    instrument, value = seen.instrument, seen.health.last_value
    if value is None:
        return ""
    meant = instrument.to_contract(value)
    unit = unit_text(instrument.contract_unit)
    step = instrument.contract_resolution
    decimals = max(0, decimals_for(step)) if step else 1
    metric = f"counts as {number_text(meant, decimals)} {unit}"
    shown = in_owners_unit(metric, inch)
    as_read = shown == metric and instrument.contract_unit == instrument.unit and meant == value
    return "" if as_read else shown


def state_words(seen: Seen) -> list[str]:
    """Rate, age, spread and count of garbled lines; then what is wrong, each on its own line."""
    health = seen.health
    rate = "-" if health.rate_hz is None else f"{health.rate_hz:.1f}/s"
    age = "-" if health.age_s is None else f"{max(0.0, health.age_s):.1f} s"
    unit = "div" if seen.instrument.per_division is not None else unit_text(seen.instrument.unit)
    spread = "-" if seen.spread is None else f"{_three_figures(seen.spread)} {unit} in {SPREAD_S:g} s"
    others = [f"! {words}" for words in health.words() if not words.endswith(" garbled")]
    wrong = [f"! {seen.trouble}"] if seen.trouble else []
    garbled = health.counts.get("garbled", 0)
    return [f"rate {rate}   age {age}", f"spread {spread}   garbled {garbled}", *wrong, *others]


def _three_figures(value: float) -> str:
    """Three figures, never as a power of ten.

    Examples
    --------
    >>> _three_figures(13812.4), _three_figures(0.01234), _three_figures(0.0)
    ('13800', '0.0123', '0')
    """
    return number_text(value, decimals_for(abs(value)) + 2) if value else "0"


def plain_line(seen: Seen, now_s: float, inch: bool = False) -> str:
    """All of one instrument in one line, for a pipe or a log."""
    words = [f"{now_s:.0f} s", seen.instrument.name, value_words(seen)]
    words += [meant_words(seen, inch), *state_words(seen)]
    return "  ".join(" ".join(part.split()) for part in words if part)


def blocks_page(seen: Sequence[Seen], console: Console, rows: int, inch: bool = False) -> Table:
    """All instruments side by side as far as the width goes.

    Digits are drawn large where the page still fits into `rows`.  Styles only repeat what
    the words say: whatever is wrong begins with an exclamation mark.
    """
    across = max(1, min(len(seen), console.width // NARROWEST))
    width = console.width // across - BETWEEN_BLOCKS
    for is_large in (True, False):
        page = Table.grid(*(Column(width=width) for _ in range(across)), padding=(0, BETWEEN_BLOCKS, 0, 0))
        blocks = [_block(each, width, is_large, inch) for each in seen]
        for first in range(0, len(blocks), across):
            page.add_row(*blocks[first : first + across])
        if len(console.render_lines(page)) <= rows:
            break
    return page


def _block(seen: Seen, width: int, is_large: bool, inch: bool) -> Text:
    value = large(value_words(seen), width) if is_large else value_words(seen)
    block = Text(f"{seen.instrument.name}\n{value}\n", "bold")
    block = Text.assemble(block, (f"{meant}\n" if (meant := meant_words(seen, inch)) else ""))
    for words in state_words(seen):
        is_wrong = words.startswith("! ")
        lines = [words] if is_wrong else on_lines(words.split(BETWEEN), width)
        block.append("\n".join(lines) + "\n", "bold red" if is_wrong else "")
    return block


def still_words(instrument: Instrument, record: StillRecord) -> list[str]:
    """What a still record found: the answer, how sure, what to do."""
    unit = unit_text(instrument.reading_unit)

    def with_unit(value: float, sure_to: float) -> str:
        return f"{number_text(value, decimals_for(sure_to / 2))} {unit}"

    u = record.standard_uncertainty
    sure = max(0.1 * u if record.is_stuck else COVERAGE_FACTOR * record.dwell_scatter_uncertainty, 1e-9)
    promised = record.sample_scatter / max(1.0, record.dwell_s * record.rate_hz) ** 0.5
    lines = [
        f"{instrument.name}: one station of {record.dwell_s:g} s is good to "
        f"{with_unit(u, sure)} ± {with_unit(sure, sure)} (standard uncertainty, standing still)",
        f"  {record.dwells} stations' worth in {record.lasted_s / 60:.1f} min; single samples scatter by "
        f"{record.sample_scatter:.2g} {unit}, which would promise {promised:.2g}",
        f"  {_drift_words(record, unit)}",
        f"  averaging longer than {record.floor_after_s:.2g} s gains no more ({record.floor:.2g} {unit})",
        f"  {_step_words(record, unit)}",
    ]
    if record.lasted_s < LONG_ENOUGH_S:
        lines.append("  a short record: slow noise shows only in ten minutes or more")
    if record.disturbed_s:
        places = ", ".join(map(clock_text, record.disturbed_s[:4]))
        lines.append(f"  ! something moved it at {places}: nothing is written from this; do it again")
    return lines


def _drift_words(record: StillRecord, unit: str) -> str:
    sure = COVERAGE_FACTOR * record.drift_uncertainty_per_hour
    if not record.has_drifted:
        return f"no drift seen (less than {abs(record.drift_per_hour) + sure:.2g} {unit} an hour)"
    drift = number_text(record.drift_per_hour, decimals_for(sure))
    return (
        f"drifts by {drift} ± {sure:.1g} {unit} an hour: let it warm up; runs there and back cancel "
        "a steady drift"
    )


def _step_words(record: StillRecord, unit: str) -> str:
    if record.resolution is None:
        return "it showed one value throughout: its noise is under one step, or it is frozen; breathe on it"
    if record.is_stuck:
        return (
            f"shows steps of {record.resolution:g} {unit}, larger than its noise: the step is what limits it"
        )
    return f"shows steps of {record.resolution:g} {unit}, smoothed by its noise"


def seating_words(instrument: Instrument, found: Seating) -> list[str]:
    """What the placings found."""
    unit = unit_text(instrument.contract_unit)
    sure = COVERAGE_FACTOR * found.uncertainty_um
    seating = number_text(found.seating_um, decimals_for(sure / 2))
    what = "a foot" if instrument.measures.is_angle else "it"
    lines = [
        f"{instrument.name}: each placing of {what} differs by {seating} ± {sure:.1g} µm (seating_um)",
        f"  {found.placings} placings; their readings scatter by {found.scatter:.2g} {unit}",
    ]
    if found.drift:
        lines.append(f"  a drift of {found.drift:.2g} {unit} from first to last was taken off")
    return lines


def reversal_words(instrument: Instrument, found: Reversal) -> list[str]:
    """What turning it end for end found."""
    unit = unit_text(instrument.contract_unit)
    sure = max(abs(found.closing) / 2, instrument.uncertainty, 1e-9)
    zero, slope = (number_text(value, decimals_for(sure)) for value in (found.zero, found.slope))
    return [
        f"{instrument.name}: reads {zero} {unit} on a level face (its zero)",
        f"  this place itself rises by {slope} {unit}, the way it stood first",
        f"  back as it was it reads {found.closing:+.2g} {unit}: the zero is good to about that half",
        "  a zero does no harm to a map (it is a tilt); keep the figure to see whether it wanders",
    ]
