"""Is it the bed or is it wear: what the feet can take out, and what only metal can.

A section of the bed moves as a body (`section`): it bends by z(x), up, and rolls by θ(x), rear up, about
the middle between its feet, m(x).  A face at `across_mm` = p whose normal looks up or down, n = +1 or -1,
then stands at

    h(x) = n (z(x) + θ(x) (p - m(x))) + a + w(x),    w <= 0, a: where it lay when the bed was made

w = 0 where a face is unworn: on the stretches that bed.toml names, and all along a face that
nothing runs on.  What F pairs of feet can make: θ linear from pair to pair and constant beyond
them, z a natural cubic spline with its knots at the pairs.  These are fitted to the heights at
the unworn places alone, by generalised least squares with the joint covariance of the map;
directions that the readings leave free are further unknowns of the fit.  Wear is the rest.

About which line a bed turns when it is twisted no reading tells: somewhere between its feet, G apart, to
δ = ± G/√12.  Where the roll changes its slope, at the feet, that shows in every height off the line, and
beyond the feet most.  It is one more error δ θ(x) of all heights together, and θ is not known before the
fit: a first one, in which δ θ may be anything, gives θ and its covariance, so that

    E[(δ θ)(δ θ)'] = δ² (θ θ' + Cov θ)

In proportion to an estimate alone it would be nothing where that came out as nothing, and a bed that turned
about one of its ways would be said to be straight.  Where the first fit does not tell θ, δ θ stays free.

Derived.  False where faces were not made straight and parallel, or where the bed moves as no
feet can move it (cast stress, heat): the unworn places then do not fit, and it is said.
"""

from dataclasses import dataclass, field, replace

import numpy as np
import scipy.linalg
import scipy.sparse
from scipy.special import chdtrc, ndtri

from acquire.model.bed import Face
from acquire.model.places import is_in_stretches
from acquire.model.units import MM_PER_M
from analysis.adjust.bed_map import BedMap
from analysis.answers.bed_or_wear_reasons import (
    Misfit,
    OnlyALine,
    TooUnsure,
    UnwornNotMeasured,
    WornUnworn,
    known_all_the_same,
    not_described,
    not_separable,
)
from analysis.answers.known_roll import KnownRoll, Ways, wind_expanded
from analysis.answers.roll import RollPart, roll_part
from analysis.answers.section import gauges_mm, pairs_mm, section_rows, twist_rows
from analysis.linear.fact import Fact
from analysis.linear.profile import standard_uncertainty
from analysis.linear.shown import KEPT_INSIDE

LEAST_ABOVE = 2.6
"""Standard uncertainties that an unworn line may be exceeded by at one place; by more at many."""
CHANCE = 0.01
KNOWN_WITHIN = 1e-6
RANK = 1e-9
RIDGE = 1e-12
ROUNDING_UM = 1e-6
"""Heights of a survey without noise stand proud by rounding."""


@dataclass(frozen=True, eq=False)
class FeetFit:
    """What the feet have made of the bed, fitted to the unworn places of a map.

    The unknowns of the fit are z in the middle of the feet at the knots (µm), θ there (µm per mm), the
    offset of each face that has unworn places (µm), and the directions that the map leaves free.
    """

    bed_map: BedMap
    pairs_mm: tuple[float, ...]
    """Stations of the pairs of feet, which are the knots."""
    faces: tuple[str, ...]
    """Faces that have an offset."""
    rows: np.ndarray
    """From the unknowns of the map to those of the fit."""
    estimable: np.ndarray
    """Projects functions of the fit's unknowns, each times its length, onto what the places tell."""
    length: np.ndarray
    factor: float
    """What every variance is enlarged by, because the unworn places do not fit as they should."""
    misfit_um: float
    """Largest departure of an unworn place from the fit."""
    turning: np.ndarray
    """What the line about which the bed turns is not known by: heights (µm) over the map's unknowns, (n, F),
    each column for one standard uncertainty."""

    def tells(self, functions: np.ndarray) -> np.ndarray:
        """Which functions of the fit's unknowns, shape (k, n), the unworn places determine."""
        scaled = functions / self.length
        missed = np.linalg.norm(scaled - scaled @ self.estimable, axis=1)
        return np.asarray(missed <= KNOWN_WITHIN * np.maximum(np.linalg.norm(scaled, axis=1), 1e-300))

    def covariance(self, rows: np.ndarray) -> np.ndarray:
        """Joint covariance of rows over the unknowns of the map."""
        off = rows @ self.turning
        scale = self.bed_map.variance_factor * self.factor
        return np.asarray(scale * self.bed_map.solution.covariance(rows) + off @ off.T)

    def theta(self) -> np.ndarray:
        """θ at the pairs less that at the first, as functions of the fit's unknowns."""
        count = len(self.pairs_mm)
        functions = np.zeros((count, len(self.length)))
        functions[:, count : 2 * count] = np.eye(count)
        functions[:, count] -= 1.0
        return functions

    def roll(self, station_mm: np.ndarray) -> np.ndarray:
        """The feet's roll from the first of these stations, in µm/m, as functions of the fit's unknowns."""
        theta = twist_rows(self.pairs_mm, station_mm)
        count = len(self.pairs_mm)
        functions = np.zeros((len(station_mm), len(self.length)))
        functions[:, count : 2 * count] = MM_PER_M * (theta - theta[0])
        return functions

    def wear(self, face: str) -> tuple[np.ndarray, np.ndarray]:
        """Wear of a face where it is told: stations, and rows over the unknowns of the map, in µm."""
        nodes = self.bed_map.indices(face)
        station = self.bed_map.stations_mm(face)
        if face not in self.faces:
            return station[:0], np.zeros((0, self.rows.shape[1]))
        functions = np.hstack(
            [
                section_rows(self.bed_map.bed, face, self.pairs_mm, station),
                np.tile([float(face == name) for name in self.faces], (len(nodes), 1)),
                self.bed_map.solution.null_space[nodes],
            ]
        )
        if functions.shape[1] < len(self.length):  # about which line the bed turns was left open
            described = self.bed_map.bed.faces[face]
            functions = np.hstack([functions, described.upward * twist_rows(self.pairs_mm, station)])
        told = self.tells(functions)
        whole = -functions @ self.rows
        whole[np.arange(len(nodes)), nodes] += 1.0
        return station[told], whole[told]


@dataclass(frozen=True, eq=False)
class BedOrWear:
    """The roll in two parts; None where they cannot be told apart, and why."""

    feet: RollPart | None
    """What turning feet can take out."""
    wear: RollPart | None
    """What is left to the scraper."""
    cannot_tell: tuple[Fact, ...]
    fit: FeetFit | None = field(metadata=KEPT_INSIDE, default=None)


def bed_or_wear(known: KnownRoll, ways: Ways) -> BedOrWear:
    """Split the roll of two ways into what the feet can take out and what is worn.

    Parameters
    ----------
    known : KnownRoll
        The roll as measured, from a map of all readings.
    ways : Ways

    Returns
    -------
    BedOrWear
        With what cannot be told.
    """
    bed_map = known.bed_map
    why = not_described(bed_map.bed, len(pairs_mm(bed_map.bed)))
    fit = None if why else feet_fit(bed_map)
    if fit is None:
        return BedOrWear(None, None, (why or UnwornNotMeasured(),))
    above = _stands_proud(fit)
    if above:
        return BedOrWear(None, None, (above,), fit)
    theta = fit.roll(known.station_mm)
    if not fit.tells(theta).all():
        return BedOrWear(None, None, (not_separable(known, ways, unworn_together(bed_map)),), fit)
    rows = theta @ fit.rows
    feet = roll_part(known.station_mm, rows, fit.bed_map.solution.estimate, fit.covariance)
    largest = float(np.ptp(known.value)) if known.known_up_to != "a line" else 0.0
    doubt = 2 * float(feet.standard_uncertainty_um_per_m.max())
    if doubt > max(largest, 2 * (wind_expanded(known) or np.inf)):
        return BedOrWear(None, None, (TooUnsure(doubt, known_all_the_same(known, ways)),), fit)
    misfit = (Misfit(len(fit.pairs_mm), fit.misfit_um),) if fit.factor > 1 else ()
    if known.known_up_to == "a line":
        return BedOrWear(feet, None, (*misfit, OnlyALine()), fit)
    rest = known.rows - known.rows[0] - rows
    wear = roll_part(known.station_mm, rest, fit.bed_map.solution.estimate, fit.covariance)
    return BedOrWear(feet, wear, misfit, fit)


def feet_fit(bed_map: BedMap) -> FeetFit | None:
    """Fit what the feet can make to the unworn places; None where no height there was measured."""
    pairs = pairs_mm(bed_map.bed)
    nodes, owners = unworn_nodes(bed_map)
    if len(pairs) < 2 or not len(nodes):
        return None
    faces = tuple(dict.fromkeys(owners))
    station = np.array([bed_map.nodes[i].station_mm for i in nodes])
    design = np.hstack(
        [
            np.vstack(
                [
                    section_rows(bed_map.bed, owner, pairs, station[[place]])
                    for place, owner in enumerate(owners)
                ]
            ),
            np.array([[float(owner == face) for face in faces] for owner in owners]),
            bed_map.solution.null_space[nodes],
        ]
    )
    about = _about_middle(bed_map, pairs)
    free = np.hstack([design, about[nodes]])
    first = _fitted(bed_map, pairs, faces, nodes, free, np.zeros_like(about))
    theta = first.theta()
    if not first.tells(theta).all():
        return first
    rows = theta @ first.rows
    found = rows @ bed_map.solution.estimate
    square = np.outer(found, found) + first.covariance(rows)
    own, turn = np.linalg.eigh(square)
    doubt_mm = float(np.mean(gauges_mm(bed_map.bed))) / np.sqrt(12)
    turning = doubt_mm * about @ (turn * np.sqrt(np.clip(own, 0.0, None)))
    return _fitted(bed_map, pairs, faces, nodes, design, turning)


def _about_middle(bed_map: BedMap, pairs: tuple[float, ...]) -> np.ndarray:
    """Heights (unknowns, F) of a bed that turns about a line 1 mm beside the middle, for each θ at a pair."""
    found = np.zeros((bed_map.assembly.unknowns, len(pairs)))
    for name, face in bed_map.bed.faces.items():
        if face.upward:
            found[bed_map.indices(name)] = face.upward * twist_rows(pairs, bed_map.stations_mm(name))
    return found


def _fitted(
    bed_map: BedMap,
    pairs: tuple[float, ...],
    faces: tuple[str, ...],
    nodes: np.ndarray,
    design: np.ndarray,
    turning: np.ndarray,
) -> FeetFit:
    """Generalised least squares by whitening and a pseudo-inverse of scaled columns.

    Adding columns of the design times themselves to the covariance changes no estimate, and lets
    it be factored where heights are known only together.
    """
    length = np.linalg.norm(design, axis=0)
    length[length == 0] = 1.0
    scaled, nuisance = design / length, (design / length)[:, 2 * len(pairs) :]
    covariance = bed_map.solution.covariance(
        scipy.sparse.identity(bed_map.assembly.unknowns, format="csr")[nodes]
    )
    covariance = covariance + turning[nodes] @ turning[nodes].T / bed_map.variance_factor
    size = max(float(np.mean(np.diag(covariance))), 1e-12)
    whole = covariance + size * (nuisance @ nuisance.T + RIDGE * np.eye(len(nodes)))
    lower = scipy.linalg.cholesky(whole, lower=True)
    white = scipy.linalg.solve_triangular(lower, scaled, lower=True)
    inverse = np.linalg.pinv(white, rcond=RANK)
    rows = np.zeros((len(length), len(bed_map.solution.estimate)))
    rows[:, nodes] = inverse @ scipy.linalg.solve_triangular(lower, np.eye(len(nodes)), lower=True)
    rows /= length[:, None]
    left = scipy.linalg.solve_triangular(lower, bed_map.solution.estimate[nodes], lower=True)
    left = left - white @ (inverse @ left)
    degrees = len(nodes) - int(np.linalg.matrix_rank(white, tol=RANK * np.linalg.norm(white, 2)))
    chi_square = float(left @ left) / bed_map.variance_factor
    is_off = degrees > 0 and float(chdtrc(degrees, chi_square)) < CHANCE
    return FeetFit(
        bed_map=bed_map,
        pairs_mm=pairs,
        faces=faces,
        rows=rows,
        estimable=inverse @ white,
        length=length,
        factor=chi_square / degrees if is_off else 1.0,
        misfit_um=float(np.max(np.abs(lower @ left), initial=0.0)),
        turning=turning,
    )


@dataclass(frozen=True)
class BedTwist:
    """How twisted the bed itself is, by its unworn places alone: rms of its roll about the mean."""

    rms_um_per_m: float
    expanded_um_per_m: float
    square: float
    """Mean square, (µm/m)², without what noise adds to it; may fall below 0."""
    square_standard_uncertainty: float


def bed_twist(fit: FeetFit) -> BedTwist:
    """The twist that shimming is judged by: wear plays no part in it.

    With M the projection off the mean over n places, t = θᵀMθ/n - tr(MC)/n is free of bias and
    has the variance [2 tr(MCMC) + 4 θᵀMCMθ]/n² for normal errors.
    """
    nodes, _ = unworn_nodes(fit.bed_map)
    station = np.unique([round(fit.bed_map.nodes[i].station_mm, 3) for i in nodes])
    rows = fit.roll(station) @ fit.rows
    rows = rows - rows.mean(axis=0)
    theta, covariance = rows @ fit.bed_map.solution.estimate, fit.covariance(rows)
    count = len(station)
    square = float(theta @ theta - np.trace(covariance)) / count
    spread = 2 * np.sum(covariance * covariance) + 4 * float(theta @ covariance @ theta)
    doubt = float(np.sqrt(max(spread, 0.0))) / count
    rms = float(np.sqrt(max(square, 0.0)))
    return BedTwist(rms, float(np.sqrt(max(square, 0.0) + 2 * doubt)) - rms, square, doubt)


def _worn(fit: FeetFit, face: str) -> tuple[np.ndarray, np.ndarray]:
    """Wear of a face at the places that are not unworn."""
    station, rows = fit.wear(face)
    worn = np.array([not is_unworn(fit.bed_map.bed.faces[face], at) for at in station.tolist()], bool)
    return station[worn], rows[worn]


def is_unworn(face: Face, station_mm: float) -> bool:
    """Whether no metal was lost there: a face that nothing runs on, or a stretch never reached."""
    return not face.runs or bool(is_in_stretches(face.unworn_mm, station_mm))


def unworn_nodes(bed_map: BedMap) -> tuple[np.ndarray, list[str]]:
    """Indices of heights where no metal was lost, and the face of each."""
    nodes, faces = [], []
    for name, face in bed_map.bed.faces.items():
        if face.upward == 0 or face.across_mm is None:
            continue
        for index in bed_map.indices(name):
            if is_unworn(face, bed_map.nodes[index].station_mm):
                nodes.append(int(index))
                faces.append(name)
    return np.array(nodes, int), faces


def unworn_together(bed_map: BedMap) -> tuple[float, ...]:
    """Stations at which two faces at different places across the bed are unworn and measured."""
    across: dict[float, set[float]] = {}
    for index, owner in zip(*unworn_nodes(bed_map), strict=True):
        place = round(bed_map.nodes[index].station_mm, 3)
        across.setdefault(place, set()).add(float(bed_map.bed.faces[owner].across_mm or 0.0))
    return tuple(sorted(place for place, found in across.items() if len(found) > 1))


def proud_beyond(places: int) -> float:
    """Standard uncertainties that the highest of so many unworn places exceeds once in a hundred beds."""
    return max(LEAST_ABOVE, float(-ndtri(CHANCE / max(places, 1))))


def _stands_proud(fit: FeetFit) -> Fact | None:
    """Where a face that is worn stands above what its unworn places make it, beyond chance.

    How far unworn places themselves lie off the fit is told by `Misfit`, and plays no part here.
    """
    rows = [(face, *_worn(fit, face)) for face in fit.faces]
    count = sum(len(station) for _, station, _ in rows)
    limit = proud_beyond(count)
    worst: tuple[float, str, float, float] | None = None
    for face, station, wide in rows:
        wear = wide @ fit.bed_map.solution.estimate
        doubt = standard_uncertainty(replace(fit, factor=1.0).covariance(wide)) + ROUNDING_UM
        for at, above, spread in zip(station.tolist(), wear.tolist(), doubt.tolist(), strict=True):
            if above > limit * spread and (worst is None or above / spread > worst[0]):
                worst = (above / spread, face, at, above)
    return None if worst is None else WornUnworn(*worst[1:])
