"""Before and after in the words of the trade: better or not, how sure, where the metal came off."""

from collections.abc import Sequence

from acquire.model.units import height_text, length_text
from analysis.answers.both_times import BETTER, CANNOT_TELL, CHANGED, NO_DIFFERENCE
from analysis.answers.face_change import FaceChange, ShapeThen
from analysis.answers.history import BeforeAndAfter
from analysis.answers.metal_alone import BedMoved
from analysis.answers.metal_off import Stretch
from analysis.answers.twist_change import TwistChange
from analysis.words.assumptions import taken_and_notes
from analysis.words.comparison import smoothed_words
from analysis.words.facts import sentences
from analysis.words.known import height_bound, height_known, height_seen, slope_known, slope_seen
from analysis.words.shape import STRAIGHT
from analysis.words.tables import columns

MOST_STRETCHES = 4
NOT_ALIKE = "Not like with like, so what follows may be that and not the work:"


def face_change_words(change: FaceChange, inch: bool) -> list[str]:
    """One face: the verdict, then where the metal came off or what could have been seen."""
    return [_verdict_words(change, inch), *_where_words(change, inch)]


def _verdict_words(change: FaceChange, inch: bool) -> str:
    name = change.face if change.relative_to is None else f"{change.face} relative to {change.relative_to}"
    shapes = _shapes(change.before, change.after, inch)
    seen = height_seen(change.smallest_detectable_um, inch)
    if change.verdict == NO_DIFFERENCE:
        return f"{name}: no difference that could have been seen ({seen} would have been): {shapes}."
    if change.verdict == CANNOT_TELL:
        return f"{name}: cannot tell: a difference would have to reach {seen} to be seen: {shapes}."
    if change.verdict == CHANGED:
        return f"{name} changed its shape, neither straighter nor less straight that could be seen: {shapes}."
    return f"{name} is {change.verdict}: {shapes}."


def _shapes(before: ShapeThen, after: ShapeThen, inch: bool) -> str:
    told = [_shape(each, inch) for each in (before, after)]
    if before.sense == after.sense != STRAIGHT:
        told[1] = height_known(after.straightness_um, after.straightness_expanded_um, inch)
    return f"{told[0]} before, {told[1]} after"


def _shape(then: ShapeThen, inch: bool) -> str:
    expanded = then.straightness_expanded_um
    if then.sense == STRAIGHT:
        return f"straight within what could be seen ({height_bound(expanded, inch)} at most)"
    kind = "hollow and crowned" if then.sense == "both" else then.sense
    return f"{kind} by {height_known(then.straightness_um, expanded, inch)}"


def _where_words(change: FaceChange, inch: bool) -> list[str]:
    if change.verdict == CANNOT_TELL:
        return ["  Measure both times with less scatter, or forward and reverse."]
    if change.verdict == NO_DIFFERENCE:
        return []
    against = "" if change.relative_to is None else f" (or {change.relative_to} is higher there)"
    lines = (
        []
        if change.metal is None
        else [
            "  Judged by the metal alone: how the bed moved, by "
            f"{' and '.join(change.metal.against)}, is taken out."
        ]
    )
    lines += [
        f"  More metal came off {_extent(each.from_mm, each.to_mm, inch)}, most at "
        f"{length_text(each.at_mm, inch)}: "
        f"{height_known(-each.change_um, each.expanded_um, inch)} more than on the line through where it "
        f"changed least{against}."
        for each in _largest(change.came_off)
    ]
    lines += [
        f"  It stands higher {_extent(each.from_mm, each.to_mm, inch)}, by "
        f"{height_known(each.change_um, each.expanded_um, inch)} against where it changed least: less came "
        "off there than elsewhere; if nothing did, a burr, dirt, or a bed that lies otherwise (scraping adds "
        "no metal)."
        for each in _largest(change.rose)
    ]
    if change.came_off or change.rose:
        return [*lines, _counted_from(change, inch)]
    return [
        *lines,
        f"  It changed most at {length_text(change.worst['station_mm'], inch)}, by "
        f"{height_known(change.worst['change_um'], change.worst['expanded_um'], inch)} from its "
        "least-squares line; where metal came off does not stand out.",
    ]


def _counted_from(change: FaceChange, inch: bool) -> str:
    """From where the depths count, and what no two surveys show."""
    least = " and ".join(_extent(*each, inch) for each in change.counted_from_mm)
    return (
        f"  Counted from the line through where it changed least, {least}. Whether it was left alone there "
        "does not show: an even depth or a straight taper off the whole face comes on top; and if a taper "
        "came off just there, less came off elsewhere than told, or nothing."
    )


def _largest(stretches: Sequence[Stretch]) -> list[Stretch]:
    """Those that changed most, in order along the bed."""
    largest = sorted(stretches, key=lambda each: -abs(each.change_um))[:MOST_STRETCHES]
    return sorted(largest, key=lambda each: each.from_mm)


def _extent(from_mm: float, to_mm: float, inch: bool) -> str:
    if from_mm == to_mm:
        return f"at {length_text(from_mm, inch)}"
    return f"from {length_text(from_mm, inch)} to {length_text(to_mm, inch)}"


def twist_change_words(change: TwistChange, inch: bool) -> str:
    """Twist before and after in one line: of the bed itself, or of the ways where wear is not told apart."""
    seen = slope_seen(change.smallest_detectable_um_per_m, inch)
    then = slope_known(abs(change.before_um_per_m), change.before_expanded_um_per_m, inch)
    now = slope_known(abs(change.after_um_per_m), change.after_expanded_um_per_m, inch)
    if change.figure == "bed":
        of, told = "the bed itself", f"its roll by unworn places strays by {then} before, {now} after (rms)"
    else:
        sides = [_side(change.before_um_per_m, change.before_expanded_um_per_m)]
        sides.append(_side(change.after_um_per_m, change.after_expanded_um_per_m))
        of = f"{change.front} and {change.rear}"
        told = f"wind {then}{sides[0]} before, {now}{sides[1]} after; wear is not told apart from it"
    if change.verdict == NO_DIFFERENCE:
        return f"{of}: no difference of twist that could have been seen ({seen} would have been): {told}."
    if change.verdict == CHANGED:
        return f"{of}: twist has changed and is neither more nor less that could have been seen: {told}."
    return f"{of}: twist is {'better' if change.verdict == BETTER else 'worse'}: {told}."


def _side(um_per_m: float, expanded: float) -> str:
    return "" if abs(um_per_m) <= expanded else ", rear high" if um_per_m > 0 else ", front high"


def alike_words(result: BeforeAndAfter) -> list[str]:
    """What was not alike, first of all; nothing where all that is known was."""
    if not result.differences:
        return []
    return [NOT_ALIKE, *(f"  {each}." for each in sentences(result.differences))]


def unknown_words(result: BeforeAndAfter) -> list[str]:
    """Faces, and twist, that cannot be held against each other, and why."""
    lines = [f"{face} cannot be judged: {why}." for face, why in result.not_compared.items()]
    if result.twist is None:
        lines.append(f"Change of twist cannot be judged: {result.twist_unknown}.")
    return lines


def history_words(result: BeforeAndAfter, inch: bool) -> list[str]:
    """The whole answer: what was not alike, every face, twist, what cannot be told."""
    lines = alike_words(result)
    for change in result.faces:
        lines += face_change_words(change, inch)
        lines += smoothed_words(change.smoothed_over_mm, inch)
    if result.bed_moved is not None:
        lines.append(_moved_words(result.bed_moved, inch))
    if result.twist is not None:
        lines.append(twist_change_words(result.twist, inch))
    return [
        *lines,
        *unknown_words(result),
        *taken_and_notes(result.assumptions, result.warnings),
    ]


def _moved_words(moved: BedMoved, inch: bool) -> str:
    """Whether the bed itself lies otherwise than before."""
    faces = " and ".join(moved.by)
    if not moved.is_seen:
        return f"By {faces}, which were not scraped, the bed did not move meanwhile that could be seen."
    most = height_text(moved.largest_um, inch, moved.largest_um / 20)
    return (
        f"The bed moved meanwhile: {faces}, which were not scraped, changed by up to {most} from their "
        "lines. Scraping is judged by the metal alone, shimming by the bed alone."
    )


def change_table(change: FaceChange, inch: bool) -> list[str]:
    """The change station by station, from its least-squares line."""
    return columns(
        change.station_mm, change.change_um, change.expanded_uncertainty_um, inch=inch, what="change"
    )


def history_answer(result: "BeforeAndAfter", inch: bool, with_table: bool) -> list[str]:
    """The verdicts; of one face also the change station by station."""
    lines = history_words(result, inch)
    for change in result.faces if with_table else ():
        lines += ["  How it changed from its least-squares line:", *change_table(change, inch)]
    return lines
