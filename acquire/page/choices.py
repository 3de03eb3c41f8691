"""What may be begun from a page: every instrument of the bed with what it can be read on."""

from collections.abc import Iterator, Mapping
from itertools import combinations, permutations
from typing import Any

from acquire.model.bed import Bed, Instrument
from acquire.model.errors import EntryError
from acquire.model.position import DIRECTIONS
from acquire.model.reference import CARRIAGE, LINE
from acquire.page.beginning import Wish
from acquire.page.shown import Values, unit_shown
from acquire.record.sides import Wanted, across, check_sides

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
            "unit": unit_shown(instrument.reading_unit),
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
    if (
        not all(isinstance(value, bool) for value in ticks.values())
        or body.get("direction") not in DIRECTIONS
    ):
        raise EntryError("page", "found no direction", " | ".join(DIRECTIONS))
    asked = {**side, "instrument": str(body.get("instrument")), "direction": body["direction"]}
    if "across" in asked:
        asked["across"] = tuple(str(each) for each in asked["across"])
    return Wish({**asked, "turned": ticks["turned"]}, closing=ticks["closing"], vial=ticks["vial"])


def _fits(bed: Bed, instrument: Instrument, side: Values) -> bool:
    wanted = Wanted(instrument.name, **{key: value for key, value in side.items() if key != "words"})
    try:
        laid = instrument if wanted.across is None else instrument.as_laid("roll")
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
