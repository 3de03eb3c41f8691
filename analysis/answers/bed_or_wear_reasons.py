"""Why bed and wear cannot be told apart: what is known all the same, and what would tell."""

import itertools
from collections.abc import Sequence

import numpy as np

from acquire.model.bed import Bed
from analysis.answers.roll import KnownRoll, Ways

WOULD_TELL = (
    "a level across two faces that nothing runs on (the tailstock ways, strips machined with the bed; "
    "`runs = false` in bed.toml) would tell, turning a foot would not"
)


def not_described(bed: Bed, pairs: int) -> str | None:
    """What bed.toml does not say that the split needs; None where it says all."""
    if not any(face.unworn_mm or not face.runs for face in bed.faces.values()):
        return (
            "what turning feet could take out and what is worn: bed.toml names no unworn stretch (unworn_mm) "
            "and no face that nothing runs on (runs = false)"
        )
    if pairs < 2:
        return (
            "what turning feet could take out: bed.toml does not say where two pairs of feet stand "
            "([feet.NAME] with station_mm and across_mm)"
        )
    return None


def not_measured() -> str:
    """No height at an unworn place was measured."""
    return "what turning feet could take out and what is worn: nothing was measured at an unworn place"


def not_separable(known: KnownRoll, ways: Ways, together_mm: Sequence[float]) -> str:
    """The unworn places do not determine the roll of the bed."""
    start, end = _widest_gap(known.station_mm, together_mm)
    return (
        f"between {start:g} and {end:g} mm no second face is unworn: twist of the bed and one way worn more "
        f"than the other look alike there.{_known_all_the_same(known, ways)} {_sentence(WOULD_TELL)}"
    )


def too_unsure(known: KnownRoll, ways: Ways, doubt_um_per_m: float) -> str:
    """The unworn places determine the roll of the bed too badly to be of use."""
    return (
        f"the unworn places tell what turning feet could take out only to ± {doubt_um_per_m:.0f} µm/m, more "
        f"than the roll differs by.{_known_all_the_same(known, ways)} {_sentence(WOULD_TELL)}"
    )


def only_a_line() -> str:
    """The roll itself is known only up to a steady wind."""
    return "what is worn: the roll is known only up to a steady wind; a level across the ways tells the rest"


def misfit(pairs: int, largest_um: float) -> str:
    """The unworn places do not lie as the feet could have moved them."""
    return (
        f"the unworn places lie up to {largest_um:.1f} µm off all that {pairs} pairs of feet can make: cast "
        "stress, heat, or a stretch that is worn after all; the ± here is widened by that"
    )


def worn_unworn(face: str, at_mm: float, above_um: float) -> str:
    """A face stands proud of what its unworn places make it."""
    return (
        f"what is bed and what is wear: {face} at {at_mm:g} mm stands {above_um:.1f} µm proud of what the "
        "unworn places make it, more than noise explains: an unworn stretch is worn, or readings are wrong; "
        "look at unworn_mm in bed.toml and read there again"
    )


def _widest_gap(station_mm: np.ndarray, together_mm: Sequence[float]) -> tuple[float, float]:
    first, last = float(station_mm[0]), float(station_mm[-1])
    inside = [mm for mm in together_mm if first <= mm <= last]
    ends = [first, *inside, last]
    gaps = [(b - a, a, b) for a, b in itertools.pairwise(ends)]
    _, start, end = max(gaps)
    return start, end


def _known_all_the_same(known: KnownRoll, ways: Ways) -> str:
    """Where the rear is lowest or highest against the front, from the line through the ends."""
    x, roll = known.station_mm, known.value
    off = roll - np.interp(x, x[[0, -1]], roll[[0, -1]])
    worst = int(np.argmax(np.abs(off)))
    um = abs(float(off[worst])) * ways.gauge_mm / 1000
    side = "higher" if off[worst] > 0 else "lower"
    return f" Known: the rear is {um:.1f} µm {side} against the front at {x[worst]:g} mm than at the ends."


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}"
