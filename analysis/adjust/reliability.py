"""What the readings say about each other: residuals, outliers, slips, and what nothing checks.

For each reading: its residual v, its redundancy r (the share of an error in it that shows
in the residual), the normalised residual w = v/(σ√r), and the smallest error that would
be noticed, 4.13σ/√r (found with 80 % probability by a test that a good reading fails once
in a thousand). Formulas in their form for correlated readings; see, for instance, the
textbook treatment of reliability in geodetic networks.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtri

from acquire.model.quantity import QUANTITIES
from acquire.model.slips import slip_of_reading
from analysis.adjust.setting_aside import Greedy, SettingAside
from analysis.adjust.solution import Solution
from analysis.linear.fact import Fact
from analysis.observe import Observations

SMALLEST_DETECTABLE = 4.13
ALARM_PROBABILITY = 0.01
"""That a set of good readings raises any alarm."""
RUNNER_UP_WITHIN = 0.3
LEAST_CHECKED = 0.1
"""Redundancy below which an error in a reading would hardly show."""
NO_RIVAL_WITHIN = 3.0
"""In log-likelihood: what explains the readings worse by no more may be what happened."""
NOTHING = 1e-9


@dataclass(frozen=True, eq=False)
class Residuals:
    """One entry per reading, in the order of the traverses; contract units."""

    traverse: np.ndarray
    instrument: tuple[str, ...]
    quantity: tuple[str, ...]
    station_mm: np.ndarray
    reading: np.ndarray
    residual: np.ndarray
    """Reading minus what all readings together make of it."""
    standard_uncertainty: np.ndarray
    redundancy: np.ndarray
    normalised: np.ndarray
    """NaN where nothing checks the reading."""
    smallest_detectable: np.ndarray
    predicted: np.ndarray
    """What all other readings make of it; NaN where they cannot."""
    predicted_uncertainty: np.ndarray
    """Of reading minus prediction."""

    def __len__(self) -> int:
        return len(self.reading)


@dataclass(frozen=True)
class Suspect:
    """A reading that the others contradict."""

    traverse: int
    station_mm: float
    reading: float
    normalised_residual: float
    predicted: float
    """What the others make of it."""
    words: str
    runner_up: bool = False
    """It could as well be this one as the one before."""
    contested: bool = False
    """Other readings, wrong in its place, would explain all as well: nothing tells which are."""
    unit: str = ""
    """Of both readings: um | um/m."""


@dataclass(frozen=True)
class Unchecked:
    """A reading that nothing checks."""

    traverse: int
    station_mm: float


def residual_table(solution: Solution, observations: Sequence[Observations]) -> Residuals:
    """Residuals and reliability of every reading."""
    columns = [_of_block(solution, index) for index in range(len(observations))]
    left, redundancy, normalised, detectable, error, error_sd = (
        np.concatenate([column[k] for column in columns]) for k in range(6)
    )
    reading = np.concatenate([each.reading for each in observations])
    return Residuals(
        np.concatenate([np.full(len(each), each.traverse) for each in observations]),
        tuple(each.instrument for each in observations for _ in range(len(each))),
        tuple(each.quantity for each in observations for _ in range(len(each))),
        np.concatenate([each.station_mm for each in observations]),
        reading,
        left,
        np.sqrt(np.concatenate([block.variance for block in solution.blocks[: len(observations)]])),
        redundancy,
        normalised,
        detectable,
        reading - error,
        error_sd,
    )


def _of_block(solution: Solution, index: int) -> tuple[np.ndarray, ...]:
    block, shown = solution.blocks[index], solution.reliability[index]
    pull = block.pull_of(solution.leftover[index])
    checked = shown.weight * np.mean(block.variance) > NOTHING
    root = np.sqrt(np.where(checked, shown.weight, 1.0))
    nothing = np.where(checked, 1.0, np.nan)
    return (
        solution.residuals[index],
        shown.redundancy,
        nothing * pull / root,
        np.where(checked, SMALLEST_DETECTABLE / root, np.inf),
        nothing * pull / root**2,
        nothing / root,
    )


def alarm_level(readings: int) -> float:
    """|w| that the largest of so many good readings exceeds once in a hundred sets (Bonferroni).

    Examples
    --------
    >>> round(alarm_level(1), 2), round(alarm_level(100), 2)
    (2.58, 3.89)
    """
    return float(-ndtri(ALARM_PROBABILITY / 2 / max(readings, 1)))


def unchecked(table: Residuals) -> tuple[Unchecked, ...]:
    """Readings with a redundancy below `LEAST_CHECKED`: an error in them would hardly show.

    Heights from drawn levels are not among them: many samples check each other there.
    """
    return tuple(
        Unchecked(int(table.traverse[i]), float(table.station_mm[i]))
        for i in np.flatnonzero(table.redundancy < LEAST_CHECKED)
        if table.quantity[i] != "heights"
    )


def find_suspects(
    solution: Solution, observations: Sequence[Observations], table: Residuals, noise: float = 1.0
) -> tuple[Suspect, ...]:
    """Readings that cannot be right, the worst first; each is set aside before the next is judged.

    Where other readings, as many or fewer, would explain all as well if they were wrong instead,
    both are named, as contested.

    Parameters
    ----------
    noise : float
        By what all readings together are noisier than claimed, so that honest noise is
        not taken for slips.
    """
    w = _checked(table)
    level, setting = _level(table, noise), SettingAside(solution, len(observations))
    worst_first = setting.greedily(w, level)
    found: dict[int, Suspect] = {}
    for index, now in zip(worst_first.taken, worst_first.seen, strict=True):
        found[index] = _suspect(table, index, now[index], noise)
        close = np.abs(now) >= abs(now[index]) - RUNNER_UP_WITHIN
        for other in np.flatnonzero(close):
            found.setdefault(int(other), _suspect(table, int(other), now[other], noise, runner_up=True))
    for contest in _contests(setting, worst_first, w, level, noise):
        for index in (*contest.one, *contest.other):
            suspect = found.get(index) or _suspect(table, index, w[index], noise, runner_up=True)
            found[index] = replace(suspect, contested=True)
    return tuple(found.values())


def find_contests(
    solution: Solution, observations: Sequence[Observations], table: Residuals, noise: float = 1.0
) -> tuple["Contest", ...]:
    """Sets of readings of which either may be wrong: both explain all readings equally well.

    Parameters
    ----------
    noise : float
        As in `find_suspects`.
    """
    w, level, setting = _checked(table), _level(table, noise), SettingAside(solution, len(observations))
    return tuple(_contests(setting, setting.greedily(w, level), w, level, noise))


@dataclass(frozen=True)
class Contest:
    """Two sets of readings of which either may be wrong, by their place in the table of residuals."""

    one: tuple[int, ...]
    other: tuple[int, ...]
    error: Mapping[int, float]
    """What each reading would be off by, were it of the wrong set."""


@dataclass(frozen=True)
class Contested(Fact):
    """Readings of which either these or those are wrong; the map is as uncertain as that."""

    one: tuple[tuple[int, float], ...]
    """Traverse and station, in mm."""
    other: tuple[tuple[int, float], ...]
    error: float
    """What the wrong ones are off by, in the contract's unit."""
    quantity: str


def contested_facts(contests: Iterable[Contest], table: Residuals) -> Iterator[Contested]:
    """What to say of contested readings."""

    def named(indices: Iterable[int]) -> tuple[tuple[int, float], ...]:
        return tuple((int(table.traverse[i]), float(table.station_mm[i])) for i in indices)

    for each in contests:
        error = max(map(abs, each.error.values()))
        yield Contested(named(each.one), named(each.other), error, table.quantity[each.one[0]])


def _contests(
    setting: SettingAside, found: Greedy, w: np.ndarray, level: float, noise: float
) -> Iterator[Contest]:
    """Of each group of suspects that hang together: whether others would do as well in their place."""
    if found.aside is None or not found.is_finished:
        return
    for group in setting.together(found.taken):
        instead = setting.greedily(w, level, trusted=frozenset(group))
        if instead.aside is None or not instead.is_finished or len(instead.taken) > len(found.taken):
            continue
        if instead.aside.chi_square - found.aside.chi_square > 2 * NO_RIVAL_WITHIN * noise**2:
            continue
        one, other = set(found.taken) - set(instead.taken), set(instead.taken) - set(found.taken)
        error = {**found.aside.error, **instead.aside.error}
        both = sorted(one | other)
        yield Contest(tuple(sorted(one)), tuple(sorted(other)), {index: error[index] for index in both})


def _checked(table: Residuals) -> np.ndarray:
    return np.where(np.isfinite(table.normalised), table.normalised, 0.0)


def _level(table: Residuals, noise: float) -> float:
    return alarm_level(int(np.count_nonzero(np.isfinite(table.normalised)))) * noise


def _suspect(table: Residuals, index: int, w: float, noise: float, runner_up: bool = False) -> Suspect:
    return Suspect(
        int(table.traverse[index]),
        float(table.station_mm[index]),
        float(table.reading[index]),
        float(w),
        float(table.predicted[index]),
        slip_words(
            table.reading[index],
            table.predicted[index],
            table.predicted_uncertainty[index] * noise,
            table.quantity[index],
        ),
        runner_up,
        unit=QUANTITIES[str(table.quantity[index])].contract_unit,
    )


def slip_words(reading: float, predicted: float, uncertainty: float, quantity: str) -> str:
    """What slip would explain a reading that the others contradict; empty where none does.

    Examples
    --------
    >>> slip_words(1.2, 12.1, 0.3, "slope")
    'a decimal place (ten times too small)?'
    >>> slip_words(5.0, 17.0, 0.3, "slope")
    ''
    """
    if quantity not in QUANTITIES:
        return ""
    found = slip_of_reading(reading, predicted, uncertainty, QUANTITIES[quantity])
    return f"{found}?" if found else ""
