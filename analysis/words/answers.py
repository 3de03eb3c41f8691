"""Answers in the words of the trade: first what was asked, then how sure, then what to do."""

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from acquire.model.units import (
    MM_PER_INCH,
    UM_PER_THOU,
    decimals_for,
    height_text,
    length_text,
    number_text,
    slope_text,
    unit_text,
)
from analysis.words.facts import sentences

if TYPE_CHECKING:
    from analysis.adjust.drift import Drift
    from analysis.adjust.reliability import Suspect
    from analysis.answers.comparison import Comparison
    from analysis.answers.face_map import BaseLag, FaceMap
    from analysis.answers.twist import Twist
    from analysis.answers.whole_bed import WholeBed
    from analysis.linear.fact import Fact

STRAIGHT = "straight within what could be seen"
LINE_WORDS = {
    "ends": "the line through its ends",
    "least-squares": "the least-squares line",
    "minimum-zone": "the minimum-zone line",
    "unworn": "the line through its unworn stretches",
}
MOST_UNCHECKED = 4
BY_WORDS = {
    "all": "all readings in one",
    "cross-level": "the cross level alone",
    "level": "levels along the ways alone",
    "indicator": "indicators alone",
}
MOSTLY = 0.7
"""From what share on the readings are said to speak for one kind of way."""
METHODS = {"cross_level": "cross level", "two_maps": "level maps of the two ways"}
SEEN_FOUR_TIMES_IN_FIVE = (2.0 + 0.842) / 2.0
"""Of an expanded uncertainty: what would have exceeded it in four surveys of five."""


class TableLine(str):
    """A line of a plain table that still knows its cells, for a page that sets its own."""

    cells: tuple[str, ...]


def table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    """Lines of a plain table, numbers to the right.

    Examples
    --------
    >>> table(("station", "height"), [("0 mm", "0.0 µm"), ("100 mm", "-2.5 µm")])
    ['  station   height', '     0 mm   0.0 µm', '   100 mm  -2.5 µm']
    """
    widths = [max(len(row[i]) for row in (heads, *rows)) for i in range(len(heads))]
    return [_table_line(row, widths) for row in (heads, *rows)]


def _table_line(row: Sequence[str], widths: Sequence[int]) -> TableLine:
    line = TableLine("  " + "  ".join(cell.rjust(width) for cell, width in zip(row, widths, strict=True)))
    line.cells = tuple(row)
    return line


def columns(
    station_mm: Sequence[float],
    value: Sequence[float],
    expanded: Sequence[float],
    *,
    inch: bool,
    units: tuple[str, str] = ("µm", "thou"),
    per_second_unit: float = UM_PER_THOU,
    what: str = "height",
) -> list[str]:
    """A table of values along the bed in both units, the owner's own first.

    One precision throughout, but where a value is so unsure that it does not bear it.

    Examples
    --------
    >>> print("\\n".join(columns([0, 100], [0.0, -41.33], [0.0, 3.0], inch=False)))
      station mm  height µm  ± µm  thou  ± thou
               0          0     0  0.00    0.00
             100        -41     3 -1.63    0.12
    """
    typical = float(np.nanmedian([u for u in expanded if u > 0] or [1.0])) / 2
    digits = [decimals_for(typical), decimals_for(typical / per_second_unit)]
    first, second = (units, digits), (units[::-1], digits[::-1])
    names, places = second if inch else first
    heads = (
        "station in" if inch else "station mm",
        f"{what} {names[0]}",
        f"± {names[0]}",
        names[1],
        f"± {names[1]}",
    )
    rows: list[tuple[str, ...]] = []
    for station, height, doubt in zip(station_mm, value, expanded, strict=True):
        at = f"{station / MM_PER_INCH:.2f}" if inch else f"{station:g}"
        if height != height:
            rows.append((at, "not known", "", "", ""))
            continue
        both = [(height, doubt), (height / per_second_unit, doubt / per_second_unit)]
        cells = [
            number_text(v, min(d, decimals_for(pair[1] / 2)) if doubt > 0 else d)
            for pair, d in zip(both[::-1] if inch else both, places, strict=True)
            for v in pair
        ]
        rows.append((at, *cells))
    return table(heads, rows)


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
        return f"straight within what could be seen: {height_text(expanded, inch, expanded / 2)} at most"
    amount = f"{height_text(height_um, inch, expanded / 2)} ± {height_text(expanded, inch, expanded / 2)}"
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


def roll_words(result: "Twist", inch: bool) -> str:
    """Twist in one line: how much wind, which end and side is high; without any, what is between the ends."""
    ways = f"{result.front} and {result.rear}"
    wind, expanded = result.wind_um_per_m, result.wind_expanded_um_per_m
    if wind is None or expanded is None:
        return f"{ways}: how the roll bends along the bed is known, a steady wind is not."
    if abs(wind) <= expanded:
        return f"{ways}: {_no_wind(result, SEEN_FOUR_TIMES_IN_FIVE * expanded, inch)}"
    side = "rear" if wind > 0 else "front"
    across = height_text(abs(wind) * result.gauge_mm / 1000, inch, expanded * result.gauge_mm / 2000)
    return (
        f"{ways} are in wind: {result.far_end}, {side} high, by {slope_text(abs(wind), inch, expanded / 2)} "
        f"± {slope_text(expanded, inch, expanded / 2)}, {mm_per_m(abs(wind), expanded)}; that is {across} "
        f"across the ways."
    )


def _no_wind(result: "Twist", seen: float, inch: bool) -> str:
    """No wind from end to end; whether there is twist between them."""
    wind = f"no wind from end to end that could be seen ({slope_text(seen, inch, seen / 4)} would have been)"
    if result.is_twist_seen:
        return f"{wind}, but twisted between the ends: {_largest(result, inch)}."
    return f"{wind}; {_no_twist(result, inch)}."


def _no_twist(result: "Twist", inch: bool) -> str:
    seen = result.twist_detectable_um_per_m or 0.0
    return f"no twist anywhere that could be seen; {slope_text(seen, inch, seen / 4)} would have been"


def _largest(result: "Twist", inch: bool) -> str:
    """Largest difference of roll, with its interval, where it is, and what it is across the ways."""
    assert result.twist_interval_um_per_m is not None
    low, high = result.twist_interval_um_per_m
    half, mm = (high - low) / 4, (result.highest_mm or 0.0, result.lowest_mm or 0.0)
    across = [height_text(each * result.gauge_mm / 1000, inch, half * result.gauge_mm / 1000)
              for each in (low, high)]  # fmt: skip
    return (
        f"the roll differs by {slope_text(low, inch, half)} to {slope_text(high, inch, half)} between "
        f"{length_text(min(mm), inch)} and {length_text(max(mm), inch)}, "
        f"{across[0]} to {across[1]} across the ways"
    )


def mm_per_m(um_per_m: float, expanded: float) -> str:
    """A roll in mm/m, as a level's vial is marked.

    Examples
    --------
    >>> mm_per_m(41.7, 2.0)
    '0.042 mm/m'
    """
    digits = 3 if expanded >= 0.5 else 4
    return f"{um_per_m / 1000:.{digits}f} mm/m"


def agreement_words(result: "Twist", inch: bool) -> list[str]:
    """Whether the cross level and the two maps agree, and what could have been seen."""
    if result.agree is None or result.smallest_detectable_um_per_m is None:
        return []
    seen = slope_text(result.smallest_detectable_um_per_m, inch, result.smallest_detectable_um_per_m / 4)
    if result.agree:
        return [
            f"  The cross level and the two level maps agree; a difference of {seen} would have been seen."
        ]
    worst = result.largest_difference or {}
    at = length_text(worst.get("station_mm", 0.0), inch)
    by = slope_text(worst.get("roll_um_per_m", 0.0), inch, result.smallest_detectable_um_per_m / 4)
    return [f"  The cross level and the two level maps disagree, most at {at}, by {by}: repeat one of them."]


def comparison_words(result: "Comparison", inch: bool) -> list[str]:
    """The verdict on two maps: agree, disagree (where), or cannot tell."""
    seen = height_text(result.smallest_detectable_um, inch, result.smallest_detectable_um / 4)
    worst = result.worst
    by = height_text(worst["difference_um"], inch, result.smallest_detectable_um / 4)
    at = length_text(worst["station_mm"], inch)
    if result.agree is None:
        verdict = f"cannot tell: a difference would have to reach {seen} to be seen"
        do = "  Measure one of them again with less scatter, or forward and reverse."
    elif result.agree:
        verdict = f"agree; a difference of {seen} would have been seen"
        do = f"  Largest difference {by}, at {at}."
    else:
        verdict = f"disagree, most at {at}, by {by}"
        do = "  Wipe, re-seat and repeat one of the two there before believing either."
    return [f"{result.a} and {result.b} ({result.subject}) {verdict}.", do]


def notes(found: "Iterable[Fact]") -> list[str]:
    """What is to be minded, a line each."""
    return note_lines(sentences(found))


def note_lines(words: Iterable[str]) -> list[str]:
    """Notes as lines; the same words about several instruments are said once.

    Examples
    --------
    >>> note_lines(["level: not stated", "dial: not stated", "cooled for an hour?"])
    ['  Note: level, dial: not stated', '  Note: cooled for an hour?']
    """
    about: dict[str, list[str]] = {}
    for each in dict.fromkeys(words):
        name, colon, told = each.partition(": ")
        about.setdefault(told if colon else each, []).extend([name] if colon else [])
    return [
        f"  Note: {', '.join(names)}: {told}" if names else f"  Note: {told}" for told, names in about.items()
    ]


def drift_words(found: "Sequence[Drift]") -> list[str]:
    """Each drift in one line.

    Examples
    --------
    >>> from analysis.adjust.drift import Drift
    >>> drift_words([Drift("level", 4.04, 0.61, "µm/m", True), Drift("dial", 0.2, 0.6, "µm", False)])
    ['level drifted by 4.0 ± 0.6 µm/m over a run; runs there and back tell it, and it is taken off.',
     'dial drifted by less than 0.8 µm over a run.']
    """
    lines = []
    for each in found:
        most = abs(each.over_run) + each.expanded
        amount = f"{each.over_run:.1f} ± {each.expanded:.1f} {each.unit}"
        seen = f"by {amount} over a run; runs there and back tell it, and it is taken off."
        if not each.is_told:
            seen = (
                f"by {amount} over a run, which is taken off; a bed that bent in between would look the same."
            )
        unseen = f"by less than {most:.1f} {each.unit} over a run."
        lines.append(f"{each.instrument} drifted {seen if each.is_seen else unseen}")
    return lines


def whole_twist_words(result: "Twist", inch: bool) -> list[str]:
    """The largest difference of roll anywhere, and over a carriage length."""
    if result.twist_um_per_m is None or result.twist_expanded_um_per_m is None:
        return []
    half = result.twist_expanded_um_per_m / 2
    if result.is_twist_seen:
        read = slope_text(result.twist_um_per_m, inch, half)
        lines = [f"  Anywhere {_largest(result, inch)}; read as {read}, to which noise adds."]
    else:
        words = _no_twist(result, inch)
        lines = [f"  {words[:1].upper()}{words[1:]}."]
    if result.worst_over_carriage_interval_um_per_m is not None:
        low, high = (slope_text(each, inch, half) for each in result.worst_over_carriage_interval_um_per_m)
        lines.append(
            f"  Over a carriage length it changes by {low} to {high} at worst."
            if result.worst_over_carriage_interval_um_per_m[0] > 0
            else f"  Over a carriage length it changes by {high} at most."
        )
    return lines


def known_up_to_words(result: "Twist") -> list[str]:
    """What the readings leave open of the roll."""
    if result.known_up_to == "a line":
        return [
            "  The readings tell the roll only up to a steady wind: each run has its own zero. "
            "A cross level, or `--same-zero-as`, tells the rest."
        ]
    if result.known_up_to == "a constant":
        return [
            "  Changes of roll are known, how far the bed as a whole leans is not: a cross level read "
            "both ways round would tell."
        ]
    return []


def fit_words(result: "WholeBed") -> str:
    """Whether the readings fit each other."""
    if result.p_value is None or result.redundancy < 1:
        return "No reading checks another: an error in one would not show. Repeat a traverse."
    checks = f"({result.redundancy:.0f} of them are checks)"
    if result.p_value >= 0.01:
        return f"The readings fit each other within their uncertainty {checks}."
    return f"The readings do not fit each other as well as their stated uncertainties promise {checks}."


def suspect_words(result: "WholeBed") -> list[str]:
    """Readings that the others contradict, where to look again."""
    if not result.suspects:
        if result.slips:
            return []
        return ["No reading stands out as wrong."] if result.redundancy > 0 else []
    return [
        f"{'Or look at' if each.runner_up else 'Look again at'} traverse {each.traverse}, "
        f"{each.station_mm:g} mm: it reads {each.reading:.4g}{_unit(each)}, "
        f"the others make it {each.predicted:.4g}{_unit(each)}"
        f"{f'; {each.words}' if each.words else ''}."
        for each in result.suspects
    ]


def _unit(suspect: "Suspect") -> str:
    return f" {unit_text(suspect.unit)}" if suspect.unit else ""


def unchecked_words(result: "WholeBed") -> list[str]:
    """Readings in which an error would not show, gathered by traverse."""
    places: dict[int, list[float]] = {}
    for each in result.unchecked:
        places.setdefault(each.traverse, []).append(each.station_mm)
    if not places or result.redundancy < 1:
        return []
    told = []
    for number, stations in places.items():
        few = ", ".join(f"{station:g}" for station in stations)
        some = f"{len(stations)} readings between {min(stations):g} and {max(stations):g} mm"
        told.append(
            f"traverse {number} at {few} mm"
            if len(stations) <= MOST_UNCHECKED
            else f"{some} of traverse {number}"
        )
    return [f"No other reading checks {'; '.join(told)}."]
