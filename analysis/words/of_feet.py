"""What to mind about the feet: why bed and wear cannot be told apart, and which feet cannot be moved."""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analysis.answers.bed_or_wear_reasons import (
        InPieces,
        KnownAllTheSame,
        NotSeparable,
        TooUnsure,
    )
    from analysis.answers.feet_on_bed import (
        NoPair,
        StepNotStated,
        TooFewFeet,
    )

WOULD_TELL = (
    "A level across two faces that nothing runs on (the tailstock ways, strips machined with the bed; "
    "`runs = false` in bed.toml) would tell, turning a foot would not"
)


def _in_pieces(fact: "InPieces") -> str:
    places = " and ".join(f"{mm:g} mm" for mm in fact.joints_mm)
    return (
        f"what turning feet could take out and what is worn: the bed is in pieces that meet at {places}, and "
        "a step, kink or roll there is neither twist of one body nor wear; close the joint first (`waylog "
        "joints` says which foot moves by how much), then take joints_mm out of bed.toml to have the bed "
        "judged as one body"
    )


def _not_separable(fact: "NotSeparable") -> str:
    return (
        f"between {fact.from_mm:g} and {fact.to_mm:g} mm no second face is unworn: twist of the bed and one "
        f"way worn more than the other look alike there. {_known(fact.known)} {WOULD_TELL}"
    )


def _too_unsure(fact: "TooUnsure") -> str:
    return (
        f"the unworn places tell what turning feet could take out only to ± {fact.expanded_um_per_m:.0f} "
        f"µm/m, more than the roll differs by. {_known(fact.known)} {WOULD_TELL}"
    )


def _known(fact: "KnownAllTheSame") -> str:
    side = "higher" if fact.rear_um > 0 else "lower"
    return (
        f"Known: the rear is {abs(fact.rear_um):.1f} µm {side} against the front at {fact.station_mm:g} mm "
        "than at the ends."
    )


def _too_few_feet(fact: "TooFewFeet") -> str:
    if not fact.count:
        return (
            "bed.toml says nothing of the feet: write a table [feet.NAME] for each, with station_mm, "
            "across_mm, um_per_turn (lift of one turn) and hand_step_um (the smallest lift a hand can set)"
        )
    return (
        f"{fact.count} feet in bed.toml: three feet or fewer only tip a bed, they change neither its "
        "bend nor its twist; needed: four or more"
    )


def _no_pair(fact: "NoPair") -> str:
    return (
        f"{', '.join(fact.feet)} at {fact.station_mm:g} mm in bed.toml: needed are two feet there, one front "
        "and one rear; how a bed follows other feet is not worked out"
    )


def _step_not_stated(fact: "StepNotStated") -> str:
    return (
        f"feet {', '.join(fact.feet)}: bed.toml has neither um_per_turn nor hand_step_um: write what one "
        "turn lifts, or, for wedges and shims, the smallest lift that can be set"
    )


SENTENCES: Mapping[str, str | Callable[[Any], str]] = {
    "NothingUnworn": (
        "what turning feet could take out and what is worn: bed.toml names no unworn stretch (unworn_mm) "
        "and no face that nothing runs on (runs = false)"
    ),
    "InPieces": _in_pieces,
    "NoPairsOfFeet": (
        "what turning feet could take out: bed.toml does not say where two pairs of feet stand "
        "([feet.NAME] with station_mm and across_mm)"
    ),
    "UnwornNotMeasured": (
        "what turning feet could take out and what is worn: nothing was measured at an unworn place"
    ),
    "NotSeparable": _not_separable,
    "TooUnsure": _too_unsure,
    "OnlyALine": (
        "what is worn: the roll is known only up to a steady wind; a level across the ways tells the rest"
    ),
    "Misfit": (
        "the unworn places lie up to {largest_um:.1f} µm off all that {pairs} pairs of feet can "
        "make: cast stress, heat, or a stretch that is worn after all; the ± here is widened by that"
    ),
    "WornUnworn": (
        "what is bed and what is wear: {face} at {station_mm:g} mm stands {above_um:.1f} µm "
        "proud of what the unworn places make it, more than noise explains: an unworn stretch is worn, or "
        "readings are wrong; look at unworn_mm in bed.toml and read there again"
    ),
    "TooFewFeet": _too_few_feet,
    "NoPair": _no_pair,
    "StepNotStated": _step_not_stated,
    "WearWouldBeJacked": (
        "bed.toml names no unworn place, so that wear would be jacked out with the twist: state unworn_mm of "
        "the ways (stretches the carriage never reached) or runs = false for faces that nothing runs on"
    ),
    "RollUnknown": "nothing tells the roll of {front} and {rear}: read a level across them",
    "BendUntold": (
        "the unworn places do not tell the bend: no foot is moved for it, and it is not counted in "
        "what is left; a level along an unworn face past the middle pair of feet would tell"
    ),
    "RollUpToALine": "the roll of the ways is known only up to a line: what a cross level will read is not",
}
