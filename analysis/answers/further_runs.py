"""Runs that the described instruments could take of a bed, each as it would be asked for and would read.

A run that has not been taken reads as the map expects:

    r = A h,    A the forms of its readings, h the heights as known

Its zero is left out, and so is all that the readings so far leave free: what nothing tells is
taken as none.  Places between known heights are on the cubic through them.  Errors of scale
act on what is read, so a run that read nothing would look as if it had none.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import tomlkit

from acquire.model.bed import Bed, Instrument
from acquire.model.quantity import POSITION
from acquire.model.traverse import Events, Setup, Stations, Traverse
from analysis.adjust.bed_map import BedMap
from analysis.adjust.there_and_back import UNTOLD
from analysis.level.blindness import blind_wavelengths_mm
from analysis.observe import Form, observe
from analysis.observe.slope import slope_forms
from analysis.observe.terms import Observations, interpolation_rows

SECOND_BASE = 0.65
"""A second base of this share of the first sees nearly every ripple that the first is blind to."""


@dataclass(frozen=True)
class Run:
    """How a further traverse is taken."""

    way: str
    """along | again | drawn back | drawn again | other base | across | carried | over"""
    instrument: str
    faces: tuple[str, ...]
    direction: str = ""
    base_mm: float = 0.0
    """Of `other base`."""
    is_to_tell: bool = False
    """Whether it is to tell a drift from a bed that bent, and the zero must not be touched."""

    def is_mirrored(self, other: "Run") -> bool:
        """Whether both read the same two faces with one instrument, the other way round."""
        mine, theirs = (self.way, self.instrument), (other.way, other.instrument)
        return mine == theirs and self.faces == other.faces[::-1] != other.faces


@dataclass(frozen=True, eq=False)
class Candidate:
    """A run that could be taken, and what to type for it."""

    setup: Setup
    instrument: Instrument
    station_mm: np.ndarray
    run: Run
    command: str
    removes_mm: tuple[float, ...] = ()
    """Ripples that cannot be seen so far, and could be with it."""
    drawn_with: Observations | None = None
    """The block of drawn runs that it would join; None: it is stepped."""


def command_words(candidate: Candidate) -> str:
    """The command line: recorded where the instrument has a port, else typed in; drawn, from a file."""
    if not candidate.instrument.speaks and candidate.drawn_with is not None:
        return f"waylog import SURVEY FILE.csv --face {candidate.command} --mode continuous"
    if not candidate.instrument.speaks:
        return f"waylog enter SURVEY {candidate.command}"
    scales = [i.name for i in candidate.setup.bed.instruments.values() if i.measures is POSITION and i.speaks]
    position = f" --position scale:{scales[0]}" if len(scales) == 1 else ""
    return f"waylog record SURVEY {candidate.command}{position}"


def candidates(bed: Bed, bed_map: BedMap) -> Iterator[Candidate]:
    kinds = {"slope": _slopes, "roll": _rolls, "offset": _offsets, "span": _spans}
    for instrument in bed.instruments.values():
        if instrument.quantity in kinds:
            yield from kinds[instrument.quantity](bed, bed_map, instrument)
        if instrument.may_lie_across and not any(
            each.measures.is_across for each in bed.instruments.values()
        ):
            yield from _rolls(bed, bed_map, instrument.as_laid("roll"))
        if instrument.measures.has_feet_along:
            yield from _second_bases(bed, bed_map, instrument)
            yield from _returns(bed, bed_map, instrument)


def _setup(bed: Bed, instrument: Instrument, **where: Any) -> Setup:
    return Setup(instrument.name, instrument.quantity, bed.text, source="enter", **where)


def _slopes(bed: Bed, bed_map: BedMap, instrument: Instrument) -> Iterator[Candidate]:
    base = instrument.base_mm or 0.0
    steps = int(bed.length_mm // base) if base else 0
    if steps < 2:
        return
    middles = base * (np.arange(steps) + 0.5)
    for face in bed.faces.values():
        if instrument.gravity and face.upward == 0:
            continue
        done = [
            o
            for o in bed_map.observations
            if instrument.name in o.instrument.split("+") and face.id in o.faces
        ]
        line = bed_map.lines.get(("height", face.id))
        is_known = line is not None and line.parts
        # a run back adds a drift to be told, which runs that tell no shape do not
        forward_only = is_known and done and all(each.direction == "forward" for each in done)
        direction = "reverse" if forward_only else "forward"
        is_to_tell = _has_untold_bow(bed_map, instrument.name, face.id, "stepped")
        way = "again" if done else "along"
        yield Candidate(
            _setup(bed, instrument, face=face.id, direction=direction),
            instrument,
            middles,
            Run(way, instrument.name, (face.id,), direction, is_to_tell=is_to_tell),
            f"{face.id} --instrument {instrument.name} --direction {direction}",
        )


def _has_untold_bow(bed_map: BedMap, instrument: str, face: str, mode: str) -> bool:
    """Whether its runs there and back differ by a bow that is a drift or a bent bed."""
    return any(
        each.outcome == UNTOLD
        and each.is_seen
        and (each.instrument, each.face, each.mode) == (instrument, face, mode)
        for each in bed_map.assembly.returns
    )


def _second_bases(bed: Bed, bed_map: BedMap, instrument: Instrument) -> Iterator[Candidate]:
    """The same level on other feet, where a run drawn along a face is blind to some ripples."""
    if not instrument.base_mm or instrument.footprint != "feet":
        return
    base = 5.0 * round(SECOND_BASE * instrument.base_mm / 5.0)
    for block, run in _drawn_by(bed_map, instrument):
        face = block.faces[0]
        blind = bed_map.read(face).blind_wavelengths_mm
        left = blind_wavelengths_mm([instrument.base_mm, base], instrument.base_mm / 5)
        removed = tuple(each for each in blind if not np.any(np.abs(left - each) < 0.05 * each))
        if base <= 0 or not removed:
            continue
        yield Candidate(
            replace(_setup(bed, instrument, face=face), bed_toml=_with_base(bed.text, instrument.name, base)),
            replace(instrument, base_mm=base),
            _as_closely(run, (instrument.base_mm - base) / 2),
            Run("other base", instrument.name, (face,), base_mm=base),
            f"{face} --instrument {instrument.name}",
            removed,
            block,
        )


def _returns(bed: Bed, bed_map: BedMap, instrument: Instrument) -> Iterator[Candidate]:
    """The way back, where a level was drawn one way only; once more there, where the return told no drift."""
    for block, run in _drawn_by(bed_map, instrument):
        face = block.faces[0]
        untold = _has_untold_bow(bed_map, instrument.name, face, "continuous")
        if block.bow is None and not untold:
            continue
        forward_first = run.setup.direction == "forward"
        direction = "forward" if forward_first is untold else "reverse"
        way = "drawn again" if untold else "drawn back"
        yield Candidate(
            replace(run.setup, direction=direction),
            instrument,
            _as_closely(run, 0.0),
            Run(way, instrument.name, (face,), direction, is_to_tell=untold),
            f"{face} --instrument {instrument.name} --direction {direction}",
            drawn_with=block,
        )


def _drawn_by(bed_map: BedMap, instrument: Instrument) -> Iterator[tuple[Observations, Traverse]]:
    """Blocks of drawn runs that the instrument had a part in, each with its first run."""
    for block in bed_map.as_observed:
        runs = [each for each in block.drawn_traverses if each.setup.instrument == instrument.name]
        if runs:
            yield block, runs[0]


def _as_closely(run: Traverse, farther_mm: float) -> np.ndarray:
    """Stations as closely as those of a run, from as much before its first to as much after its last."""
    station = np.sort(run.stations.station_mm)
    first, last = station[0] - farther_mm, station[-1] + farther_mm
    return np.arange(first, last + 1e-6, float(np.median(np.diff(station))))


def _with_base(text: str, name: str, base_mm: float) -> str:
    """bed.toml with another base of one instrument, as it would be described then."""
    document = tomlkit.parse(text)
    document["instruments"][name]["base_mm"] = base_mm
    return tomlkit.dumps(document)


def _rolls(bed: Bed, bed_map: BedMap, instrument: Instrument) -> Iterator[Candidate]:
    pairs = [pair for pair in _pairs(bed) if bed.gauge_mm(*pair) and bed.sense(*pair) == 1]
    pairs = [pair for pair in pairs if bed.faces[pair[0]].upward == 1]
    carriage = bed.carriage_ways()
    if None not in carriage:
        pairs = [pair for pair in pairs if set(pair) == set(carriage)]
    for one, other in pairs:
        front, rear = sorted((one, other), key=lambda name: bed.faces[name].across_mm or 0.0)
        sides = {"front": front, "rear": rear}
        command = f"--across {front} {rear} --instrument {instrument.name}"
        yield _at_stations(bed, instrument, "across", sides, command)


def _offsets(bed: Bed, bed_map: BedMap, instrument: Instrument) -> Iterator[Candidate]:
    for reference, face in _ordered_pairs(bed):
        if bed.sense(reference, face) == 0:
            continue
        sides = {"reference": reference, "face": face}
        command = f"{face} --instrument {instrument.name} --reference {reference}"
        yield _at_stations(bed, instrument, "carried", sides, command)


def _spans(bed: Bed, bed_map: BedMap, instrument: Instrument) -> Iterator[Candidate]:
    for one, other in _pairs(bed):
        if bed.sense(one, other) != -1:
            continue
        sides = {"face": one, "other": other}
        command = f"{one} --other {other} --instrument {instrument.name}"
        yield _at_stations(bed, instrument, "over", sides, command)


def _at_stations(
    bed: Bed, instrument: Instrument, how: str, sides: dict[str, str], command: str
) -> Candidate:
    """A stepped run at the bed's stations; `sides` are those of the setup, in their order of naming."""
    return Candidate(
        _setup(bed, instrument, **sides),
        instrument,
        np.array(bed.station_mm),
        Run(how, instrument.name, tuple(sides.values())),
        command,
    )


def _pairs(bed: Bed) -> Sequence[tuple[str, str]]:
    names = list(bed.faces)
    return [(a, b) for i, a in enumerate(names) for b in names[i + 1 :]]


def _ordered_pairs(bed: Bed) -> Iterable[tuple[str, str]]:
    return [pair for a, b in _pairs(bed) for pair in ((a, b), (b, a))]


FREE = 1e-9
"""Of the largest movement: what moves by less is known."""


def as_expected(bed_map: BedMap, setup: Setup, mode: str, station_mm: np.ndarray) -> Traverse:
    """A run at these stations with the readings that the map expects.

    Parameters
    ----------
    bed_map : BedMap
    setup : Setup
        How it would be taken.
    mode : str
        stepped | continuous.
    station_mm : array, shape (n,)
        Rising.
    """
    count = len(station_mm)
    own = np.full(
        count, max(setup.bed.instruments[setup.instrument].uncertainty, _coarsest_step(bed_map, setup))
    )
    ones = np.ones(count, int)
    stations = Stations(station_mm, np.zeros(count), own, np.zeros(count), ones, ones, np.full(count, np.nan))
    run = Traverse(setup, {}, stations, Events.none(), mode, True)
    is_drawn = mode == "continuous"
    forms = slope_forms(run, bed_map.bed, station_mm) if is_drawn else observe(run, bed_map.bed).forms
    return replace(run, stations=replace(stations, reading=expected_readings(bed_map, forms)))


def expected_readings(bed_map: BedMap, forms: Sequence[Form]) -> np.ndarray:
    """Forms of the heights as known; shape (n,), in the unit of the reading."""
    rows = np.zeros((len(forms), len(bed_map.nodes)))
    for (kind, owner), line in bed_map.lines.items():
        known = line.parts[0] if line.parts else np.arange(len(line.station_mm))
        parts = [
            (row, place.station_mm, weight)
            for row, form in enumerate(forms)
            for place, weight in form.items()
            if (place.kind, place.owner) == (kind, owner)
        ]
        if parts:
            row, at_mm, weight = (np.array(column) for column in zip(*parts, strict=True))
            weights = weight[:, None] * interpolation_rows(line.station_mm[known], at_mm)
            np.add.at(rows, (row[:, None], bed_map.indices(owner, kind)[known][None, :]), weights)
    free = rows @ bed_map.solution.null_space[: len(bed_map.nodes)]
    reading = rows @ bed_map.solution.estimate[: len(bed_map.nodes)]
    return np.asarray(reading - free @ np.linalg.lstsq(free, reading, rcond=FREE)[0])


def _coarsest_step(bed_map: BedMap, setup: Setup) -> float:
    """The coarsest steps that runs of the same instrument were written in, as an uncertainty."""
    runs = [each for each in bed_map.observations if each.instrument == setup.instrument]
    return max((each.step_variance for each in runs), default=0.0) ** 0.5
