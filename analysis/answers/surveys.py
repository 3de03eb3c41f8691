"""A survey as the analysis sees it: its bed, its traverses, and what they say."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from acquire.model.bed import Bed
from acquire.model.errors import AnalysisError
from acquire.model.traverse import Traverse
from acquire.store import read_survey, survey_bed
from analysis.adjust.bed_map import BedMap
from analysis.adjust.combination import combine, noise_of
from analysis.adjust.variance_components import VarianceComponent
from analysis.answers.whole_bed import WholeBed, whole_bed
from analysis.linear.fact import Fact
from analysis.linear.profile import Profile
from analysis.linear.shown import table_html
from analysis.observe import Observations, observe_all


@dataclass(frozen=True)
class LeftOut(Fact):
    """A traverse that holds no reading at a station."""

    traverse: int


@dataclass(frozen=True, eq=False, repr=False)
class Survey:
    """A survey folder, read."""

    folder: Path
    bed: Bed
    """As bed.toml describes it now."""
    traverses: tuple[Traverse, ...]

    def __repr__(self) -> str:
        counts = f"{len(self.bed.faces)} faces, {len(self.traverses)} traverses"
        return f"Survey({str(self.folder)!r}: {self.bed.name}, {counts})"

    def _repr_html_(self) -> str:
        """What a notebook shows: one row a traverse."""
        return table_html(repr(self), self._columns())

    def to_pandas(self) -> Any:
        """One row a traverse, as a pandas frame. ImportError where pandas is not installed."""
        import pandas

        return pandas.DataFrame(self._columns()).set_index("number")

    def _columns(self) -> dict[str, list[Any]]:
        each = self.traverses
        return {
            "number": [t.number for t in each],
            "subject": [t.setup.subject for t in each],
            "instrument": [t.setup.instrument for t in each],
            "quantity": [t.setup.quantity for t in each],
            "direction": [t.setup.direction for t in each],
            "mode": [t.mode for t in each],
            "stations": [len(t.stations) for t in each],
        }

    @cached_property
    def measuring(self) -> tuple[Traverse, ...]:
        """Traverses of a measuring instrument that hold a reading."""
        return tuple(t for t in self.traverses if t.setup.measures.is_measuring and len(t.stations))

    @cached_property
    def left_out(self) -> tuple[Fact, ...]:
        """Traverses that play no part, and why."""
        return tuple(
            LeftOut(t.number) for t in self.traverses if t.setup.measures.is_measuring and not len(t.stations)
        )

    @cached_property
    def observed(self) -> tuple[Observations, ...]:
        """What the measuring traverses say, drawn levels solved."""
        return tuple(observe_all(self.measuring, self.bed))

    @cached_property
    def _maps(self) -> dict[tuple[str, bool], BedMap]:
        """Those already asked for: neither the survey nor a map changes."""
        return {}

    def map(self, by: str = "all", *, use_variance_components: bool = False) -> BedMap:
        """One map of the bed from the instruments of that kind, solved once.

        Raises
        ------
        AnalysisError
            Where no traverse of that kind is there.
        """
        if not self.measuring:
            raise AnalysisError(str(self.folder), "found no traverse", "one at least", "record or import one")
        asked = by, use_variance_components
        if asked not in self._maps:
            self._maps[asked] = combine(
                self.measuring,
                self.bed,
                by=by,
                use_variance_components=use_variance_components,
            )
        return self._maps[asked]

    def profile(self, face: str, by: str = "all") -> Profile:
        """Heights of one face, up to a line, with their joint covariance.

        Raises
        ------
        AnalysisError
            Where the readings do not determine its shape.
        """
        return self.map(by).profile(face)

    def whole_bed(self) -> WholeBed:
        """Every face, what disagrees, what nothing checks, what cannot be told."""
        bed_map = self.map()
        return whole_bed(bed_map, noise_of(bed_map), self.left_out)

    def noise(self) -> tuple[VarianceComponent, ...]:
        """How much each instrument scatters of what it claims, where the readings show it.

        Judged on the heights of the map, with those between its nodes tied as they are there.
        """
        if not self.measuring:
            return ()
        return noise_of(self.map())


def load(folder: Path | str) -> Survey:
    """Read a survey folder whole.

    Raises
    ------
    SurveyError, BedError, TraverseFileError
        Where it is no survey, its bed.toml holds mistakes, or a traverse file is damaged.
    """
    bed = survey_bed(folder)
    traverses: Sequence[Traverse] = read_survey(folder)
    return Survey(Path(folder), bed, tuple(traverses))
