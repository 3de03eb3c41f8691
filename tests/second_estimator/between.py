"""A second estimator of what lies between the places that readings tell by themselves.

The same model, worked out in another way: every place that anything stood on is an unknown.
A line of heights whose shape the readings tell is judged for its roughness from the normal
density of its fourth differences, kind by kind and size by size; its other places are then
bound to the cubic through four of its nodes with an error of that roughness, and all is
solved again, until no further line is told.  Written from the model's formulas; nothing is
shared with the program under test.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import null_space

from tests.second_estimator.least_squares import Answer, Key, Owner, place, rows_of, solved
from tests.second_estimator.readings import Description, Run, reading

KINDS = (0.02, 0.25, 0.5, 1.0, 1.5, 1.75)
SIZES = 10.0 ** (np.arange(-16, 25) / 8)
"""In eighths of a decade: those of a way, then those that only a rougher gap may have."""
OF_A_WAY = SIZES[:25]
SELDOM = (0.3, 0.1)
"""Shares of gaps that are rougher than their way: of its kind, of any kind."""
CHANCE = SIZES[16:0:-1] / SIZES[16:0:-1].sum()
"""Of rougher by an eighth of a decade, by two ..., a hundredfold at most: the rougher the rarer."""
TEXTURED, TEXTURES = (1.5, 1.75), (0.03, 0.1, 0.3)
FOOT_MM, HUNDRED_MM = 0.5, 100.0
ROUNDING = 1e-9
"""Of a variance: places a few millimetres apart on a smooth way go together to the last digit."""
FARTHEST_BEYOND = 2.0
"""Node spacings beyond the last node, up to which a place is bound."""
WIDEST = 1.5
"""Node spacings: what was touched in a wider gap is left to itself, unless a carrier stood there."""
NEAREST = 0.4
"""Of two nodes nearer than this share of the usual distance one is left out."""


@dataclass(frozen=True, eq=False)
class Way:
    """A line whose shape is told: its nodes, how rough it is, and which other places are bound to them."""

    node_mm: np.ndarray
    variances: Sequence[Mapping[float, float]]
    """In each gap, that before the first node first."""
    bound_mm: frozenset[float]


def adjust_between(runs: Sequence[Run], bed: Description) -> tuple[Answer, int]:
    """Estimate of all heights at all places, and how many places were bound to the nodes of their line."""
    places, measured = places_asked(runs, bed), places_asked(runs, bed, is_touched)
    carried = places_asked(runs, bed, is_ridden)
    keys, rows, value = rows_of(runs, bed, places=places)
    ways: dict[Owner, Way] = {}

    def bound(ways: Mapping[Owner, Way]) -> tuple[Answer, int]:
        ties = [_ties(line, way, keys) for line, way in ways.items() if way.bound_mm]
        count = sum(map(len, ties))
        return solved(keys, np.vstack([rows, *ties]), np.pad(value, (0, count))), count

    while True:
        answer, count = bound(ways)
        told = {line: mm[_told(line, mm, answer, ways.get(line))] for line, mm in places.items()}
        further = _judged(told, ways, places, measured, bed, answer) or _bound_first(
            ways, _left_open(told, ways, measured, carried), lambda tried: bound(tried)[0]
        )
        if not further:
            return answer, count
        ways |= further


def _judged(
    told: Mapping[Owner, np.ndarray],
    ways: Mapping[Owner, Way],
    places: Mapping[Owner, np.ndarray],
    measured: Mapping[Owner, np.ndarray],
    bed: Description,
    answer: Answer,
) -> dict[Owner, Way]:
    """Lines that are told now: what only carries is bound to their nodes, what was touched stays free."""
    found = {}
    for line in set(told) - set(ways):
        node_mm = _nodes(told[line], bed)
        if len(node_mm) < 4 or not len(np.setdiff1d(places[line], node_mm)):
            continue
        columns = [answer.columns[place(*line, mm)] for mm in node_mm]
        rough = roughness(node_mm, answer.estimate[columns], answer.covariance[np.ix_(columns, columns)])
        beyond_mm = FARTHEST_BEYOND * np.median(np.diff(node_mm))
        near = places[line][
            (places[line] >= node_mm[0] - beyond_mm) & (places[line] <= node_mm[-1] + beyond_mm)
        ]
        carries = np.setdiff1d(near, [*measured.get(line, ()), *node_mm])
        found[line] = Way(node_mm, rough, frozenset(carries.tolist()))
    return found


def _left_open(
    told: Mapping[Owner, np.ndarray],
    ways: Mapping[Owner, Way],
    measured: Mapping[Owner, np.ndarray],
    carried: Mapping[Owner, np.ndarray],
) -> dict[Owner, np.ndarray]:
    """Of each line that is told, the places between its nodes that were touched and that nothing tells."""
    found = {}
    for line, way in ways.items():
        touched = measured.get(line, np.zeros(0))
        after = np.searchsorted(way.node_mm, touched)
        inside = (after > 0) & (after < len(way.node_mm))
        gaps = np.pad(np.diff(way.node_mm), 1)[after]
        inside &= (gaps <= WIDEST * np.median(np.diff(way.node_mm))) | np.isin(touched, carried.get(line, ()))
        opened = set(touched[inside].tolist()) - set(told[line].tolist()) - way.bound_mm
        if opened:
            found[line] = np.array(sorted(opened))
    return found


def _bound_first(
    ways: Mapping[Owner, Way],
    opened: Mapping[Owner, np.ndarray],
    bound: Callable[[Mapping[Owner, Way]], Answer],
) -> dict[Owner, Way]:
    """The one line after whose binding all opened places that are told then have the least mean variance.

    Each place counts off the straight line through the first and last node of its line.
    """
    tried = {
        line: {line: replace(ways[line], bound_mm=ways[line].bound_mm | set(mm.tolist()))}
        for line, mm in opened.items()
    }
    if len(tried) < 2:
        return next(iter(tried.values()), {})

    def doubt(line: Owner) -> float:
        answer = bound({**ways, **tried[line]})
        functions = np.zeros((sum(map(len, opened.values())), len(answer.columns)))
        row = 0
        for each, at_mm in opened.items():
            first, last = ways[each].node_mm[[0, -1]]
            for mm in at_mm:
                share = (mm - first) / (last - first)
                functions[row, answer.columns[place(*each, mm)]] = 1.0
                functions[row, answer.columns[place(*each, first)]] -= 1 - share
                functions[row, answer.columns[place(*each, last)]] -= share
                row += 1
        known = functions[answer.is_known(functions)]
        return float(np.mean(np.einsum("ij,jk,ik->i", known, answer.covariance, known)))

    return tried[min(tried, key=doubt)]


def is_touched(run: Run, owner: str, bed: Description) -> bool:
    """Whether a run measured a face, rather than being carried along it, be it on long feet."""
    is_long = run.reference == "carriage" or "carrier_feet_mm" in bed.instrument(run)
    return owner in (run.face, run.other) or (owner in (run.front, run.rear) and not is_long)


def is_ridden(run: Run, owner: str, bed: Description) -> bool:
    """Whether a run was carried along a face."""
    return not is_touched(run, owner, bed)


def is_any(run: Run, owner: str, bed: Description) -> bool:
    """Whatever a run stands on or touches."""
    return True


def places_asked(
    runs: Sequence[Run], bed: Description, counts: Callable[[Run, str, Description], bool] = is_any
) -> dict[Owner, np.ndarray]:
    """Where on each line the readings depend on a height: found by listening to what geometry asks for."""
    asked: dict[Owner, set[float]] = {}
    for run in runs:

        def listening(kind: str, owner: str, x: np.ndarray, run: Run = run) -> np.ndarray:
            if counts(run, owner, bed):
                asked.setdefault((kind, owner), set()).update(np.round(np.ravel(x), 6).tolist())
            return np.zeros(np.shape(x))

        reading(run, bed, listening)
    return {line: np.array(sorted(mm)) for line, mm in asked.items()}


def _nodes(told_mm: np.ndarray, bed: Description) -> np.ndarray:
    """Of the places that are told, stations first, none too near to another."""
    if len(told_mm) < 2:
        return told_mm
    least = NEAREST * np.percentile(np.diff(told_mm), 75)
    is_station = np.isin(told_mm, np.round(bed.station_mm, 6))
    kept: list[float] = []
    for each in (*told_mm[is_station], *told_mm[~is_station]):
        if not kept or np.min(np.abs(np.array(kept) - each)) >= least:
            kept.append(float(each))
    return np.array(sorted(kept))


def _told(line: Owner, mm: np.ndarray, answer: Answer, way: Way | None) -> np.ndarray:
    """Places in line with the nodes of a way; of a line without any, the largest set of known shape."""
    if way is not None:
        return _in_line(line, mm, answer, *np.searchsorted(mm, way.node_mm[[0, -1]]))
    best = np.zeros(len(mm), bool)
    for i in range(len(mm)):
        for j in range(i + 1, len(mm)):
            if not (best[i] and best[j]):
                found = _in_line(line, mm, answer, i, j)
                best = max(best, found, key=np.count_nonzero)
    return best if np.count_nonzero(best) > 2 else np.zeros(len(mm), bool)


def _in_line(line: Owner, mm: np.ndarray, answer: Answer, i: int, j: int) -> np.ndarray:
    """Which heights of a line are told from the straight line through two of its places."""
    columns = [answer.columns[place(*line, x)] for x in mm]
    functions = np.zeros((len(mm), len(answer.columns)))
    share = (mm - mm[i]) / (mm[j] - mm[i])
    functions[np.arange(len(mm)), columns] = 1.0
    functions[:, columns[i]] -= 1 - share
    functions[:, columns[j]] -= share
    is_told = answer.is_known(functions)
    is_told[[i, j]] = True
    return is_told


def _ties(line: Owner, way: Way, keys: Sequence[Key]) -> np.ndarray:
    """Whitened rows that bind the places of a line to its nodes; errors of two gaps are independent."""
    at_mm, columns = np.array(sorted(way.bound_mm)), [keys.index(place(*line, mm)) for mm in way.node_mm]
    gap = np.searchsorted(way.node_mm, at_mm)
    blocks = []
    for each in np.unique(gap):
        mine = at_mm[gap == each]
        weights = np.array([_weights(way.node_mm, mm) for mm in mine])
        along = np.hstack([np.eye(len(mine)), -weights])
        apart = np.abs(np.subtract.outer(*[np.concatenate([mine, way.node_mm])] * 2))
        total = sum(variance * _growth(kind, apart) for kind, variance in way.variances[each].items())
        rows = np.zeros((len(mine), len(keys)))
        rows[np.arange(len(mine)), [keys.index(place(*line, mm)) for mm in mine]] = 1.0
        rows[:, columns] -= weights
        error = along @ total @ along.T
        error += ROUNDING * np.max(np.diag(error)) * np.eye(len(mine))
        blocks.append(np.linalg.solve(np.linalg.cholesky(error), rows))
    return np.vstack(blocks)


def roughness(
    node_mm: np.ndarray, height_um: np.ndarray, covariance_um2: np.ndarray
) -> list[Mapping[float, float]]:
    """Variance of each kind in each gap, averaged by likelihood over all that way and gap may be."""
    left, noise, shapes = _left(node_mm, height_um, covariance_um2)
    unit = {kind: np.trace(shape) / len(left) for kind, shape in shapes.items()}
    size = max(np.mean(left**2), np.mean(np.diag(noise)))
    ways = [{kind: 1.0 / unit[kind]} for kind in KINDS]
    ways += [
        {kind: 1.0 / unit[kind], KINDS[0]: share**2 / unit[KINDS[0]]}
        for kind in TEXTURED
        for share in TEXTURES
    ]
    squares = size * SIZES**2
    density = _log_density(left, noise, shapes, ways, squares[: len(OF_A_WAY)])
    likely = np.exp(density - density.max())
    likely /= likely.sum()
    found = []
    for gap in range(len(node_mm) + 1):
        first = min(max(gap - 4, 0), max(len(node_mm) - 8, 0))
        near = np.s_[first : first + 8]
        about = _left(node_mm[near], height_um[near], covariance_um2[near, near])
        mean = _mean_squares(likely, _log_density(*about, ways, squares), squares)
        found.append(
            {kind: sum(m * way.get(kind, 0.0) for m, way in zip(mean, ways, strict=True)) for kind in KINDS}
        )
    return found


def _left(
    node_mm: np.ndarray, height_um: np.ndarray, covariance_um2: np.ndarray
) -> tuple[np.ndarray, np.ndarray, dict[float, np.ndarray]]:
    """Heights less a cubic or a line, their noise, and what each kind makes of them."""
    degree = 3 if len(node_mm) >= 6 else 1
    q = null_space(np.vander((node_mm - node_mm[0]) / np.ptp(node_mm), degree + 1).T)
    shapes = {kind: q.T @ _growth(kind, np.abs(np.subtract.outer(node_mm, node_mm))) @ q for kind in KINDS}
    return q.T @ height_um, q.T @ covariance_um2 @ q, shapes


def _log_density(
    left: np.ndarray,
    noise: np.ndarray,
    shapes: Mapping[float, np.ndarray],
    ways: Sequence[Mapping[float, float]],
    squares: np.ndarray,
) -> np.ndarray:
    """Of what is left, way by way and size by size."""
    found = np.zeros((len(ways), len(squares)))
    for row, way in zip(found, ways, strict=True):
        shape = sum(part * shapes[kind] for kind, part in way.items())
        total = noise + squares[:, None, None] * shape
        away = np.linalg.solve(total, np.tile(left[:, None], (len(squares), 1, 1)))[..., 0] @ left
        row[:] = -(away + np.linalg.slogdet(total)[1]) / 2
    return found


def _mean_squares(likely: np.ndarray, density: np.ndarray, squares: np.ndarray) -> np.ndarray:
    """Of each kind in a gap that may be as the way, rougher than it, or of another kind and rougher."""
    found = np.zeros(len(density))
    for i, shares in enumerate(likely.T):
        within = slice(i, i + 1 + len(CHANCE))
        here = np.exp(density[:, within] - density[:, within].max())
        others = SELDOM[1] / len(density) * CHANCE * here[:, 1:]
        for m, share in enumerate(shares):
            cases = np.zeros(here.shape)
            cases[:, 1:] = others
            cases[m, 0] += (1 - sum(SELDOM)) * here[m, 0]
            cases[m, 1:] += SELDOM[0] * CHANCE * here[m, 1:]
            found += share * (cases @ squares[within]) / cases.sum()
    return found


def _weights(node_mm: np.ndarray, at_mm: float) -> np.ndarray:
    """Of the nodes in the cubic through the four about a place; in the line through two where that is all."""
    right = int(np.searchsorted(node_mm, at_mm))
    many = len(node_mm) >= 6 and 0 < right < len(node_mm)
    count = 4 if many else 2
    first = min(max(right - count // 2, 0), len(node_mm) - count)
    near = node_mm[first : first + count] - at_mm
    weights = np.zeros(len(node_mm))
    weights[first : first + count] = np.linalg.solve(np.vander(near).T, np.eye(count)[-1])
    return weights


def _growth(kind: float, apart_mm: np.ndarray) -> np.ndarray:
    """-|d|^2H, d^2 ln d or |d|^2H of distances in units of 100 mm, rounded off by half a millimetre."""
    d = np.sqrt(apart_mm**2 + FOOT_MM**2) / HUNDRED_MM
    if kind == 1.0:
        return d**2 * np.log(d)
    return (-1.0 if kind < 1 else 1.0) * d ** (2 * kind)
