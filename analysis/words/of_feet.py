"""What to mind about the feet: why bed and wear cannot be told apart, and which feet cannot be moved."""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analysis.answers.bed_or_wear_reasons import (
        InPieces,
        KnownAllTheSame,
        Misfit,
        NoPairsOfFeet,
        NothingUnworn,
        NotSeparable,
        OnlyALine,
        TooUnsure,
        UnwornNotMeasured,
        WornUnworn,
    )
    from analysis.answers.feet_on_bed import (
        BendUntold,
        NoPair,
        StepNotStated,
        TooFewFeet,
        WearWouldBeJacked,
    )

WOULD_TELL = (
    "A level across two faces that nothing runs on (the tailstock ways, strips machined with the bed; "
    "`runs = false` in bed.toml) would tell, turning a foot would not"
)


def _nothing_unworn(_: "NothingUnworn") -> str:
    return (
        "what turning feet could take out and what is worn: bed.toml names no unworn stretch (unworn_mm) "
        "and no face that nothing runs on (runs = false)"
    )


def _in_pieces(fact: "InPieces") -> str:
    places = " and ".join(f"{mm:g} mm" for mm in fact.joints_mm)
    return (
        f"what turning feet could take out and what is worn: the bed is in pieces that meet at {places}, and "
        "a step, kink or roll there is neither twist of one body nor wear; close the joint first (`waylog "
        "joints` says which foot moves by how much), then take joints_mm out of bed.toml to have the bed "
        "judged as one body"
    )


def _no_pairs(_: "NoPairsOfFeet") -> str:
    return (
        "what turning feet could take out: bed.toml does not say where two pairs of feet stand "
        "([feet.NAME] with station_mm and across_mm)"
    )


def _not_measured(_: "UnwornNotMeasured") -> str:
    return "what turning feet could take out and what is worn: nothing was measured at an unworn place"


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


def _only_a_line(_: "OnlyALine") -> str:
    return "what is worn: the roll is known only up to a steady wind; a level across the ways tells the rest"


def _misfit(fact: "Misfit") -> str:
    return (
        f"the unworn places lie up to {fact.largest_um:.1f} µm off all that {fact.pairs} pairs of feet can "
        "make: cast stress, heat, or a stretch that is worn after all; the ± here is widened by that"
    )


def _worn_unworn(fact: "WornUnworn") -> str:
    return (
        f"what is bed and what is wear: {fact.face} at {fact.station_mm:g} mm stands {fact.above_um:.1f} µm "
        "proud of what the unworn places make it, more than noise explains: an unworn stretch is worn, or "
        "readings are wrong; look at unworn_mm in bed.toml and read there again"
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


def _wear_would_be_jacked(_: "WearWouldBeJacked") -> str:
    return (
        "bed.toml names no unworn place, so that wear would be jacked out with the twist: state unworn_mm of "
        "the ways (stretches the carriage never reached) or runs = false for faces that nothing runs on"
    )


def _bend_untold(_: "BendUntold") -> str:
    return (
        "the unworn places do not tell the bend: no foot is moved for it, and it is not counted in "
        "what is left; a level along an unworn face past the middle pair of feet would tell"
    )


SENTENCES: Mapping[str, Callable[[Any], str]] = {
    "NothingUnworn": _nothing_unworn,
    "InPieces": _in_pieces,
    "NoPairsOfFeet": _no_pairs,
    "UnwornNotMeasured": _not_measured,
    "NotSeparable": _not_separable,
    "TooUnsure": _too_unsure,
    "OnlyALine": _only_a_line,
    "Misfit": _misfit,
    "WornUnworn": _worn_unworn,
    "TooFewFeet": _too_few_feet,
    "NoPair": _no_pair,
    "StepNotStated": _step_not_stated,
    "WearWouldBeJacked": _wear_would_be_jacked,
    "RollUnknown": lambda fact: (
        f"nothing tells the roll of {fact.front} and {fact.rear}: read a level across them"
    ),
    "BendUntold": _bend_untold,
    "RollUpToALine": lambda _: (
        "the roll of the ways is known only up to a line: what a cross level will read is not"
    ),
}
