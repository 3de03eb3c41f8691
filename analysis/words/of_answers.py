"""What to mind about an answer: what it rests on, what it cannot tell apart, and what would."""

import math
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from analysis.words.known import line_name

if TYPE_CHECKING:
    from analysis.answers.comparison_sides import AlsoReadAlong
    from analysis.answers.datums import NoFaceLooks
    from analysis.answers.face_map import (
        DrawnOverJoint,
    )
    from analysis.answers.feet import FeetUntied
    from analysis.answers.further_runs import Run
    from analysis.answers.good_enough import KnownTooCoarsely
    from analysis.answers.joint_cut import NothingLeavesUntouched, TooLittleAnywhere
    from analysis.answers.joints import FewBesideJoint
    from analysis.answers.next_traverse import FurtherTraverse
    from analysis.answers.twist import MayRoll, RestsOnOneZero


def _feet_untied(fact: "FeetUntied") -> str:
    return (
        f"{fact.instrument}: its feet on {fact.face} miss the stations that {', '.join(fact.others)} read, "
        "so that neither helps nor checks the other; read at the feet, or choose stations in bed.toml that "
        "the feet meet"
    )


def _rests_on_one_zero(fact: "RestsOnOneZero") -> str:
    runs = " and ".join(map(str, fact.traverses))
    return (
        f"the wind rests on one zero of {fact.instrument} in traverses {runs}, and nothing tells how far it "
        f"drifted: by {fact.wind_per_drift:.2g} times that the wind is off, which the ± counts as far as it "
        "is likely; run back along one of the ways without touching the zero"
    )


def _may_roll(fact: "MayRoll") -> str:
    return (
        f"{', '.join(fact.instruments)}: carried along one way to read the other, and taken as not rolling "
        "on it, which nothing measures; `--by cross-level` or `--by level` leaves it out"
    )


def _also_read_along(fact: "AlsoReadAlong") -> str:
    return (
        f"{fact.name}: taken is what was read along {fact.along} (traverse "
        f"{', '.join(map(str, fact.traverses))}); say FACE:{fact.other} for what was read along that"
    )


def _known_too_coarsely(fact: "KnownTooCoarsely") -> str:
    known = (
        f"{fact.face}: cannot tell: shows no departure, and is known to ± {_um(fact.expanded_um)} between "
        f"{fact.from_mm:g} and {fact.to_mm:g} mm"
    )
    if fact.good_to_um is None:
        return (
            f"{known}; whether that is enough nothing says: state what a datum is to be good to "
            "(`datums --within`, or straightness_um under [limits] in bed.toml)"
        )
    return (
        f"{known}, where a datum of this bed is to be good to {_um(fact.good_to_um)}; read there again, with "
        "feet at other places or by an indicator from a face known better"
    )


def _um(value: float) -> str:
    return f"{value:.0f} µm" if value >= 10 else f"{value:.1f} µm"


def _drawn_over_joint(fact: "DrawnOverJoint") -> str:
    if math.isnan(fact.step_um):
        return (
            f"{fact.face}: the level drawn along it barely came over the joint at {fact.joint_mm:g} mm; its "
            "readings with a foot on either piece are left out"
        )
    way = "up" if fact.step_um >= 0 else "down"
    return (
        f"{fact.face}: a level was drawn over the joint at {fact.joint_mm:g} mm; as each foot crossed, it "
        f"read a step {way} of {abs(fact.step_um):.1f} ± {fact.expanded_um:.1f} µm. The heights have it, and "
        f"their ± within {fact.within_mm:g} mm of the joint"
    )


LOOKS = {("down",): "down", ("front", "rear"): "to the front or rear", ("up",): "up"}


def _no_face_looks(fact: "NoFaceLooks") -> str:
    return f"no face that looks {LOOKS[fact.normals]} is known: a fixture that rides on three faces needs one"


def _nothing_untouched(fact: "NothingLeavesUntouched") -> str:
    stretches = ", ".join(f"{a:g} to {b:g} mm" for a, b in fact.stretches_mm)
    return f"no target leaves {stretches} untouched: some other place lies below every line through there"


def _too_little(fact: "TooLittleAnywhere") -> str:
    so = "with these stretches untouched" if fact.with_untouched else "for a target like that"
    return f"at most {fact.at_most_um:g} µm anywhere is too little: {fact.needed_um:.1f} µm are needed {so}"


def _few_beside_joint(fact: "FewBesideJoint") -> str:
    name = line_name(fact.face, fact.kind)
    return (
        f"what {name} does there: it is known at {fact.stations} of {fact.needed} stations that are needed "
        "on either side; stations closer together would tell"
    )


JOINT_UNTOLD = {
    "up": "whether it is high or low: no face that looks up or down is known on both sides",
    "roll": "whether it is rolled: faces at two different places across the bed (across_mm) would tell, or a "
    "level across on either side",
    "rear": "whether it is to the front or rear: a side face or a vee read sideways would tell",
    "corner": "whether what looks like a kink is wear that ends within a station of the joint: stations "
    "closer together there would tell",
}
BEFORE_METAL = {
    "one survey": "Never scrape from one survey: repeat it, and confirm with blue and a straightedge. Metal "
    "does not go back.",
    "least metal": "Least metal alone is no target: it must keep what the machine needs, parallel to "
    "spindle, rack and leadscrew.",
    "a pass": "Scraping takes about 2 to 10 µm (0.1 to 0.4 thou) a pass (common practice). Measure again "
    "long before the plan is used up.",
}


def _further_traverse(fact: "FurtherTraverse") -> str:
    change = f"stays ±{_short(fact.then)} {fact.unit}"
    if fact.now is None:
        change = f"±{_short(fact.then)} {fact.unit}, not known so far"
    elif fact.now >= 1.02 * fact.then:
        change = f"from ±{_short(fact.now)} to ±{_short(fact.then)} {fact.unit}"
    if fact.removes_mm:
        blind = ", ".join(f"{each:.0f}" for each in fact.removes_mm)
        change += f"; removes the blind wavelength{'s' if len(fact.removes_mm) > 1 else ''} {blind} mm"
    if fact.checks:
        change += f"; checks the readings on {fact.checks}, which nothing does so far"
    return f"{_run(fact.run)}: {fact.what} {change}"


def _run(run: "Run") -> str:
    """How a traverse is taken.

    Examples
    --------
    >>> from analysis.answers.further_runs import Run
    >>> _run(Run("again", "level", ("way",), "reverse"))
    'level along way again, in reverse'
    """
    first, last = run.faces[0], run.faces[-1]
    direction = f"{'in ' if run.direction == 'reverse' else ''}{run.direction}"
    how = {
        "along": f"along {first}",
        "again": f"along {first} again, {direction}",
        "drawn back": f"drawn back along {first}, {direction}",
        "drawn again": f"drawn again along {first}, {direction}",
        "other base": f"drawn again at {run.base_mm:g} mm base along {first} (base_mm = {run.base_mm:g} in "
        "bed.toml)",
        "across": f"across {first} and {last}",
        "carried": f"carried on {first}, reading {last}",
        "over": f"over {first} and {last}",
    }[run.way]
    to_tell = ", without touching the zero, to tell a drift from a bed that bent" if run.is_to_tell else ""
    return f"{run.instrument} {how}{to_tell}"


def _short(value: float) -> str:
    """Two digits, a nought among them: what is turned into thou keeps as many."""
    return f"{value:#.2g}".rstrip(".") if value < 10 else f"{value:.0f}"


SENTENCES: Mapping[str, str | Callable[[Any], str]] = {
    "UnwornMissed": (
        "{face}: fewer than two of its known heights lie in its unworn stretches (unworn_mm), so that "
        "heights are from the line through its ends and tell no wear"
    ),
    "UnwornTooUnsure": (
        "{face}: the line through its unworn stretches (unworn_mm) is so uncertain over the rest that "
        "no shape shows from it, so that heights are from the line through its ends; read the unworn "
        "stretches more closely, or name some at both ends"
    ),
    "RunOneWay": (
        "{instrument}: run one way only on {face}, so that a steady drift of it would look like a "
        "bow; run it in reverse as well, without turning it, or state how far its zero may drift over a run "
        "(drift_over_run)"
    ),
    "FeetUntied": _feet_untied,
    "PutInOrder": (
        "by across_mm in bed.toml {front} lies in front of {rear}: {front} is taken as the front way"
    ),
    "EvenedOut": (
        "read by a level across the carriage: it shows how the carriage rolls, which evens out whatever is "
        "shorter than its {carriage_mm:g} mm; the two maps are judged as the carriage would roll on "
        "them"
    ),
    "OnlyOfCarriage": (
        "twist, wind and roll are the carriage's alone: the ways' own roll is not known and may change by "
        "more, for the carriage evens out what is shorter than its {carriage_mm:g} mm; run a level "
        "across the ways themselves, or a level along each with feet at the same stations"
    ),
    "MayRoll": _may_roll,
    "RestsOnOneZero": _rests_on_one_zero,
    "AlsoReadAlong": _also_read_along,
    "LeftOut": "traverse {traverse} holds no reading at a station: left out",
    "FaceNotKnown": lambda fact: f"{fact.face}: {fact.why.rstrip('.')}",
    "TooFewBases": "{face}: its level was drawn over too few bases; step it, or draw a shorter base",
    "DrawnOverJoint": _drawn_over_joint,
    "JointWithin": (
        "{face}: the joint of the bed at {joint_mm:g} mm lies between its stations at "
        "{from_mm:g} and {to_mm:g} mm: how high it stands from there to the joint on either side "
        "was not read, and nothing is drawn across; `waylog joints` tells step and kink"
    ),
    "KnownTooCoarsely": _known_too_coarsely,
    "NothingChecks": "{face}: nothing checks its readings; a second run, best the other way",
    "NoFaceLooks": _no_face_looks,
    "NothingLeavesUntouched": _nothing_untouched,
    "TooLittleAnywhere": _too_little,
    "JointUntold": lambda fact: JOINT_UNTOLD[fact.how],
    "FewBesideJoint": _few_beside_joint,
    "BeforeMetal": lambda fact: BEFORE_METAL[fact.about],
    "FurtherTraverse": _further_traverse,
}
