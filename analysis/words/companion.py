"""What looks over the shoulder of whoever takes readings: the profile so far, and what the next should be.

The command line hands `Companion` to hand entry and to the recorder's screen; they only know
that it can be asked for two things.
"""

from collections.abc import Sequence
from pathlib import Path

from acquire.model.companion import Prediction
from acquire.model.traverse import Setup, Stations
from acquire.model.units import height_text, length_text, slope_text
from analysis.answers.run_under_way import Expected, RunUnderWay
from analysis.linear.profile import Profile

LEAST_TO_DRAW = 3
MOST_ROWS = 14
RUN_WORDS = {
    frozenset({"reverse"}): "'s reverse run",
    frozenset({"forward"}): "'s forward run",
    frozenset({"forward", "reverse"}): "'s runs",
}


class Companion:
    """One traverse under way, seen against the rest of its survey, in words.

    Parameters
    ----------
    survey : Path
    setup : Setup
        Of the traverse under way.
    """

    def __init__(self, survey: Path, setup: Setup):
        self._run = RunUnderWay(survey, setup)
        self._is_inch = setup.bed.is_inch
        self._text = slope_text if setup.measures.is_angle and setup.foot_base_mm is None else height_text

    def profile_lines(self, stations: Stations, columns: int) -> Sequence[str]:
        """The profile so far as lines of text, none wider than `columns`."""
        profile = self._run.so_far(stations)
        return [] if profile is None else self._drawing(profile, columns)

    def predict(self, stations: Stations, station_mm: float) -> Prediction | None:
        """What the next reading should be; None where the survey cannot say."""
        found = self._run.expected(stations, station_mm)
        if found is None:
            return None
        return Prediction(found.reading, found.standard_uncertainty, _who(found))

    def _drawing(self, profile: Profile, columns: int) -> list[str]:
        """A row for each station: where, how high, and a bar left (low) or right (high) of the line."""
        if profile.station_mm.size < LEAST_TO_DRAW or columns < 40:
            return []
        inch, half = self._is_inch, max((columns - 38) // 2, 4)
        largest = max(float(abs(profile.height_um).max()), 1e-9)
        rows = ["from the line through its ends:"]
        for station, height in list(zip(profile.station_mm, profile.height_um, strict=True))[-MOST_ROWS:]:
            length = round(half * abs(height) / largest)
            left = ("=" * length if height < 0 else "").rjust(half)
            right = "=" * length if height > 0 else ""
            where, how_high = length_text(float(station), inch), self._text(float(height), inch)
            rows.append(f"{where:>8}  {how_high:>22}  {left}|{right}")
        return rows


def _who(expected: Expected) -> str:
    """The traverses that speak of the same faces, in words."""
    speaking = [f"the {name}{RUN_WORDS.get(run, '')}" for name, run in expected.by.items()]
    return " and ".join(speaking) or "the survey so far"
