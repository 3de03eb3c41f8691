"""One map of the whole bed from every traverse, with what it is sure of and what it is not.

All traverses are observations of the same heights; one least-squares adjustment gives
them with their covariance. No line is taken off any face: wind between ways and taper
between faces are results. Only what the readings leave free is free, and is said.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import scipy.sparse
from scipy.special import chdtrc

from acquire.model.bed import Bed
from acquire.model.errors import AnalysisError
from acquire.model.places import SAME_STATION_MM
from acquire.model.quantity import BY
from acquire.model.traverse import Traverse
from analysis.adjust.assembly import Assembly
from analysis.adjust.between_nodes import LEAST_NODES, Roughness, judged, well_apart
from analysis.adjust.cannot_tell import cannot_tell, why_unknown
from analysis.adjust.estimability import ALIKE, LEAST_OF_A_PART, Line, lines_of, parts_known
from analysis.adjust.further import rows_for
from analysis.adjust.nodes import Key, Node
from analysis.adjust.reliability import (
    Contest,
    Residuals,
    Suspect,
    Unchecked,
    contested_facts,
    find_contests,
    find_suspects,
    is_checked,
    residual_table,
    unchecked,
)
from analysis.adjust.run_slips import RunSlip, find_run_slips
from analysis.adjust.solution import Solution
from analysis.adjust.there_and_back import with_untold_bows
from analysis.adjust.tying import (
    LEAST_TO_JUDGE,
    NOISE_DOUBTED_BELOW,
    ON_THE_BED,
    Judge,
    PointCarrier,
    Tied,
    fit_of,
    shapes_missed,
    tie_together,
    variance_factor,
)
from analysis.adjust.variance_components import VarianceComponent, told_components, variance_components
from analysis.level.continuous import ContinuousHeights
from analysis.linear.fact import Fact
from analysis.linear.profile import Profile
from analysis.linear.shown import table_html
from analysis.observe import Observations, Place, joined, observe_all, state_warnings

_WITH = {"level": "a level", "cross-level": "a level across", "indicator": "an indicator"}
MEDIAN_OF_NORMAL = 0.6745


@dataclass(frozen=True, eq=False)
class Functional:
    """Linear combinations of the heights; NaN where the readings do not determine one."""

    value_um: np.ndarray
    covariance_um2: np.ndarray
    is_known: np.ndarray


@dataclass(frozen=True, eq=False)
class Prediction:
    """What the map makes of readings; NaN where it cannot say."""

    value: np.ndarray
    standard_uncertainty: np.ndarray
    """Of the prediction alone, the new reading's own uncertainty not included."""
    is_known: np.ndarray


@dataclass(frozen=True)
class ScattersMore(Fact):
    """All readings together scatter more than claimed, and every uncertainty is enlarged by that."""

    times: float


@dataclass(frozen=True)
class KeepsItsClaim(Fact):
    """An instrument of which the readings do not tell how much it scatters."""

    instrument: str


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

    def traverses(self, face: str) -> tuple[int, ...]:
        """Numbers of the traverses that say something about a face."""
        return tuple(
            sorted(
                number
                for each in self.observations
                if face in each.faces
                for number in (each.traverse, *each.with_traverses)
            )
        )

    def is_checked(self, face: str) -> bool:
        """Whether an error in some reading on a face would show."""
        numbers = self.traverses(face)
        if self.drawn(face) is not None and len(numbers) > 1:
            return True
        return is_checked(self.residuals, numbers)

    def mode(self, face: str) -> str:
        """stepped | continuous | mixed: how the face was measured."""
        modes = {each.mode for each in self.observations if face in each.faces}
        return modes.pop() if len(modes) == 1 else "mixed"

    def blind_wavelengths_mm(self, face: str) -> tuple[float, ...]:
        """Ripples on a face that none of its drawn levels can see."""
        blocks = [each.drawn for each in self.observations if each.drawn and face in each.faces]
        return tuple(float(mm) for block in blocks for mm in block.heights.blind_wavelength_mm)

    def drawn(self, face: str) -> ContinuousHeights | None:
        """The estimate from the drawn levels of a face, where there are any."""
        blocks = (each for each in self.observations if each.drawn and face in each.faces)
        block = next(blocks, None)
        return None if block is None else with_untold_bows(block, self.assembly.returns)

    def reaching(self, places: Iterable[Place]) -> "BedMap":
        """The same map with the heights at further places as unknowns, where they lie between nodes."""
        layout = self.assembly.layout
        missing = [
            place for place in dict.fromkeys(places) if layout.column(place) is None and layout.spans(place)
        ]
        if not missing:
            return self
        factors = _factors(self.variance_components)
        tied = tie_together(
            self.as_observed, self.bed, variance_factors=factors, extra=missing, noise=self.noise
        )
        return replace(self, assembly=tied.assembly, solution=tied.solution)

    def resolved_mm(self, face: str) -> float | None:
        """The widest distance between neighbouring heights of a face that are known.

        Ripples shorter than twice that, and dips that fall wholly between two such heights,
        show in no reading; no uncertainty here covers them.
        """
        line = self.lines.get(("height", face))
        if line is None or not line.parts:
            return None
        return float(np.max(np.diff(line.station_mm[line.parts[0]])))

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
        covariance = np.where(known[:, None] & known[None, :], self._covariance(rows), np.nan)
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
            self._covariance(self._heights_at(chosen)),
        )

    def difference(self, face: str, other: str) -> Profile:
        """How face stands against other, up to a line, at the stations where that is known.

        Both are taken along the normal of `face`: height(face) − (n·n′) height(other).

        Raises
        ------
        AnalysisError
            Where fewer than three stations are known, or the faces lie at right angles.
        """
        first, second = self._line(face, "height"), self._line(other, "height")
        sense = self.bed.sense(face, other)
        if sense == 0:
            raise AnalysisError(
                f"{face} − {other}", "they lie at right angles", "faces that look alike or opposite", ""
            )
        here = np.argmin(np.abs(first.station_mm[:, None] - second.station_mm[None, :]), axis=1)
        shared = np.flatnonzero(np.abs(first.station_mm - second.station_mm[here]) < SAME_STATION_MM)
        matrix = self._heights_at(self.indices(face)[shared]) - sense * self._heights_at(
            self.indices(other)[here[shared]]
        )
        return self.combined(f"{face} − {other}", first.station_mm[shared], matrix)

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
        return Profile(name, np.asarray(station_mm)[part], height_um, self._covariance(chosen))

    def _covariance(self, rows: scipy.sparse.csr_matrix) -> np.ndarray:
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
        touching = [each for each in self.observations if face in each.faces]
        if all(each.is_stepped_level for each in touching):
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


def combine(
    traverses: Sequence[Traverse],
    bed: Bed,
    *,
    by: str = "all",
    use_variance_components: bool = False,
) -> BedMap:
    """Combine traverses into one map of the bed.

    Parameters
    ----------
    traverses : sequence of Traverse
    bed : Bed
        The present bed: faces and stations as described now.
    by : str
        all | level (slope) | cross-level (roll) | indicator (offset and span): which readings take part.
    use_variance_components : bool
        Weigh each instrument by the noise that its readings show instead of what it claims.

    Raises
    ------
    AnalysisError
        Where no such traverse is there, or one cannot be used.
    """
    if by not in BY:
        raise ValueError(f"by = {by!r}: needed one of {', '.join(BY)}")
    chosen = [traverse for traverse in traverses if traverse.setup.measures.is_by(by)]
    if not chosen:
        kind = "" if by == "all" else f" with {_WITH[by]}"
        raise AnalysisError(bed.name, f"found no traverse{kind}", "one at least", "record or import one")
    bed_map = adjusted(observe_all(chosen, bed), bed, use_variance_components)
    slips = find_run_slips(bed_map.tied, bed_map.as_observed, bed)
    contested: tuple[Fact, ...] = ()
    if not slips and bed_map.contests:
        contested = tuple(contested_facts(bed_map.contests, bed_map.residuals))
        bed_map = _as_contested(bed_map, use_variance_components)
    warnings = (*slips, *contested, *bed_map.warnings, *state_warnings(chosen))
    return replace(bed_map, slips=slips, warnings=warnings)


def _as_contested(bed_map: BedMap, use_variance_components: bool) -> BedMap:
    """The map with each contested reading as uncertain as what it would be off by, were it wrong."""
    error = np.zeros(len(bed_map.residuals))
    for contest in bed_map.contests:
        for index, size in contest.error.items():
            error[index] = max(error[index], abs(size))
    parts = np.split(error, np.cumsum([len(each) for each in bed_map.observations])[:-1])
    widened = [
        each.less_sure(part) if np.any(part) else each
        for each, part in zip(bed_map.as_observed, parts, strict=True)
    ]
    return replace(adjusted(widened, bed_map.bed, use_variance_components), before=bed_map)


def adjusted(observations: Sequence[Observations], bed: Bed, use_variance_components: bool = False) -> BedMap:
    """The map from observations already made of the traverses."""
    observations = tuple(joined(observations, bed))
    tied = tie_together(observations, bed)
    components: tuple[VarianceComponent, ...] = ()
    doubtful: tuple[str, ...] = ()
    if use_variance_components:
        components, doubtful = told_components(tied.observations, bed, tied.assembly.ways)
        tied = tie_together(observations, bed, variance_factors=_factors(components))
    noise = tied.variance_factor
    if noise > 1.0 and any(each.bow_sd_um > 0.0 for each in tied.assembly.returns):
        # noise makes bows between runs: by what is claimed each would count as a bed that bent
        tied = tie_together(observations, bed, variance_factors=_factors(components), noise=noise)
    return replace(_mapped(bed, observations, tied, components, doubtful), noise=noise)


def noise_of(bed_map: BedMap) -> tuple[VarianceComponent, ...]:
    """How much each instrument scatters of what it claims, by the map that its readings made."""
    made = bed_map.before or bed_map
    return variance_components(made.observations, made.bed, made.assembly.ways)


def _factors(components: Sequence[VarianceComponent]) -> dict[str, float]:
    return {component.instrument: component.noise_ratio**2 for component in components}


def _mapped(
    bed: Bed,
    observations: Sequence[Observations],
    tied: Tied,
    components: tuple[VarianceComponent, ...],
    doubtful: Sequence[str] = (),
) -> BedMap:
    """The map of an adjustment, its uncertainties enlarged where the readings scatter too much."""
    bed_map = BedMap(bed, tuple(observations), tied.assembly, tied.solution, 1.0, (), components, tied.points)
    factor = variance_factor(bed_map.redundancy, bed_map.chi_square)
    scatter = (ScattersMore(factor**0.5),) if factor > 1 else ()
    kept = (KeepsItsClaim(name) for name in doubtful)
    warnings = (*tied.assembly.warnings, *shapes_missed(tied.points), *scatter, *kept)
    return replace(bed_map, variance_factor=factor, warnings=warnings)


def predict(bed_map: BedMap, observations: Observations) -> Prediction:
    """What a map makes of readings that need not have been taken.

    Where the readings would have a zero of their own that the map does not know, nothing
    can be said of one reading by itself.
    """
    bed_map = bed_map.reaching(place for form in observations.forms for place in form)
    rows, expressible = rows_for(bed_map.assembly, observations)
    known = expressible & bed_map.solution.is_known(rows)
    value = rows @ bed_map.solution.estimate + observations.correction
    variance = bed_map.solution.variance(rows)
    spread = np.sqrt(np.clip(bed_map.variance_factor * variance, 0.0, None))
    return Prediction(np.where(known, value, np.nan), np.where(known, spread, np.nan), known)


def covariance_with(bed_map: BedMap, hypothetical: Observations | Sequence[Observations]) -> BedMap:
    """The map as it would be with further traverses: its covariance and what it could tell.

    Only covariances, words and redundancy of the result mean anything.  Neither heights nor
    how rough a way is are taken from the further traverses; but an error of scale acts on what
    is read, so their readings are to be what the map expects (`expected_readings`).  A block
    of drawn runs that is already in the map is replaced by one of the same number.
    """
    further = (hypothetical,) if isinstance(hypothetical, Observations) else tuple(hypothetical)
    redone = {each.traverse for each in further}
    known = {number for each in bed_map.as_observed for number in (each.traverse, *each.with_traverses)}
    new = {number for each in further for number in (each.traverse, *each.with_traverses)} - known
    observed = (*(each for each in bed_map.as_observed if each.traverse not in redone), *further)
    tied = tie_together(
        joined(observed, bed_map.bed),
        bed_map.bed,
        variance_factors=_factors(bed_map.variance_components),
        judge=_as_rough_as_known(bed_map.roughness),
        imagined=frozenset(new),
        noise=bed_map.noise,
    )
    return BedMap(
        bed_map.bed,
        observed,
        tied.assembly,
        tied.solution,
        bed_map.variance_factor,
        tied.assembly.warnings,
        bed_map.variance_components,
        tied.points,
        noise=bed_map.noise,
    )


def _as_rough_as_known(ways: Mapping[Key, Roughness]) -> Judge:
    """Lines that have not been read yet are taken to be as rough as the roughest that has."""
    roughest = max(ways.values(), key=lambda way: float(way.variance_um2.sum()), default=None)

    def judge(
        key: Key,
        node_mm: np.ndarray,
        height: np.ndarray,
        covariance: np.ndarray,
        joints_mm: Sequence[float],
    ) -> Roughness | None:
        known = ways.get(key, roughest)
        if known is None:
            return judged(node_mm, 0.0 * height, covariance, joints_mm)
        enough = len(node_mm) >= LEAST_NODES
        return Roughness(node_mm, known.variance_um2, joints_mm=tuple(joints_mm)) if enough else None

    return judge
