"""What the carriage follows, what turning feet can take out, what is left to the scraper: in words."""

from typing import TYPE_CHECKING

import numpy as np

from acquire.model.units import length_text, slope_text
from analysis.words.facts import sentences

if TYPE_CHECKING:
    from analysis.answers.roll import RollPart
    from analysis.answers.twist import Twist

NEVER_TWIST = "Never twist a bed to hide wear."


def bed_or_wear_words(result: "Twist", inch: bool) -> list[str]:
    """The answers apart, or what cannot be told and what would tell."""
    lines = []
    if result.carriage is not None:
        lines.append(f"  What the carriage follows along its travel: {_wind(result.carriage, inch)}.")
    if result.feet is not None:
        lines.append(f"  What turning feet can take out: {_wind(result.feet, inch)}.")
    if result.wear is not None:
        lines.append(f"  What is worn, and left to the scraper: {_most(result.wear, inch)}. {NEVER_TWIST}")
    return [*lines, *(f"  Not known: {each}." for each in sentences(result.cannot_tell))]


def _wind(part: "RollPart", inch: bool) -> str:
    """The far end against the near one."""
    return _signed(part.wind_um_per_m, part.wind_expanded_um_per_m, inch, "from end to end")


def _most(part: "RollPart", inch: bool) -> str:
    """Where this part of the roll is largest."""
    worst = int(np.argmax(np.abs(part.roll_um_per_m)))
    expanded = 2 * float(part.standard_uncertainty_um_per_m[worst])
    at = length_text(float(part.station_mm[worst]), inch)
    return _signed(float(part.roll_um_per_m[worst]), expanded, inch, f"at {at}")


def _signed(um_per_m: float, expanded: float, inch: bool, where: str) -> str:
    sure = slope_text(expanded, inch, expanded / 2)
    if abs(um_per_m) <= expanded:
        return f"nothing that could be seen {where} (± {sure})"
    side = "rear high" if um_per_m > 0 else "front high"
    return f"{slope_text(abs(um_per_m), inch, expanded / 2)} ± {sure} {where}, {side}"
