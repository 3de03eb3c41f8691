"""Is an instrument noisier than it claims?  One variance factor per instrument, from all readings.

    y = A x + e,   Cov(e) = Σ θ_g C_g      C_g: what the readings of instrument g claim

The factors maximise the restricted likelihood (of what does not depend on x), that is minimise

    Σ m_g log θ_g + log det(Aᵀ C⁻¹ A) + Σ s_g,   s_g = (residuals of g)ᵀ C_g⁻¹ (residuals of g) / θ_g

whose derivative by log θ_g is r_g − s_g, r_g being the redundancy of g.  The steps are Newton's with
the average of observed and expected information, ½ (δ_gh s_g − c_gᵀ N⁻ c_h), c_g = A_gᵀ C_g⁻¹ (residuals
of g) / θ_g; a step that makes the likelihood less is shortened.  Sums of squares over redundancies,
taken in turn, have the same fixed point but stall on the way where an instrument is hardly checked.

Source: restricted maximum likelihood and average information are textbook methods of mixed models;
formulas derived here from the likelihood and held against its direct maximisation in the tests.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse

from acquire.model.bed import Bed
from analysis.adjust.assembly import Assembly, assemble
from analysis.adjust.between_nodes import Roughness
from analysis.adjust.nodes import Key
from analysis.adjust.reading_errors import least_factor
from analysis.adjust.solution import Solution, solve
from analysis.linear.bordered import BorderedFactor, BorderedMatrix, bordered, stacked, weighted_sum
from analysis.linear.least_squares import REFINEMENTS
from analysis.observe import Observations

LEAST_REDUNDANCY = 3.0
ROUNDS = 100
CLOSE_ENOUGH = 1e-7
ROUNDING = 1e-12
LEAST_DAMPING = 1e-6
NOTHING = 1e-9
"""Information where the readings tell nothing: an uncertainty far beyond any ratio."""
LONGEST_STEP = 2.0
LOWEST, HIGHEST = 1e-4, 1e6


@dataclass(frozen=True)
class VarianceComponent:
    """How noisy an instrument is against what it claims."""

    instrument: str
    """Its name; followed by "(drawn)" for its drawn runs, whose noise was judged once already."""
    noise_ratio: float
    """Actual over claimed standard uncertainty, where the restricted likelihood is largest."""
    standard_uncertainty: float
    """Of the ratio."""
    redundancy: float
    """How many independent checks it rests on."""
    is_told: bool = True
    """Whether the readings tell it as well as three independent checks would: to √(1/6) of the ratio."""


def variance_components(
    observations: Sequence[Observations],
    bed: Bed,
    ways: Mapping[Key, Roughness] | None = None,
    *,
    as_claimed: frozenset[str] = frozenset(),
) -> tuple[VarianceComponent, ...]:
    """Noise ratio of every instrument with at least three checks in all; others keep what they claim.

    Parameters
    ----------
    observations : sequence of Observations
    bed : Bed
    ways : mapping, optional
        How lines of heights run between their nodes.
    as_claimed : set of str
        Instruments that keep what they claim whatever the readings show.
    """
    assembly = assemble(observations, bed, ways=ways)
    solution = solve(assembly.blocks, assembly.unknowns, assembly.layout.heights)
    shares = _redundancy(solution, assembly)
    chosen = [name for name, share in shares.items() if share >= LEAST_REDUNDANCY and name not in as_claimed]
    if not chosen:
        return ()
    likelihood = _Likelihood.of(assembly, solution, chosen)
    at, factors = _largest(likelihood, _least(assembly, chosen))
    ratio = np.exp(factors / 2)
    relative = np.sqrt(np.diag(np.linalg.inv(at.information + NOTHING * np.eye(len(chosen))))) / 2
    is_told = relative <= (2 * LEAST_REDUNDANCY) ** -0.5 * (1 + CLOSE_ENOUGH)
    return tuple(
        VarianceComponent(
            name, float(ratio[k]), float(ratio[k] * relative[k]), float(at.redundancy[k]), bool(is_told[k])
        )
        for k, name in enumerate(chosen)
    )


def told_components(
    observations: Sequence[Observations], bed: Bed, ways: Mapping[Key, Roughness] | None = None
) -> tuple[tuple[VarianceComponent, ...], tuple[str, ...]]:
    """Components to weigh by, and instruments that keep what they claim because the readings do not tell."""
    doubtful: set[str] = set()
    while True:
        found = variance_components(observations, bed, ways, as_claimed=frozenset(doubtful))
        weakest = [each for each in found if not each.is_told]
        if not weakest:
            return found, tuple(sorted(doubtful))
        doubtful.add(max(weakest, key=lambda each: each.standard_uncertainty / each.noise_ratio).instrument)


def _least(assembly: Assembly, chosen: Sequence[str]) -> np.ndarray:
    """Logarithms of the least factors: the steps that readings come in stay."""
    least = dict.fromkeys(chosen, LOWEST)
    for each in assembly.observations:
        if each.noise_group in least:
            least[each.noise_group] = max(least[each.noise_group], least_factor(each))
    return np.log(list(least.values()))


def _redundancy(solution: Solution, assembly: Assembly) -> dict[str, float]:
    shares: dict[str, float] = {}
    for each, shown in zip(assembly.observations, solution.reliability, strict=False):
        shares[each.noise_group] = shares.get(each.noise_group, 0.0) + float(np.sum(shown.redundancy))
    return shares


@dataclass(frozen=True, eq=False)
class _Point:
    """The likelihood at one set of factors."""

    value: float
    """−2 log restricted likelihood, up to a constant."""
    squares: np.ndarray
    redundancy: np.ndarray
    information: np.ndarray
    """Of the logarithms of the factors."""

    def step(self, damping: float, stuck_low: np.ndarray, stuck_high: np.ndarray) -> np.ndarray:
        """Newton's step of the logarithms, damped; none where a factor would leave its bounds."""
        slope = (self.squares - self.redundancy) / 2
        is_free = ~((stuck_low & (slope < 0)) | (stuck_high & (slope > 0)))
        damped = self.information + damping * np.eye(len(slope))
        step = np.zeros(len(slope))
        step[is_free] = np.linalg.solve(damped[np.ix_(is_free, is_free)], slope[is_free])
        return np.asarray(step * min(1.0, LONGEST_STEP / max(float(np.max(np.abs(step))), 1e-300)))


@dataclass(frozen=True, eq=False)
class _Likelihood:
    """The restricted likelihood of the factors of some groups of readings."""

    rows: scipy.sparse.csr_matrix
    """Whitened by what is claimed, unit columns, those of unknowns held at zero empty."""
    value: np.ndarray
    group: np.ndarray
    """Number of each row's group; the last one keeps what it claims."""
    normals: tuple[BorderedMatrix, ...]
    """Of each group."""
    held: np.ndarray

    @classmethod
    def of(cls, assembly: Assembly, solution: Solution, chosen: Sequence[str]) -> "_Likelihood":
        """Of the groups named `chosen`."""
        number = {name: k for k, name in enumerate(chosen)}
        fit, blocks = solution.fit, solution.blocks
        names = [each.noise_group for each in assembly.observations] + [""] * len(blocks)
        group = np.concatenate(
            [np.full(len(b.value), number.get(n, len(chosen))) for b, n in zip(blocks, names, strict=False)]
        )
        rows = scipy.sparse.csr_matrix(
            stacked([block.whitened for block in blocks]) @ scipy.sparse.diags(fit.scale)
        )
        is_border = np.isin(np.arange(assembly.unknowns), fit.factor.border)
        normals = tuple(bordered([rows[group == k]], is_border) for k in range(len(chosen) + 1))
        return cls(rows, np.concatenate([b.white(b.value) for b in blocks]), group, normals, fit.held)

    def at(self, factors: np.ndarray) -> _Point:
        """The likelihood where the logarithms of the factors are `factors`."""
        weight = np.append(np.exp(-factors), 1.0)
        factor = weighted_sum(self.normals, weight).factored(self.held)
        left = self._residuals(factor, weight[self.group])
        squares = np.bincount(self.group, weight[self.group] * left**2, len(weight))
        count = np.bincount(self.group, minlength=len(weight))[:-1]
        used = [w * factor.trace(normal) for w, normal in zip(weight[:-1], self.normals, strict=False)]
        pull = np.column_stack(
            [self.rows.T @ np.where(self.group == k, weight[k] * left, 0.0) for k in range(len(factors))]
        )
        return _Point(
            float(count @ factors + factor.log_determinant() + np.sum(squares)),
            squares[:-1],
            count - np.array(used),
            (np.diag(squares[:-1]) - pull.T @ factor.solve(pull)) / 2,
        )

    def _residuals(self, factor: BorderedFactor, weight: np.ndarray) -> np.ndarray:
        estimate = np.zeros(self.rows.shape[1])
        for _ in range(REFINEMENTS):
            estimate += factor.solve(self.rows.T @ (weight * (self.value - self.rows @ estimate)))
        return np.asarray(self.value - self.rows @ estimate)


def _largest(likelihood: _Likelihood, least: np.ndarray) -> tuple[_Point, np.ndarray]:
    """Where the restricted likelihood is largest, and the logarithms of the factors there."""
    most, factors = np.log(HIGHEST), np.maximum(least, 0.0)
    here, damping = likelihood.at(factors), LEAST_DAMPING
    for _ in range(ROUNDS):
        there = np.clip(factors + here.step(damping, factors <= least, factors >= most), least, most)
        moved = float(np.max(np.abs(there - factors)))
        found = likelihood.at(there)
        if found.value > here.value + ROUNDING * abs(here.value):
            damping *= 10
        else:
            here, factors, damping = found, there, max(damping / 10, LEAST_DAMPING)
        if moved <= CLOSE_ENOUGH:
            break
    return here, factors


def factors_of(components: Sequence[VarianceComponent]) -> dict[str, float]:
    return {component.instrument: component.noise_ratio**2 for component in components}
