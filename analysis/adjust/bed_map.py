"""The map of a bed: heights of every face at its nodes, their joint covariance, and what nothing tells."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import scipy.sparse
from scipy.special import chdtrc

from acquire.model.bed import Bed
from acquire.model.errors import AnalysisError
from analysis.adjust.assembly import Assembly
from analysis.adjust.between_nodes import LEAST_NODES, Roughness, judged, well_apart
from analysis.adjust.cannot_tell import cannot_tell, why_unknown
from analysis.adjust.carriers_as_points import PointCarrier
from analysis.adjust.estimability import ALIKE, LEAST_OF_A_PART, Line, lines_of, parts_known
from analysis.adjust.face_readings import FaceReadings
from analysis.adjust.nodes import ON_THE_BED, Key, Node
from analysis.adjust.reliability import (
    LEAST_CHECKED,
    Contest,
    Residuals,
    Suspect,
    Unchecked,
    find_contests,
    find_suspects,
    residual_table,
    unchecked,
)
from analysis.adjust.run_slips import RunSlip
from analysis.adjust.solution import Solution
from analysis.adjust.tying import (
    LEAST_TO_JUDGE,
    NOISE_DOUBTED_BELOW,
    Tied,
    fit_of,
    tie_together,
)
from analysis.adjust.variance_components import VarianceComponent, factors_of
from analysis.linear.fact import Fact
from analysis.linear.profile import Profile, in_common, nearest_place
from analysis.linear.shown import table_html
from analysis.observe import Observations, Place

MEDIAN_OF_NORMAL = 0.6745


@dataclass(frozen=True, eq=False)
class Functional:
    """Linear combinations of the heights; NaN where the readings do not determine one."""

    value_um: np.ndarray
    covariance_um2: np.ndarray
    is_known: np.ndarray


@dataclass(frozen=True, eq=False, repr=False)
class BedMap:
    """Heights of every face at its nodes, and how well all of it is known."""

    bed: Bed
    as_observed: tuple[Observations, ...]
    """What each traverse says by itself."""
    assembly: Assembly
    solution: Solution
    variance_factor: float
    """By what every variance is multiplied because the readings scatter more than claimed."""
    warnings: tuple[Fact, ...]
    variance_components: tuple[VarianceComponent, ...] = ()
    """Per instrument, where they were asked for; they are then in use."""
    points: tuple[PointCarrier, ...] = ()
    """Carriers that were taken as points."""
    noise: float = 1.0
    """By what variances bows between runs were judged: what the readings scatter more than claimed."""
    slips: tuple[RunSlip, ...] = ()
    """Whole runs that look wrong as they were written, and what would mend them."""
    before: "BedMap | None" = None
    """The map before readings of which nothing tells which are wrong were taken as that uncertain."""

    def __repr__(self) -> str:
        faces = ", ".join(dict.fromkeys(node.owner for node in self.nodes))
        counts = f"{len(self.nodes)} heights, {len(self.as_observed)} traverses"
        return f"BedMap({self.bed.name}: {faces}; {counts}, redundancy {self.redundancy})"

    def _repr_html_(self) -> str:
        """What a notebook shows: how many heights each face has, and from where to where."""
        places = {name: [n.station_mm for n in self.nodes if n.owner == name] for name in self.bed.faces}
        mapped = {name: found for name, found in places.items() if found}
        columns = {
            "face": list(mapped),
            "heights": [len(found) for found in mapped.values()],
            "from_mm": [min(found) for found in mapped.values()],
            "to_mm": [max(found) for found in mapped.values()],
        }
        return table_html(repr(self), columns)

    @property
    def tied(self) -> Tied:
        """The adjustment by itself."""
        return Tied(self.observations, self.assembly, self.solution, self.points)

    @property
    def observations(self) -> tuple[Observations, ...]:
        """What each traverse says in this map."""
        return self.assembly.observations

    @property
    def nodes(self) -> tuple[Node, ...]:
        """Where the heights are: kind, owner and station of each unknown height."""
        return self.assembly.layout.nodes

    @cached_property
    def _fit(self) -> tuple[float, float]:
        return self.before._fit if self.before else fit_of(self.assembly, self.solution)

    @property
    def redundancy(self) -> float:
        """Readings beyond what is needed; a share of one where what checks it is itself uncertain."""
        return self._fit[0]

    @property
    def chi_square(self) -> float:
        """Sum of squared residuals of the readings over claimed variances."""
        return self._fit[1]

    @property
    def p_value(self) -> float | None:
        """Probability of so large a chi-square by chance; None where nothing is checked."""
        return float(chdtrc(self.redundancy, self.chi_square)) if self.redundancy > 0 else None

    @cached_property
    def residuals(self) -> Residuals:
        """One row per reading."""
        if self.before:
            return self.before.residuals
        return residual_table(self.solution, self.observations)

    @cached_property
    def suspects(self) -> tuple[Suspect, ...]:
        """Readings that the others contradict, the worst first; not looked for while a whole run is wrong."""
        if self.before:
            return self.before.suspects
        if self.slips:
            return ()
        noise = _noise(self.residuals.normalised, self.p_value, self.redundancy)
        return find_suspects(self.solution, self.observations, self.residuals, noise)

    @cached_property
    def contests(self) -> tuple[Contest, ...]:
        """Sets of readings of which either may be wrong."""
        noise = _noise(self.residuals.normalised, self.p_value, self.redundancy)
        return find_contests(self.solution, self.observations, self.residuals, noise)

    @cached_property
    def unchecked(self) -> tuple[Unchecked, ...]:
        """Readings in which an error would not show."""
        return unchecked(self.residuals)

    @cached_property
    def lines(self) -> Mapping[tuple[str, str], Line]:
        """What is free of each face."""
        return lines_of(self.assembly.layout, self.solution.null_space[: len(self.nodes)])

    @cached_property
    def cannot_tell(self) -> tuple[Fact, ...]:
        """What the readings leave open."""
        return cannot_tell(self.lines, self.observations, self.bed)

    @cached_property
    def faces(self) -> tuple[str, ...]:
        """Faces that some reading depends on, in the order of bed.toml."""
        return tuple(name for name in self.bed.faces if ("height", name) in self.assembly.layout.lines)

    def read(self, face: str) -> FaceReadings:
        """The readings that say something about a face."""
        mine = tuple(each for each in self.observations if face in each.faces)
        return FaceReadings(mine, self.assembly.returns)

    def is_checked(self, face: str) -> bool:
        """Whether an error in some reading on a face would show."""
        read, made = self.read(face), self.before or self
        if read.drawn is not None and len(read.traverses) > 1:
            return True
        blocks = zip(made.observations, made.solution.blocks, strict=False)  # ties follow the readings
        mine = [block for each, block in blocks if face in each.faces]
        return bool(mine) and bool(np.any(made.solution.redundancies(mine) >= LEAST_CHECKED))

    def reaching(self, places: Iterable[Place]) -> "BedMap":
        """The same map with the heights at further places as unknowns, where they lie between nodes."""
        layout = self.assembly.layout
        missing = [
            place for place in dict.fromkeys(places) if layout.column(place) is None and layout.spans(place)
        ]
        if not missing:
            return self
        factors = factors_of(self.variance_components)
        tied = tie_together(
            self.as_observed, self.bed, variance_factors=factors, extra=missing, noise=self.noise
        )
        return replace(self, assembly=tied.assembly, solution=tied.solution)

    @cached_property
    def roughness(self) -> Mapping[Key, Roughness]:
        """How each line that is known runs between its nodes, tied to them so far or not."""
        own = {key: self._judged(key) for key in self.lines if key not in self.assembly.ways}
        return {**self.assembly.ways, **{key: way for key, way in own.items() if way is not None}}

    def _judged(self, key: Key) -> Roughness | None:
        line, layout = self.lines[key], self.assembly.layout
        known = line.parts[0] if line.parts else np.zeros(0, int)
        if len(known) < LEAST_NODES:
            return None
        chosen = known[well_apart(line.station_mm[known], layout.lines[key].is_station[known])]
        nodes = layout.first[key] + chosen
        covariance = self.solution.covariance(self._heights_at(nodes))
        joints = self.bed.joints_mm if key[0] in ON_THE_BED else ()
        return judged(line.station_mm[chosen], self.solution.estimate[nodes], covariance, joints)

    def indices(self, face: str, kind: str = "height") -> np.ndarray:
        """Where in `nodes` the face's heights are."""
        return self.assembly.layout.indices(kind, face)

    def stations_mm(self, face: str, kind: str = "height") -> np.ndarray:
        """Where those heights are, shape (n,)."""
        return np.array([self.nodes[i].station_mm for i in self.indices(face, kind)])

    def over_nodes(self, face: str, station_mm: np.ndarray, kind: str = "height") -> np.ndarray:
        """Rows that pick the face's height at each of k stations of its nodes, shape (k, n nodes)."""
        chosen = self.indices(face, kind)[nearest_place(self.stations_mm(face, kind), station_mm)]
        rows = np.zeros((len(chosen), len(self.nodes)))
        rows[np.arange(len(chosen)), chosen] = 1.0
        return rows

    def functional(self, matrix: np.ndarray | scipy.sparse.spmatrix) -> Functional:
        """Linear combinations of the heights.

        Parameters
        ----------
        matrix : array or sparse matrix, shape (k, n)
            One combination of the n nodes a row (or of more of the unknowns).
        """
        rows = self._of_all_unknowns(matrix)
        known = self.solution.is_known(rows)
        value = np.where(known, rows @ self.solution.estimate, np.nan)
        covariance = np.where(known[:, None] & known[None, :], self.covariance_of(rows), np.nan)
        return Functional(value, covariance, known)

    def profile(self, face: str, kind: str = "height") -> Profile:
        """Heights of one face, up to a line; at its feet, or at the bed's stations in a mix.

        Raises
        ------
        AnalysisError
            Where the readings do not determine its shape at three stations at least.
        """
        line = self._line(face, kind)
        if not line.parts:
            raise AnalysisError(
                face, why_unknown(line, self.cannot_tell), "", "`waylog next` says what would tell"
            )
        chosen = self.indices(face, kind)[self._shown(line, line.parts[0], face)]
        return Profile(
            line.name,
            np.array([self.nodes[i].station_mm for i in chosen]),
            self.solution.estimate[chosen],
            self.covariance_of(self._heights_at(chosen)),
        )

    def difference(self, face: str, other: str) -> Profile:
        """How face stands against other, up to a line, at the stations where that is known."""
        station_mm, rows = self.difference_rows(face, other)
        return self.combined(f"{face} − {other}", station_mm, rows)

    def difference_rows(self, face: str, other: str) -> tuple[np.ndarray, scipy.sparse.csr_matrix]:
        """The stations that both faces have, and how face stands against other there, over all unknowns.

        Both are taken along the normal of `face`: height(face) − (n·n′) height(other).

        Raises
        ------
        AnalysisError
            Where no traverse touches one of them, or the faces lie at right angles.
        """
        first, second = self._line(face, "height"), self._line(other, "height")
        sense = self.bed.sense(face, other)
        if sense == 0:
            raise AnalysisError(
                f"{face} − {other}", "they lie at right angles", "faces that look alike or opposite", ""
            )
        mine, theirs = in_common(first.station_mm, second.station_mm)
        under = self._heights_at(self.indices(other)[theirs])
        return first.station_mm[mine], self._heights_at(self.indices(face)[mine]) - sense * under

    def combined(
        self, name: str, station_mm: np.ndarray, matrix: np.ndarray | scipy.sparse.spmatrix
    ) -> Profile:
        """A profile of any linear combinations of heights along the bed, up to a line.

        Raises
        ------
        AnalysisError
            Where the readings do not determine three of them up to a line.
        """
        rows = self._of_all_unknowns(matrix)
        moves = np.asarray(rows @ self.solution.null_space)
        part = _largest_known(np.asarray(station_mm), moves, self.solution.null_space)
        if len(part) < LEAST_OF_A_PART:
            raise AnalysisError(
                name, "the readings do not determine it", "", "`waylog next` says what would tell"
            )
        chosen = rows[part]
        height_um = chosen @ self.solution.estimate
        return Profile(name, np.asarray(station_mm)[part], height_um, self.covariance_of(chosen))

    def covariance_of(self, rows: np.ndarray | scipy.sparse.csr_matrix) -> np.ndarray:
        """Joint covariance of combinations of all unknowns, shape (n, n)."""
        return self.variance_factor * self.solution.covariance(rows)

    def _of_all_unknowns(self, matrix: np.ndarray | scipy.sparse.spmatrix) -> scipy.sparse.csr_matrix:
        """Combinations of heights as rows over all unknowns."""
        rows = scipy.sparse.csr_matrix(matrix)
        return scipy.sparse.csr_matrix(
            (rows.data, rows.indices, rows.indptr), shape=(rows.shape[0], self.assembly.unknowns)
        )

    def _heights_at(self, chosen: np.ndarray) -> scipy.sparse.csr_matrix:
        """A row for each node, that picks its height out of all unknowns."""
        rows = np.arange(len(chosen))
        return scipy.sparse.csr_matrix(
            (np.ones(len(chosen)), (rows, chosen)), shape=(len(chosen), self.assembly.unknowns)
        )

    def _line(self, face: str, kind: str) -> Line:
        if (kind, face) not in self.lines:
            known = face in self.bed.faces
            raise AnalysisError(
                face,
                "no traverse touches it" if known else "found no such face",
                "" if known else ", ".join(self.bed.faces),
                "record one" if known else "",
            )
        return self.lines[(kind, face)]

    def _shown(self, line: Line, part: np.ndarray, face: str) -> np.ndarray:
        """Feet where levels alone were stepped along it, else the stations of the bed."""
        if all(each.is_stepped_level for each in self.read(face).observations):
            return part
        at_station = self.assembly.layout.lines[(line.kind, line.owner)].is_station[part]
        return part[at_station] if np.count_nonzero(at_station) >= LEAST_OF_A_PART else part


def _largest_known(station_mm: np.ndarray, moves: np.ndarray, free: np.ndarray) -> np.ndarray:
    parts = parts_known(station_mm, moves, 10 * ALIKE * float(np.max(np.abs(free), initial=0.0)))
    return parts[0] if parts else np.zeros(0, int)


def _noise(normalised: np.ndarray, p_value: float | None, redundancy: float) -> float:
    """Robust spread of the normalised residuals where all of them are larger than claimed, else 1."""
    if p_value is None or p_value >= NOISE_DOUBTED_BELOW or redundancy < 2 * LEAST_TO_JUDGE:
        return 1.0
    finite = normalised[np.isfinite(normalised)]
    return max(1.0, float(np.median(np.abs(finite))) / MEDIAN_OF_NORMAL)
