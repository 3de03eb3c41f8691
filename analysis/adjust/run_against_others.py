"""Runs held against the map of all others, as they were written and as a slip would have them.

    d − m ~ N(Z z, C_m + C_r)       d: the readings; m: what the others make of them
                                    C_m: its covariance; C_r: that of the readings

z is what the runs have of their own (zeros) and what the others leave free; it is projected out.
A drift of ordinary size may be added where the others tell none. Units are those of the readings, µm/m or µm.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy.linalg
import scipy.sparse
from scipy.special import chdtrc

from acquire.model.bed import Bed
from acquire.model.slips import Slip, as_meant, gaps_left, moved, undone
from analysis.adjust.further import is_drift_told, rows_beside
from analysis.adjust.tying import LEAST_TO_JUDGE, Tied, fit_of, tie_together
from analysis.observe import Observations, observe
from analysis.observe.uncertainty import step_uncertainty

ALARM = 0.01
NO_JUDGES = 1e-4
"""Others that contradict each other so much hold a wrong run themselves; right ones rarely come near."""
TOLD_APART = 0.001
ORDINARY_DRIFT = 12.0
"""Over one run, in standard uncertainties of a reading: larger ones are as good as slips."""
MOST_MISREAD = 2
"""Readings of a run that may be wrong by themselves before the run is doubted."""
LEAST_CHECKS = 3
MOST_READINGS = 400
"""Of one run: more tell no more, and every nth is taken."""
SAME_FREE = 1e-7
NO_VARIANCE = 1e-9


@dataclass(frozen=True, eq=False)
class Others:
    """The map of all other runs."""

    observations: tuple[Observations, ...]
    bed: Bed
    tied: Tied

    @classmethod
    def of(cls, observations: Sequence[Observations], bed: Bed, runs: Iterable[Observations]) -> "Others":
        """Adjusted without `runs`, with heights wherever these stand between nodes.

        A straightedge that all runs together were read with both ways over is not taken as straight where
        the others alone had it one way over: what they then cannot tell is no judge of the runs.
        """
        runs = tuple(runs)
        turned = frozenset(edge for each in (*observations, *runs) for edge in each.edges)
        observations = [_either_way_over(each, turned) for each in observations]
        tied = tie_together(observations, bed)
        layout = tied.assembly.layout
        places = {place for each in runs for form in each.forms for place in form}
        missing = sorted(p for p in places if layout.column(p) is None and layout.spans(p))
        if missing:
            tied = tie_together(observations, bed, extra=missing)
        return cls(tuple(observations), bed, tied)

    def covariance(self, functions: np.ndarray | scipy.sparse.spmatrix) -> np.ndarray:
        """Of functions of the heights that they determine, for noise as claimed."""
        return self.tied.solution.covariance(functions)

    @property
    def check_each_other(self) -> bool:
        """Whether they are more than enough to tell what they do, and agree as claimed."""
        return fit_of(self.tied.assembly, self.tied.solution)[0] >= LEAST_TO_JUDGE and self.fit_each_other(
            1.0
        )

    def fit_each_other(self, noise: float) -> bool:
        """Whether they are fit to judge by, if all variances are `noise` times those claimed."""
        redundancy, chi_square = fit_of(self.tied.assembly, self.tied.solution)
        return redundancy < LEAST_TO_JUDGE or chdtrc(redundancy, chi_square / noise) >= NO_JUDGES


@dataclass(frozen=True, eq=False)
class Said:
    """Runs as a slip would have them, each reading where it then belongs."""

    slip: Slip
    rows: scipy.sparse.csr_matrix
    """Shape (m, n), in the unknowns of the others."""
    value: np.ndarray
    free: np.ndarray
    """Shape (m, k): what unknowns of their own add, and what the others leave free."""
    covariance: np.ndarray
    """Shape (m, m), of the readings alone."""
    drift: np.ndarray
    """Shape (m, runs): what a steady drift of ordinary size adds."""
    written: np.ndarray
    """Which reading of those written each is, rising."""

    def of(self, written: np.ndarray) -> "Said":
        """Those of some readings alone."""
        return self.at(np.searchsorted(self.written, written))

    def at(self, index: np.ndarray) -> "Said":
        """Those at some places, in that order."""
        if np.array_equal(index, np.arange(len(self.value))):
            return self
        return replace(
            self,
            rows=self.rows[index],
            value=self.value[index],
            free=self.free[index],
            covariance=self.covariance[np.ix_(index, index)],
            drift=self.drift[index],
            written=self.written[index],
        )


@dataclass(frozen=True)
class Fit:
    """How well runs fit the others."""

    log_likelihood: float
    """Of the numbers as they were written."""
    p_value: float
    misfit: float
    """Root mean square of what is left once all that is free is taken off."""
    expected: float
    """What that would be of right runs."""


def _either_way_over(each: Observations, turned: frozenset[tuple[str, bool]]) -> Observations:
    """With all ways over that the straightedges on it were read in any run, its own first."""
    names = {name for name, _ in each.edges}
    further = [edge for edge in sorted(turned - set(each.edges)) if edge[0] in names]
    return replace(each, edges=(*each.edges, *further)) if further else each


def said_by(written: Sequence[Observations], slip: Slip, against: Others) -> Said | None:
    """Runs as a slip would have them; None where that cannot be, or the others know nothing there."""
    assembly, free = against.tied.assembly, against.tied.solution.null_space
    start, parts = 0, []
    for each in written:
        moved_to = _as_slipped(each, slip, against.bed)
        if moved_to is None:
            return None
        run, index = moved_to
        beside = rows_beside(assembly, run)
        at = _few(np.flatnonzero(beside.is_held))
        rounding = (slip.factor * _step(each)) ** 2 if abs(slip.factor) > 1 else 0.0
        covariance = _dense(run.covariance) + beside.stated @ beside.stated.T + rounding * np.eye(len(run))
        parts.append(
            (
                beside.rows[at],
                (run.reading - run.correction)[at],
                beside.free[at],
                covariance[np.ix_(at, at)],
                np.zeros((len(at), 1)) if is_drift_told(assembly, run) else _drift(run)[at, None],
                start + index[at],
            )
        )
        start += len(each)
    rows = scipy.sparse.csr_matrix(scipy.sparse.vstack([part[0] for part in parts]))
    own = scipy.linalg.block_diag(*(part[2] for part in parts))
    found = Said(
        slip,
        rows,
        np.concatenate([part[1] for part in parts]),
        np.hstack([own, np.asarray(rows @ free)]),
        scipy.linalg.block_diag(*(part[3] for part in parts)),
        scipy.linalg.block_diag(*(part[4] for part in parts)),
        np.concatenate([part[5] for part in parts]),
    )
    return found.at(np.argsort(found.written))


def _as_slipped(written: Observations, slip: Slip, bed: Bed) -> tuple[Observations, np.ndarray] | None:
    """What a run says once a slip is undone, and which reading of those written each is."""
    every = np.arange(len(written))
    if not slip.names:
        return written, every
    if written.mode != "stepped":
        if slip.is_reversed or slip.is_mirrored or slip.along_mm:
            return None
        factor = -slip.factor if slip.is_turned else slip.factor
        covariance = factor**2 * written.covariance
        return replace(written, reading=factor * written.reading, covariance=covariance), every
    run = written.sources[0]
    gap_mm = gaps_left(run.events)
    stations = undone(run.setup, run.stations, slip, gap_mm)
    if not len(stations):
        return None
    meant = observe(replace(run, setup=as_meant(run.setup, slip), stations=stations), bed)
    return meant, moved(run.setup, run.stations.station_mm, slip, gap_mm)[1]


def _few(index: np.ndarray) -> np.ndarray:
    return index[:: 1 + len(index) // MOST_READINGS]


def _step(each: Observations) -> float:
    """Standard uncertainty that the digits of a written run leave, in the contract's unit."""
    run = each.sources[0]
    if run.setup.source == "record" or each.drawn is not None:
        return 0.0
    # the digits written count: in another unit than was asked for they are none of the display's
    as_written = replace(run.instrument, resolution=None)
    return step_uncertainty(as_written, run.stations.reading, run.setup.unit)


def _drift(run: Observations) -> np.ndarray:
    """What a steady drift of ordinary size adds to each reading; to a drawn run, what its and theirs add."""
    if run.drawn is not None:
        stated = max(each.instrument.uncertainty for each in run.sources)
        return np.zeros(len(run)) if run.bow is None else 2 * ORDINARY_DRIFT * stated * run.bow.column
    if len(run.order) != len(run) or np.ptp(run.order) == 0.0:
        return np.zeros(len(run))
    size = ORDINARY_DRIFT * float(np.sqrt(np.median(run.variance)))
    return size * (run.order - np.mean(run.order)) / float(np.ptp(run.order))


def _dense(covariance: np.ndarray | scipy.sparse.spmatrix) -> np.ndarray:
    if isinstance(covariance, np.ndarray):
        return np.diag(covariance) if covariance.ndim == 1 else covariance
    return covariance.toarray()


def fit_of_runs(said: Said, against: Others, noise: float) -> Fit | None:
    """How well runs fit the others, with a drift of ordinary size or without, whichever is better.

    The density is of the numbers as written: a slip that makes all numbers small fits no
    better for that.
    """
    free_of = _complement(said.free)
    if free_of.shape[1] < LEAST_CHECKS:
        return None
    functions = scipy.sparse.csr_matrix(free_of.T @ said.rows)
    left = free_of.T @ said.value - functions @ against.tied.solution.estimate
    own = free_of.T @ said.covariance @ free_of
    covariance = noise * (own + against.covariance(functions))
    drift = free_of.T @ said.drift
    both = [_density(left, covariance), _density(left, covariance + drift @ drift.T)]
    log_likelihood = max(each[0] for each in both) + len(left) * np.log(abs(said.slip.factor))
    return Fit(
        float(log_likelihood),
        max(each[1] for each in both),
        float(np.sqrt(np.mean(left**2))),
        float(np.sqrt(np.mean(np.diag(covariance)))),
    )


def p_values_without_worst(said: Said, against: Others, noise: float) -> list[float]:
    """How well runs fit the others once one, two, ... of their readings are set aside, the worst first."""
    found = []
    for _ in range(MOST_MISREAD):
        free_of = _complement(said.free)
        if free_of.shape[1] <= LEAST_CHECKS:
            break
        functions = scipy.sparse.csr_matrix(free_of.T @ said.rows)
        left = free_of.T @ said.value - functions @ against.tied.solution.estimate
        own = free_of.T @ said.covariance @ free_of
        weight = np.linalg.inv(noise * (own + against.covariance(functions)))
        pull, size = free_of @ weight @ left, np.einsum("ia,ab,ib->i", free_of, weight, free_of)
        is_checked = size * np.diag(said.covariance) > NO_VARIANCE
        worst = int(np.argmax(np.where(is_checked, pull**2 / np.where(is_checked, size, 1.0), 0.0)))
        aside = np.zeros((len(said.value), 1))
        aside[worst] = 1.0
        said = replace(said, free=np.hstack([said.free, aside]))
        fit = fit_of_runs(said, against, noise)
        found.append(0.0 if fit is None else fit.p_value)
    return found


def _density(left: np.ndarray, covariance: np.ndarray) -> tuple[float, float]:
    """Logarithm of the normal density, and the probability of so large a chi-square by chance."""
    root = np.linalg.cholesky(covariance)
    whitened = scipy.linalg.solve_triangular(root, left, lower=True)
    chi_square = float(whitened @ whitened)
    size = 2 * float(np.sum(np.log(np.diag(root)))) + len(left) * np.log(2 * np.pi)
    return -(size + chi_square) / 2, float(chdtrc(len(left), chi_square))


def _complement(columns: np.ndarray) -> np.ndarray:
    """Orthonormal columns at right angles to these."""
    if not columns.shape[1]:
        return np.eye(len(columns))
    length = np.linalg.norm(columns, axis=0)
    kept = columns[:, length > SAME_FREE * max(float(np.max(length)), 1e-300)]
    turn, size, _ = np.linalg.svd(kept / np.linalg.norm(kept, axis=0), full_matrices=True)
    rank = int(np.count_nonzero(size > SAME_FREE * size[0])) if len(size) else 0
    return turn[:, rank:]


def are_told_apart(one: Said, other: Said, against: Others) -> bool:
    """Whether the others make of the numbers written clearly different things by two slips."""
    both = np.intersect1d(one.written, other.written)
    one, other = one.of(both), other.of(both)
    free_of = _complement(np.hstack([one.free, other.free]))
    apart = scipy.sparse.csr_matrix(free_of.T @ (one.rows / one.slip.factor - other.rows / other.slip.factor))
    difference = np.asarray(apart @ against.tied.solution.estimate)
    variance, turn = np.linalg.eigh(against.covariance(apart))
    told = variance > NO_VARIANCE * max(float(np.max(variance, initial=0.0)), 1e-300)
    if not np.any(told):
        return False
    chi_square = float(np.sum((turn.T @ difference)[told] ** 2 / variance[told]))
    return bool(chdtrc(np.count_nonzero(told), chi_square) < TOLD_APART)
