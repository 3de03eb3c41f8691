"""What an adjustment leaves open or takes for granted, said with what would tell."""

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from acquire.model.quantity import QUANTITIES
from acquire.model.units import unit_text
from analysis.words.known import line_name

if TYPE_CHECKING:
    from analysis.adjust.assembly import TurnedForTheReturn
    from analysis.adjust.bent_all_evening import BentAllEvening
    from analysis.adjust.cannot_tell import (
        HeightsUnknown,
        HeightsUntied,
        InParts,
        ShapesUnknown,
        ShapeUnknown,
        TiltsUntied,
    )
    from analysis.adjust.carriers_as_points import ShapeUnderCarrierUnknown
    from analysis.adjust.counting import CountedByReadings
    from analysis.adjust.first_tied import JudgedByFew
    from analysis.adjust.nuisances import ZeroNotHeld
    from analysis.adjust.reliability import Contested
    from analysis.adjust.there_and_back import Return

WHY = {
    "only levels across touch it": "a level across tells only how one way lies against another",
    "its reference is itself not known": (
        "what the indicator was carried along or read against is itself not known"
    ),
    "too few readings tie its stations": "too few readings tie its stations together",
    "feet of its level never met": (
        "no foot of its level stood within 2 mm of a foot of another step; step it by its base, foot to foot"
    ),
}
UP_TO = {
    "nothing": "",
    "constant": ", up to the zeros of the runs",
    "line": ", up to a straight line",
    "all": ", and not of every pair",
}


def _shape_unknown(fact: "ShapeUnknown") -> str:
    return f"the shape of {fact.line} cannot be known: {WHY[fact.why]}"


def _shapes_unknown(fact: "ShapesUnknown") -> str:
    names = listed(fact.lines)
    is_pair = len(fact.lines) == 2
    which = f"neither {names.replace(' and ', ' nor ')}" if is_pair else f"none of {names}"
    what = "their difference" if is_pair else "the difference of any two"
    where = (
        "at every station" if fact.known == fact.stations else f"at {fact.known} of {fact.stations} stations"
    )
    return f"the shape of {which} can be known, only {what} {where}{UP_TO[fact.up_to]}"


def _in_parts(fact: "InParts") -> str:
    shown = " and ".join(f"({_few(part)})" for part in fact.parts_mm)
    return (
        f"{fact.line} falls into {len(fact.parts_mm)} parts that nothing ties together, {shown}: the shape "
        "of each is known, not how one lies against the other; closer steps are then no better than "
        "steps of a whole base"
    )


def _heights_unknown(fact: "HeightsUnknown") -> str:
    return f"the height of {fact.line} at {_few(fact.station_mm)} cannot be known"


def _tilts_untied(fact: "TiltsUntied") -> str:
    return (
        f"the wind or taper between {_against(fact.groups)} cannot be told: nothing ties the tilt of one to "
        "the tilt of the other (a level across, or one zero for both, would)"
    )


def _heights_untied(fact: "HeightsUntied") -> str:
    return (
        f"how high {_against(fact.groups)} lie against each other is not known, only how that changes along "
        "the bed"
    )


def _against(groups: Sequence[Sequence[str]]) -> str:
    return listed([f"({listed(group)})" if len(group) > 1 else group[0] for group in groups])


def _few(station_mm: Sequence[float]) -> str:
    shown = [f"{mm:g}" for mm in station_mm]
    few = ", ".join(shown) if len(shown) <= 6 else ", ".join((*shown[:3], "…", shown[-1]))
    return f"{few} mm"


def listed(names: Sequence[str]) -> str:
    """Names as people list them.

    Examples
    --------
    >>> listed(["a", "b", "c"])
    'a, b and c'
    """
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]


def _there_and_back(fact: "Return") -> str:
    runs = f"{fact.face}: runs {', '.join(map(str, fact.traverses))} of {fact.instrument}"
    if fact.outcome == "too little in common":
        one, more = ("station", "stations") if fact.mode == "stepped" else ("stretch", "stretches")
        return (
            f"{runs}, there and back, share {fact.in_common} {one if fact.in_common == 1 else more}, "
            f"and {fact.needed} at least are needed to tell a drift from a bed that bent in between: the "
            "drift is taken as steady all the same; run back over the same stretch"
        )
    bow = f"a bow of {abs(fact.bow_um):.2g} µm"
    if fact.outcome == "bend":
        return (
            f"{runs}: those in one direction differ by {bow}, so that the bed bent in between or the "
            "drift was not steady; the uncertainty counts it. Let bed and level come to one temperature "
            "and run again"
        )
    return (
        f"{runs} differ by {bow}, taken as a steady drift; if the bed bent in between, its shapes are up to "
        f"{fact.farthest_um:.2g} µm from this map, which its uncertainty counts. Run once more in the first "
        "direction without touching the zero: that tells"
    )


def _bent_all_evening(fact: "BentAllEvening") -> str:
    first, last = fact.runs
    sense = "crowned" if fact.bow_um > 0 else "hollow"
    return (
        f"{listed(fact.faces)}: their runs there and back differ as if the bed bent on, {sense} by "
        f"{abs(fact.bow_um):.2g} µm more from run to run, {abs(fact.in_all_um):.2g} µm from run {first} to "
        f"run {last}; a level that drifts alike in every run looks the same. If it was the bed, faces read "
        "early and late are off by up to that against each other, which no ± here counts. Make run "
        f"{first} once more as it was: if it differs from the first time by such a bow, let the bed come to "
        "one temperature and measure anew"
    )


def _turned_for_the_return(fact: "TurnedForTheReturn") -> str:
    return (
        f"traverses {' and '.join(map(str, fact.traverses))}: the instrument was turned for the return, so a "
        "drift looks like a bow and cannot be told from it; run back once without turning it"
    )


def _under_carrier(fact: "ShapeUnderCarrierUnknown") -> str:
    ridden = " and ".join(fact.carriers)
    return (
        f"{fact.instrument} on {ridden}: the shape of {ridden} under its feet is not known, so it is "
        f"taken as a point for {fact.readings} readings; how {ridden} bends within its feet goes "
        "into the difference shown, and the ± takes that bend to be as rough as the difference, or as "
        "large as all that is no smooth curve in it where the feet stand wider apart than the stations; "
        f"level {ridden} to know it"
    )


def _judged_by_few(fact: "JudgedByFew") -> str:
    name = line_name(fact.face, fact.kind)
    return (
        f"{name}: {fact.rest_on_it} of its heights rest on no reading but on how it runs between "
        f"{fact.judged_by} others, and so few hardly tell how rough it is: the ± holds on ways as even as "
        f"these look; steps of a shorter base, or a run that joins the two chains, would tell"
    )


def _runs(numbers: Sequence[int]) -> str:
    return f"traverse{'s' if len(numbers) > 1 else ''} {listed([str(number) for number in numbers])}"


def _counted_by_readings(fact: "CountedByReadings") -> str:
    clocked, others = _runs(fact.clocked), _runs(fact.not_clocked)
    return (
        f"{fact.instrument}: a clock ran with {clocked} and none with {others}, so that their drift is "
        "counted by readings, as if all were read at one pace"
    )


def _zero_not_held(fact: "ZeroNotHeld") -> str:
    others = _runs(fact.others)
    return (
        f"traverse {fact.traverse}: nothing tells how far the zero of {fact.instrument} drifted between it "
        f"and {others}, so that the zero is not taken as shared; run back along {listed(fact.faces)} without "
        "touching the zero or turning it: that tells the drift"
    )


def _contested(fact: "Contested") -> str:
    def named(readings: Sequence[tuple[int, float]]) -> str:
        return listed([f"traverse {number} at {station_mm:g} mm" for number, station_mm in readings])

    unit = unit_text(QUANTITIES[fact.quantity].contract_unit)
    verb = "is" if len(fact.one) == 1 else "are"
    return (
        f"either {named(fact.one)} {verb} off, by some {fact.error:.2g} {unit}, or {named(fact.other)}: "
        "nothing tells which, so that neither is set aside; the ± covers either of these, and nothing else "
        "that may be wrong there, such as a ledge beside a foot; read there once more"
    )


SENTENCES: Mapping[str, str | Callable[[Any], str]] = {
    "Contested": _contested,
    "CountedByReadings": _counted_by_readings,
    "ShapeUnknown": _shape_unknown,
    "ShapesUnknown": _shapes_unknown,
    "InParts": _in_parts,
    "HeightsUnknown": _heights_unknown,
    "TiltsUntied": _tilts_untied,
    "HeightsUntied": _heights_untied,
    "EdgeUnknown": "the shape of {straightedge} cannot be known from these readings",
    "NotMeasured": lambda fact: f"nothing was measured on {listed(fact.faces)}",
    "Return": _there_and_back,
    "BentAllEvening": _bent_all_evening,
    "TurnedForTheReturn": _turned_for_the_return,
    "ShapeUnderCarrierUnknown": _under_carrier,
    "JudgedByFew": _judged_by_few,
    "TakenAsStraight": (
        "straightedge {straightedge} is taken as straight: turn it over and read again to tell its own shape"
    ),
    "BeyondTheEnd": (
        "{line}: the carrier would overhang the end of the bed; the way is taken as going straight on there"
    ),
    "FeetOffStations": (
        "traverse {traverse}: feet stood up to {off_mm:.1f} mm off the stations where they are "
        "taken to have stood, on a way that bends; its uncertainty counts what that makes"
    ),
    "ScattersMore": (
        "the readings scatter {times:.1f} times as much as the instruments claim; every uncertainty "
        "here is enlarged by that"
    ),
    "KeepsItsClaim": "{instrument}: the readings do not tell how much it scatters; it keeps what it claims",
    "ZeroNotHeld": _zero_not_held,
}
