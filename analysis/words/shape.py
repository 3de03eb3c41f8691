"""The shape of a face in the words of the trade: first what was asked, then how sure."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from acquire.model.units import MM_PER_INCH, height_text, length_text
from analysis.words.known import height_bound, height_known

if TYPE_CHECKING:
    from analysis.answers.face_map import BaseLag, FaceMap


STRAIGHT = "straight within what could be seen"
LINE_WORDS = {
    "ends": "the line through its ends",
    "least-squares": "the least-squares line",
    "minimum-zone": "the minimum-zone line",
    "unworn": "the line through its unworn stretches",
}
MOSTLY = 0.7
"""From what share on the readings are said to speak for one kind of way."""
SEEN_FOUR_TIMES_IN_FIVE = (2.0 + 0.842) / 2.0
"""Of an expanded uncertainty: what would have exceeded it in four surveys of five."""


def shape_words(result: "FaceMap", inch: bool) -> str:
    """One face in one line: hollow or crowned, by how much, how sure, where.

    Where the curve of a drawn level may not be claimed it is what base-lag stations say; where
    it may, the ripples that leave its readings unchanged are its condition.
    """
    name = result.face if result.relative_to is None else f"{result.face} relative to {result.relative_to}"
    apart = result.base_lag
    if apart is not None and not result.curve_is_sure:
        return (
            f"{name} is {_shape(apart, apart.straightness_um, inch)}, at stations one base "
            f"({length_text(apart.base_mm, inch)}) apart, nothing assumed between them."
        )
    shape = _shape(result, result.straightness_um[result.line.replace("-", "_")], inch)
    return f"{name} is {shape}{_condition(result.ripples_not_included_mm, inch)}."


def _condition(ripples_mm: Sequence[float], inch: bool) -> str:
    """Which ripples the uncertainty does not include, however high.

    Examples
    --------
    >>> _condition((200.0, 100.0, 200 / 3, 50.0, 40.0), False)
    '; ripples 200, 100, 66.7 ... mm long leave these readings unchanged, whatever their height; the ± does not include them'
    >>> _condition((), False)
    ''
    """  # noqa: E501
    if not ripples_mm:
        return ""
    shown = [each / MM_PER_INCH if inch else each for each in ripples_mm[:3]]
    lengths = ", ".join(f"{each:.3g}" for each in shown)
    return (
        f"; ripples {lengths} ... {'in' if inch else 'mm'} long leave these readings unchanged, "
        "whatever their height; the ± does not include them"
    )


def base_lag_words(result: "FaceMap", inch: bool) -> list[str]:
    """Beside the curve what base-lag stations say; where these lead, what the curve says."""
    apart = result.base_lag
    if apart is None:
        return []
    between = _between(result.few_places_share or 0.0)
    if not result.curve_is_sure:
        curve = _shape(result, result.straightness_um[result.line.replace("-", "_")], inch)
        return [f"  The curve between them is an assumption: {between}: {curve}."]
    return [
        f"  Nothing assumed between stations one base ({length_text(apart.base_mm, inch)}) apart: "
        f"{_shape(apart, apart.straightness_um, inch)}.",
        f"  Between those {between}.",
    ]


def _between(few_places_share: float) -> str:
    """What a way was taken to be like between base-lag stations."""
    leaning = "the readings speak for both"
    if few_places_share >= MOSTLY:
        leaning = "the readings speak for the latter"
    elif few_places_share <= 1 - MOSTLY:
        leaning = "the readings speak for the former"
    return f"the way was taken both as alike all along and as bending in few places ({leaning})"


def resolved_words(result: "FaceMap", inch: bool) -> list[str]:
    """What lies between the places that were read shows in no reading; nothing where a level was drawn."""
    if result.resolved_mm is None:
        return []
    apart, twice = (length_text(mm, inch) for mm in (result.resolved_mm, 2 * result.resolved_mm))
    return [
        f"  Known every {apart}: ripples shorter than {twice} and dips wholly in between show in no reading, "
        "and no ± here includes them."
    ]


def _shape(found: "FaceMap | BaseLag", height_um: float, inch: bool) -> str:
    """Hollow or crowned, by how much, how sure, where."""
    expanded = found.straightness_expanded_um
    if found.sense == STRAIGHT:
        return f"straight within what could be seen: {height_bound(expanded, inch)} at most"
    amount = height_known(height_um, expanded, inch)
    lowest = f"lowest at {length_text(found.lowest.station_mm, inch)}"
    highest = f"highest at {length_text(found.highest.station_mm, inch)}"
    where = {"hollow": lowest, "crowned": highest}.get(found.sense, f"{highest}, {lowest}")
    kind = "hollow and crowned" if found.sense == "both" else found.sense
    return f"{kind} by {amount}, {where}"


def seen_words(um: float, expanded_um: float, inch: bool) -> str:
    """A height that stands out of its uncertainty; one that does not as the most that it may be.

    Examples
    --------
    >>> seen_words(41.3, 6.0, False), seen_words(10.0, 60.0, True)
    ('41 µm (1.6 thou)', 'less than 3 thou (70 µm)')
    """
    if um > expanded_um:
        return height_text(um, inch, expanded_um / 2)
    return f"less than {height_text(um + expanded_um, inch, expanded_um / 2)}"
