"""Twist of the ways in the words of the trade, and whether two ways of measuring it agree."""

from typing import TYPE_CHECKING

from acquire.model.units import THOU_PER_FOOT, height_text, length_text, slope_text
from analysis.words.known import slope_known, slope_seen

if TYPE_CHECKING:
    from analysis.answers.twist import Twist
from analysis.words.assumptions import taken_words, unstated_words
from analysis.words.feet import bed_or_wear_words
from analysis.words.of_readings import traverses
from analysis.words.shape import SEEN_FOUR_TIMES_IN_FIVE
from analysis.words.tables import columns, notes

BY_WORDS = {
    "all": "all readings in one",
    "cross-level": "the cross level alone",
    "level": "levels along the ways alone",
    "indicator": "indicators alone",
}
METHODS = {"cross_level": "cross level", "two_maps": "level maps of the two ways"}


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
    by_vial = "" if inch else f", {mm_per_m(abs(wind), expanded)}"
    return (
        f"{ways} are in wind: {result.far_end}, {side} high, by {slope_known(abs(wind), expanded, inch)}"
        f"{by_vial}; that is {across} across the ways."
    )


def _no_wind(result: "Twist", seen: float, inch: bool) -> str:
    """No wind from end to end; whether there is twist between them."""
    wind = f"no wind from end to end that could be seen ({slope_seen(seen, inch)} would have been)"
    if result.is_twist_seen:
        return f"{wind}, but twisted between the ends: {_largest(result, inch)}."
    return f"{wind}; {_no_twist(result, inch)}."


def _no_twist(result: "Twist", inch: bool) -> str:
    seen = result.twist_detectable_um_per_m or 0.0
    return f"no twist anywhere that could be seen; {slope_seen(seen, inch)} would have been"


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
    seen = slope_seen(result.smallest_detectable_um_per_m, inch)
    if result.agree:
        return [
            f"  The cross level and the two level maps agree; a difference of {seen} would have been seen."
        ]
    worst = result.largest_difference or {}
    at = length_text(worst.get("station_mm", 0.0), inch)
    by = slope_text(worst.get("roll_um_per_m", 0.0), inch, result.smallest_detectable_um_per_m / 4)
    return [f"  The cross level and the two level maps disagree, most at {at}, by {by}: repeat one of them."]


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
            "A cross level tells the rest, or levels run there and back with one zero (`--same-zero-as`)."
        ]
    if result.known_up_to == "a constant":
        return [
            "  Changes of roll are known, how far the bed as a whole leans is not: a cross level read "
            "both ways round would tell."
        ]
    return []


def twist_words(result: "Twist", inch: bool) -> list[str]:
    """The answer in words: how much, which way, how sure, and whether two ways of measuring agree."""
    lines = [roll_words(result, inch)]
    lines += [f"  From {traverses(result.traverses)}, {BY_WORDS[result.by]}."]
    lines += [*whole_twist_words(result, inch), *known_up_to_words(result)]
    lines += [*bed_or_wear_words(result, inch), *agreement_words(result, inch)]
    lines += taken_words(result.assumptions)
    lines += columns(
        result.station_mm,
        result.roll_um_per_m,
        2 * result.standard_uncertainty_um_per_m,
        inch=inch,
        units=("µm/m", "thou/ft"),
        per_second_unit=1 / THOU_PER_FOOT,
        what="roll",
    )
    return [*lines, *notes(result.warnings), *unstated_words(result.assumptions)]
