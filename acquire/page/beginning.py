"""What may be begun from a page, and the entry begun: a new one, or the one that was cut short."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
from itertools import combinations, permutations
from pathlib import Path
from typing import Any

from acquire.entry.asking import Manner
from acquire.entry.under_way import Entry, stations_to_read
from acquire.model.bed import Bed, Instrument
from acquire.model.errors import EntryError
from acquire.model.position import DIRECTIONS
from acquire.model.quantity import ROLL
from acquire.model.reference import CARRIAGE, LINE
from acquire.model.system import utc_now
from acquire.model.traverse import Setup
from acquire.model.units import unit_text
from acquire.page.live import Company
from acquire.page.run import Run
from acquire.page.shown import Values
from acquire.record.keeping import lines_of, resumable, seconds_since_begun
from acquire.record.setup_checks import make_setup, setup_warnings
from acquire.record.sides import Wanted, across, check_sides
from acquire.store import survey_bed
from acquire.store.journal import JournalWriter, begin

SetUp = Callable[[Setup, tuple[float, ...]], Mapping[str, Any]]
"""How it stands on the machine: `drawing` (SVG), `signs` (what + and − mean)."""


@dataclass(frozen=True)
class Wish:
    """One run as somebody wants it."""

    asked: Mapping[str, Any]
    """What `make_setup` takes."""
    step_mm: float | None = None
    start_mm: float | None = None
    end_mm: float | None = None
    closing: bool = False
    vial: bool = False
    settle_s: float | None = None
    resume: bool = True
    """Whether to go on with an entry of the same that was cut short."""


@dataclass(frozen=True)
class Helpers:
    """What the command table hands in: the other house is known here by what it can be asked."""

    company: Company | None = None
    set_up: SetUp | None = None


@dataclass(frozen=True)
class Begun:
    """A run under way, and what ought to be known before its readings are believed."""

    run: Run
    notes: tuple[str, ...]


def begun(survey: Path, wish: Wish, helpers: Helpers) -> Begun:
    """Begin, or go on with what was cut short.

    Raises
    ------
    EntryError
        If it cannot be measured so, in the words of `make_setup`.
    RecordingError
        If another waylog has that entry open.
    """
    setup = _setup_of(survey, wish)
    places = stations_to_read(setup, wish.step_mm, wish.start_mm, wish.end_mm)
    left = resumable(survey, setup) if wish.resume else None
    writer = begin(survey, setup) if left is None else JournalWriter.reopen(left)
    try:
        lines = [] if left is None else lines_of(left)
        entry = Entry.begun(writer.setup, places, lines, wish.closing)
        manner = _manner(survey, writer.setup, places, wish, helpers)
    except BaseException:
        writer.close()
        if left is None:  # nothing was read into it yet
            writer.path.unlink()
        raise
    notes = [] if left is None else [f"going on with {left.name}: {entry.taken} readings are there"]
    run = Run(entry, writer, partial(seconds_since_begun, writer.setup), manner)
    return Begun(run, (*notes, *setup_warnings(writer.setup)))


def _setup_of(survey: Path, wish: Wish) -> Setup:
    return make_setup(survey_bed(survey), survey, source="enter", created_utc=utc_now(), **wish.asked)


def _manner(survey: Path, setup: Setup, places: tuple[float, ...], wish: Wish, helpers: Helpers) -> Manner:
    company = None if helpers.company is None else helpers.company(survey, setup)
    set_up = {} if helpers.set_up is None else helpers.set_up(setup, places)
    return replace(Manner.asked(wish.vial, wish.settle_s, company), set_up=set_up)


SIDES = {"face": str, "across": list, "reference": str, "other": str, "inside": bool}
"""What a page may say of where an instrument stands, and of what kind each is."""
TICKS = ("turned", "vial", "closing")
MOST_SIDES = 200


def choices(bed: Bed) -> list[Values]:
    """Each measuring instrument with all it can be read on, as `enter` would take it."""
    measuring = [each for each in bed.instruments.values() if each.measures.is_measuring]
    return [
        {
            "instrument": instrument.name,
            "unit": unit_text(instrument.reading_unit),
            "is_level": instrument.measures.is_angle,
            "sides": [side for side in _sides(bed, instrument) if _fits(bed, instrument, side)][:MOST_SIDES],
        }
        for instrument in measuring
    ]


def wish_of(body: Mapping[str, Any], bed: Bed) -> Wish:
    """The run that a page asks for.

    Raises
    ------
    EntryError
        If something in it is of another kind than it must be; `make_setup` refuses the rest.
    """
    side = body.get("side")
    if not isinstance(side, Mapping) or not side or not set(side) <= set(SIDES):
        raise EntryError("page", f"found {side!r:.80}", f"where it is read: {' | '.join(SIDES)}")
    for name, value in side.items():
        if not isinstance(value, SIDES[name]):
            raise EntryError("page", f"found {name} {value!r:.60}", SIDES[name].__name__)
    ticks = {name: body.get(name, False) for name in TICKS}
    for name, value in ticks.items():
        if not isinstance(value, bool):
            raise EntryError("page", f"found {name} {value!r:.60}", "true | false")
    if body.get("direction") not in DIRECTIONS:
        raise EntryError("page", f"found the direction {body.get('direction')!r:.60}", " | ".join(DIRECTIONS))
    asked = {**side, "instrument": str(body.get("instrument")), "direction": body["direction"]}
    if "across" in asked:
        asked["across"] = tuple(str(each) for each in asked["across"])
    return Wish({**asked, "turned": ticks["turned"]}, closing=ticks["closing"], vial=ticks["vial"])


def _fits(bed: Bed, instrument: Instrument, side: Values) -> bool:
    wanted = Wanted(instrument.name, **{key: value for key, value in side.items() if key != "words"})
    try:
        laid = instrument if wanted.across is None else instrument.as_laid(ROLL.name)
        across(bed, laid, wanted)
        check_sides(bed, laid, wanted)
    except EntryError:
        return False
    return True


def _sides(bed: Bed, instrument: Instrument) -> Iterator[Values]:
    """All that could be meant, whether it fits or not, in words as well."""
    faces = list(bed.faces)
    if instrument.measures.is_angle:
        for face in (*faces, CARRIAGE):
            yield {"words": f"along {face}", "face": face}
        for pair in permutations(faces, 2):
            yield {"words": f"across {pair[0]} and {pair[1]}", "across": list(pair)}
        yield {"words": "across the carriage", "across": [CARRIAGE]}
    elif instrument.measures.is_between:
        for face in faces:
            yield {"words": f"over {face}", "face": face}
        for one, other in combinations(faces, 2):
            for inside in (False, True):
                words = f"{one} {'inside to' if inside else 'to'} {other}"
                yield {"words": words, "face": one, "other": other, "inside": inside}
    else:
        for face in faces:
            for reference in _carriers(bed):
                yield {"words": f"{face} along {reference}", "face": face, "reference": reference}


def _carriers(bed: Bed) -> list[str]:
    pairs = ["+".join(pair) for pair in combinations(bed.faces, 2)]
    edges = [*(f"straightedge:{name}" for name in bed.straightedges), *(f"wire:{name}" for name in bed.wires)]
    return [*bed.faces, CARRIAGE, *pairs, *edges, LINE]
