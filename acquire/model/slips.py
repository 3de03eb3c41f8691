"""Slips of writing down: one list of what goes wrong when readings are taken, typed or described.

The same list is asked of one reading (`slip_of_reading`) and of a whole run (`run_slips`), at
entry and after the adjustment.  A slip has a name, which `waylog redo --as NAME` takes:

    turned        a level stood turned end for end: its readings change sign
    sign          plus was written for minus: likewise, for what is no level
    order         the run went the other way: its first reading belongs to its last station
    mirrored      its places were measured from the other end of the bed
    unit:U        the numbers are U and not what they were taken for (`div`: divisions)
    times:F       the numbers meant are F times those written
    shifted:MM    each reading belongs MM further along the bed

`undone` undoes slips in the stations of a run; what was written stays as it was.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from acquire.model.bed import Instrument, units_read_by
from acquire.model.corrections import corrections_in_force
from acquire.model.errors import EntryError
from acquire.model.places import is_same_place
from acquire.model.quantity import Quantity
from acquire.model.recorded import Event
from acquire.model.traverse import Setup, Stations
from acquire.model.units import UM_PER_THOU, finite_number, unit_words

AS_WRITTEN = "written"
"""What `redo --as` takes to undo corrections."""
NAMES = "turned | sign | order | mirrored | unit:U | times:F | shifted:MM | written"
DECIMALS = (10.0, 0.1, 100.0, 0.01, 1000.0, 0.001)
HALVES = (2.0, 0.5)
"""A diameter for a radius; one end of a bubble where the sum of both was wanted."""
USUAL_DIVISION_UM_PER_M = 20.0
"""What one division of most machine levels is worth (common practice)."""
SAME_FACTOR = 1e-6
OTHER_DIRECTION = {"forward": "reverse", "reverse": "forward"}


@dataclass(frozen=True)
class Slip:
    """What was meant against what was written."""

    names: tuple[str, ...]
    words: str
    factor: float = 1.0
    """Meant over written."""
    is_turned: bool = False
    is_reversed: bool = False
    is_mirrored: bool = False
    along_mm: float = 0.0

    def and_also(self, other: "Slip") -> "Slip":
        """Both slips at once."""
        return Slip(
            (*self.names, *other.names),
            f"{self.words}, and {other.words}",
            self.factor * other.factor,
            self.is_turned != other.is_turned,
            self.is_reversed != other.is_reversed,
            self.is_mirrored != other.is_mirrored,
            self.along_mm + other.along_mm,
        )


TURNED = Slip(("turned",), "the level turned end for end (or its sign)", is_turned=True)
SIGN = Slip(("sign",), "the sign (plus was minus)", factor=-1.0)
"""Of a dial or a caliper; of a level the same as `TURNED`."""
ORDER = Slip(("order",), "run the other way from what was written", is_reversed=True)
MIRRORED = Slip(("mirrored",), "its places measured from the other end of the bed", is_mirrored=True)
ITS_OWN_UNDOING = {slip.names[0]: slip for slip in (TURNED, SIGN, ORDER, MIRRORED)}
"""Slips that, made twice, were not made."""


def run_slips(setup: Setup, stations: Stations) -> tuple[Slip, ...]:
    """What may have gone wrong with a whole run, each as a slip of its own.

    Parameters
    ----------
    setup : Setup
    stations : Stations
        Of the run: its own step is by what it may be shifted.

    Examples
    --------
    >>> bed = '[bed]\\nname = "b"\\nlength_mm = 900\\nstation_pitch_mm = 100\\n[faces.a]\\nnormal = "up"\\n'
    >>> bed += '[instruments.i]\\nquantity = "offset"\\nunit = "thou"\\nstandard_uncertainty = 1\\n'
    >>> column = np.zeros(3)
    >>> run = Stations(np.array([0.0, 100, 200]), column, column, column, column, column, column)
    >>> found = run_slips(Setup("i", "offset", bed, face="a", reference="line", source="enter"), run)
    >>> [" ".join(slip.names) for slip in found][:5]
    ['sign', 'order', 'sign order', 'mirrored', 'sign mirrored']
    """
    instrument = setup.described
    flipped = TURNED if instrument.measures.is_angle else SIGN
    own = setup.unit or instrument.reading_unit
    found = [flipped]
    if not setup.placed_by.scale:
        found += [each for way in (ORDER, MIRRORED) for each in (way, flipped.and_also(way))]
    found += [*_units(instrument, own), *_habits(instrument), *_factors((*HALVES, *DECIMALS))]
    if not setup.placed_by.scale:
        found += _shifts(stations)
    return tuple(_unlike(found))


def slip_of_reading(reading: float, expected: float, uncertainty: float, measures: Quantity) -> str | None:
    """What slip of the pen would explain one reading that is far from what was expected.

    None where it lies within 5 `uncertainty` of `expected`, or where no slip brings it
    within 2 `uncertainty`.  Of several that would, the one that lands nearest.

    Examples
    --------
    >>> from acquire.model.quantity import OFFSET, SLOPE
    >>> slip_of_reading(35.0, 3.4, 0.5, SLOPE)
    'a decimal place (ten times too large)'
    >>> slip_of_reading(-12.0, 12.5, 1.0, SLOPE), slip_of_reading(3.0, 3.4, 0.5, SLOPE)
    ('the sign (plus was minus)', None)
    >>> slip_of_reading(2.54, 0.1, 0.02, OFFSET)
    'µm written where thou are read'
    """
    if not uncertainty > 0 or abs(reading - expected) <= 5 * uncertainty:
        return None
    is_beside_nothing = abs(expected) <= 2 * uncertainty  # whatever makes a number very small would be right
    decimals = [factor for factor in DECIMALS if factor >= 0.1 or not is_beside_nothing]
    slips = [SIGN, *_factors(decimals), *_unit_pairs(measures)]
    miss, words = min((abs(reading * slip.factor - expected), slip.words) for slip in slips)
    return words if miss <= 2 * uncertainty else None


def _factors(factors: Iterable[float]) -> list[Slip]:
    counts = {2.0: "twice", 10.0: "ten times", 100.0: "a hundred times", 1000.0: "a thousand times"}
    found = []
    for factor in factors:
        size, way = (factor, "small") if factor > 1 else (1 / factor, "large")
        how = f"{counts[round(size, 6)]} too {way}" if size > 2 else f"too {way} by a factor of two"
        words = f"a decimal place ({how})" if size > 2 else how
        found.append(Slip((f"times:{factor:g}",), words, factor))
    return found


def _units(instrument: Instrument, own: str) -> list[Slip]:
    """The numbers in each other unit that the instrument can be read in."""
    worth = {unit: abs(float(instrument.to_contract(1.0, unit))) for unit in units_read_by(instrument)}
    return [
        Slip((f"unit:{unit}",), f"{unit_words(unit)} taken for {unit_words(own)}", each / worth[own])
        for unit, each in worth.items()
        if unit != own
    ]


def _habits(instrument: Instrument) -> list[Slip]:
    """What people write of such an instrument that is not what it reads."""
    found = []
    if instrument.measures.is_angle and instrument.per_division is None:
        words = f"divisions of {USUAL_DIVISION_UM_PER_M:g} µm/m taken for {unit_words(instrument.unit)}"
        found.append((USUAL_DIVISION_UM_PER_M / instrument.contract_per_reading, words))
    if instrument.step_mm:
        over_base = 1000.0 / instrument.step_mm / instrument.contract_per_reading
        found.append((over_base, f"µm over its base taken for {unit_words(instrument.reading_unit)}"))
    found.append((UM_PER_THOU, "thou taken for µm"))
    backwards = [(1 / factor, f"{words}, the wrong way round") for factor, words in found]
    return [Slip((f"times:{factor:.10g}",), words, factor) for factor, words in (*found, *backwards)]


def _unit_pairs(measures: Quantity) -> list[Slip]:
    """One unit written where another is read."""
    pairs = [("um/m", "arcsec")] if measures.is_angle else [("um", "thou"), ("mm", "thou")]
    found = []
    for one, other in (*pairs, *((b, a) for a, b in pairs)):
        factor = measures.units[one] / measures.units[other]
        # read in `other`, the number written is in `one`
        found.append(
            Slip(
                (f"times:{factor:g}",),
                f"{unit_words(one)} written where {unit_words(other)} are read",
                factor,
            )
        )
    return found


def _shifts(stations: Stations) -> list[Slip]:
    """One station along, either way."""
    steps = np.diff(np.unique(stations.station_mm))
    if not len(steps):
        return []
    step_mm = float(np.median(steps))
    return [
        Slip((f"shifted:{along:+.10g}",), f"{step_mm:g} mm {way} along the bed", along_mm=along)
        for along, way in ((step_mm, "further"), (-step_mm, "less far"))
    ]


def _unlike(slips: Iterable[Slip]) -> list[Slip]:
    """Each effect once, under its first name."""
    found: list[Slip] = []
    for slip in slips:
        same = [
            other
            for other in found
            if replace(other, names=(), words="", factor=1.0) == replace(slip, names=(), words="", factor=1.0)
            and abs(other.factor - slip.factor) <= SAME_FACTOR * abs(slip.factor)
        ]
        if not same and replace(slip, names=(), words="") != Slip((), ""):
            found.append(slip)
    return found


def parsed(names: Sequence[str], setup: Setup) -> Slip:
    """The slips of these names together, for a run of this setup.

    Raises
    ------
    EntryError
        If a name is none of those above, or makes no sense of this run.
    """
    found = Slip((), "")
    for name in names:
        one = _parsed(name, setup)
        found = one if not found.names else found.and_also(one)
    return found


def _parsed(name: str, setup: Setup) -> Slip:
    where, instrument = f"--as {name}", setup.described
    kind, _, value = name.partition(":")
    if kind == "turned" and not instrument.measures.is_angle:
        raise EntryError(
            where, f"found {instrument.name}, which reads {setup.quantity}", "a level", "say `--as sign`"
        )
    if kind in ("order", "mirrored", "shifted") and setup.placed_by.scale:
        raise EntryError(
            where, f"found places from the scale {setup.placed_by.scale}", "places that were typed"
        )
    if name in ITS_OWN_UNDOING:
        return ITS_OWN_UNDOING[name]
    if kind == "unit":
        own = setup.unit or instrument.reading_unit
        same = [slip for slip in _units(instrument, own) if slip.names == (name,)]
        if not same:
            others = (unit for unit in units_read_by(instrument) if unit != own)
            raise EntryError(where, f"found {value!r}", " | ".join(f"unit:{unit}" for unit in others))
        return same[0]
    number = finite_number(value)
    if kind == "times" and number:
        return Slip((name,), f"{number:g} times what was written", number)
    if kind == "shifted" and number:
        return Slip((name,), f"shifted by {number:+g} mm", along_mm=number)
    raise EntryError(where, f"found {name!r}", NAMES)


def together(earlier: Sequence[str], further: Sequence[str]) -> tuple[str, ...]:
    """What to redo a run as that was redone as `earlier` and then looks as if `further` applied too.

    Examples
    --------
    >>> together(("order",), ("turned",)), together(("turned",), ("turned",)), together((), ("unit:thou",))
    (('order', 'turned'), ('written',), ('unit:thou',))
    """
    names = list(earlier)
    for name in further:
        if name in names and name in ITS_OWN_UNDOING:
            names.remove(name)
        else:
            names.append(name)
    return tuple(names) or (AS_WRITTEN,)


def as_meant(setup: Setup, slip: Slip) -> Setup:
    """The setup of a run once a slip is undone; doing it twice undoes it."""
    went = setup.direction
    direction = OTHER_DIRECTION.get(went, went) if slip.is_reversed != slip.is_mirrored else went
    return replace(setup, turned=setup.turned != slip.is_turned, direction=direction)


def moved(
    setup: Setup, station_mm: np.ndarray, slip: Slip, gap_mm: Sequence[float] = ()
) -> tuple[np.ndarray, np.ndarray]:
    """Where readings belong once a slip is undone, rising, and which of those written each is.

    What then lies off the bed is left out. Stations of `gap_mm` were left out on purpose:
    they count where the order is turned round.
    """
    at_mm = station_mm
    if slip.is_reversed:
        places = np.unique(np.concatenate([at_mm, np.asarray(gap_mm, float)]))
        at_mm = places[len(places) - 1 - np.searchsorted(places, at_mm)]
    if slip.is_mirrored:
        at_mm = setup.bed.length_mm - at_mm
    at_mm = at_mm + slip.along_mm
    kept = np.flatnonzero(setup.is_on_bed(at_mm))
    order = kept[np.argsort(at_mm[kept], kind="stable")]
    return at_mm[order], order


def are_turned_alike(setup: Setup, station_mm: np.ndarray, gap_mm: Sequence[float] = ()) -> bool:
    """Whether `order` and `mirrored` put all readings of a run at the same places."""
    about_own, about_bed = (moved(setup, station_mm, slip, gap_mm)[0] for slip in (ORDER, MIRRORED))
    return len(about_own) == len(about_bed) and bool(np.all(is_same_place(about_own - about_bed, 0.0)))


def undone(setup: Setup, stations: Stations, slip: Slip, gap_mm: Sequence[float] = ()) -> Stations:
    """The stations of a run with a slip undone, by rising station; see `moved`."""
    at_mm, order = moved(setup, stations.station_mm, slip, gap_mm)
    left = stations.at(order)
    scatter = np.abs(slip.factor) * left.scatter
    return replace(
        left,
        station_mm=at_mm,
        reading=slip.factor * left.reading,
        standard_uncertainty=np.hypot(scatter, setup.described.uncertainty),
        scatter=scatter,
    )


def gaps_left(events: Iterable[Event]) -> tuple[float, ...]:
    """Stations that were left out on purpose, or struck out since, as the events of a traverse tell.

    Examples
    --------
    >>> gaps_left([Event(0.0, "station_gap", "station 304.8: left out on purpose")])
    (304.8,)
    """
    found = (re.match(r"station ([0-9.]+):", each.text) for each in events if each.kind == "station_gap")
    struck = (each.station_mm for each in corrections_in_force(events) if each.is_struck)
    return (*(float(match[1]) for match in found if match), *struck)
