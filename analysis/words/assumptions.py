"""What the ± takes for granted, in one line, and a note for each kind that bed.toml does not state."""

from collections.abc import Mapping, Sequence

from analysis.answers.assumptions import (
    AHEAD,
    ANGLE,
    ARM,
    BASE,
    BED,
    CARRIAGE,
    DIAMETERS,
    DRIFT_STEADY,
    EDGE_RESTS,
    EDGE_TURNED,
    EDGE_WARMTH,
    FEET,
    NO_DRIFT,
    POSITIONS,
    SCALE,
    SEATING,
    SIGNS,
    SQUARE,
    TURNED_WITH,
    VEES,
    Assumption,
)
from analysis.linear.fact import Fact
from analysis.words.tables import note_lines, notes

_TAKEN = {
    (SCALE, False): "scale exact",
    (BASE, False): "base exact",
    (FEET, True): "feet as long as stated",
    (FEET, False): "carriers as points",
    (CARRIAGE, True): "carriage as long as stated",
    (CARRIAGE, False): "carriage as a point",
    (AHEAD, False): "plungers over the middle of what carries them",
    (ARM, False): "plungers level with what carries them",
    (POSITIONS, False): "positions exact",
    (SIGNS, False): "plus and minus as written",
    (DRIFT_STEADY, False): "drift steady",
    (NO_DRIFT, False): "no drift",
    (BED, True): "bed unchanged between runs",
    (BED, False): "bed unchanged between runs",
    (SEATING, True): "seating new at every placing",
    (SEATING, False): "no seating error",
    (ANGLE, False): "angle exact",
    (DIAMETERS, False): "diameters exact",
    (SQUARE, False): "cross levels square across",
    (TURNED_WITH, False): "cross levels turned with their parallels",
    (VEES, False): "vees worn alike all over their flanks",
    (EDGE_RESTS, False): "straightedges resting where stated",
    (EDGE_WARMTH, False): "straightedges evenly warm",
    (EDGE_TURNED, False): "straightedges turned over with each end in its place",
}
"""By what is assumed and whether it is stated; what is not here is counted in the ±, or shown by readings."""
_EVENS_OUT = (
    "long feet even out what is shorter than they stand and shift what is read, which the ± does not cover; "
    "measure and state it"
)
_HOW_TO_MEASURE = {
    SCALE: "no scale error stated (scale_uncertainty), so the scale is taken as exact; try it on a gauge "
    "block or feeler of known thickness (for a level under one foot) and state what it may be out by",
    BASE: "no uncertainty of the base stated (base_uncertainty_mm), so it is taken as exact; measure between "
    "the middles of the feet several times and state how far that differs",
    SEATING: "no seating error stated (seating_um); lift and replace it ten times to measure it, for it "
    "often outweighs all else",
    FEET: "taken as standing on one point, because how far apart the feet of what carries it stand, or how "
    f"long those are that it bridges the ways on, is not in bed.toml (carrier_feet_mm); {_EVENS_OUT}",
    AHEAD: "taken as over the middle of what carries it, because how far along the bed the plunger stands "
    "from there is not in bed.toml (overhang_along_mm: 0 over the middle); a carrier pitches on worn ways, "
    "and a plunger ahead of it reads that too, which the ± does not cover; measure and state it",
    ARM: "taken as level with what carries it, because how high above that the plunger stands is not in "
    "bed.toml (arm_height_mm); a carrier rolls where ways are worn or twisted, and a raised plunger that "
    "touches sideways reads that too, which the ± does not cover; measure and state it",
    CARRIAGE: "taken as standing on one point, because the carriage's bearing length along the bed is not in "
    f"bed.toml (carriage_length_mm); {_EVENS_OUT}",
}
_BED = (
    "how warm the bed was, top and bottom, is not written down with every run, so it is taken as unchanged "
    "in between; write both under [state] in bed.toml before each run (temperature_top_degC, "
    "temperature_bottom_degC), and end by repeating the first run"
)


def taken_words(found: Sequence[Assumption], worth: Mapping[str, str] | None = None) -> list[str]:
    """One line beside the ±; `worth` says what an error of some of it would make.

    Examples
    --------
    Instruments are named where what holds for one does not hold for all.

    >>> taken_words([Assumption(SCALE, False, ("level",)), Assumption(POSITIONS, False)])
    ['  The ± takes for granted: scale exact, positions exact.']
    >>> taken_words([Assumption(SCALE, True, ("dial",)), Assumption(SCALE, False, ("level",))])
    ['  The ± takes for granted: scale exact (level).']
    """
    parts, worth = [], worth or {}
    for each in found:
        # of the others a drift may be taken off, or a bow be counted that may be one
        is_of_some = each.what in (NO_DRIFT, SIGNS) or sum(other.what == each.what for other in found) > 1
        if (each.what, each.stated) in _TAKEN:
            beside = worth.get(each.what) or (", ".join(each.of) if is_of_some else "")
            if each.what == EDGE_RESTS:
                beside = f"sag of {each.size_um:.2g} µm"
            parts.append(_TAKEN[each.what, each.stated] + (f" ({beside})" if beside else ""))
    return [f"  The ± takes for granted: {', '.join(dict.fromkeys(parts))}."] if parts else []


def unstated_words(found: Sequence[Assumption]) -> list[str]:
    """A note for each kind that is not stated, with how to measure it.

    Examples
    --------
    >>> unstated_words([Assumption(SEATING, False, ("dial", "level"))])[0][:43]
    '  Note: dial, level: no seating error state'
    """
    told = []
    for each in found:
        if each.what == BED and not each.stated:
            told.append(_BED)
        elif each.what == EDGE_WARMTH:
            told.append(_edge_warmth(each))
        elif each.what in _HOW_TO_MEASURE and not each.stated:
            told.append(f"{', '.join(each.of)}: {_HOW_TO_MEASURE[each.what]}")
    return note_lines(told)


def _edge_warmth(found: Assumption) -> str:
    """How much a degree is, for that is more than people think."""
    bends = "bends it" if found.size_um is None else f"bends it by {found.size_um:.2g} µm"
    return (
        f"{', '.join(found.of)}: taken as evenly warm, though 1 °C from one side to the other {bends}; let "
        "it lie at the bed until both are of one warmth, touch it with gloves, and state how far its sides "
        "may differ (warmth_uncertainty_k)"
    )


def taken_and_notes(found: Sequence[Assumption], warnings: Sequence[Fact]) -> list[str]:
    """The line beside the ±, then every note: what is to be minded, and what is not stated."""
    return [*taken_words(found), *notes(warnings), *unstated_words(found)]
