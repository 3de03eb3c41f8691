"""A plain dense weighted least squares of all runs of a survey.

The rows are found by asking: one unit of each unknown in turn is put into the bed, and
what that changes of the readings is its column.  A singular value decomposition of the
whitened rows gives estimate, covariance and what nothing determines.  Nothing is shared
with the program under test.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from tests.second_estimator.readings import (
    Description,
    Run,
    World,
    bend_of_a_kelvin_um,
    line_counts,
    reading,
    sag_um,
)

Key = tuple[str, ...]
Owner = tuple[str, str]
"""Kind and owner of a line of heights."""
FREE_BELOW = 1e-9
"""Singular values (of columns of length one) below this are none."""
KNOWN_WITHIN = 1e-7
DRIFTS_BY = 3.0
"""Of what its readings are sure to, over a run: a zero of several runs of which none tells the drift."""
SAG_IS_GOOD_TO = 0.10
"""Relative, of a sag from handbook constants and a plain rectangular section."""


@dataclass(frozen=True, eq=False)
class Answer:
    """Least-squares estimate of every unknown."""

    columns: dict[Key, int]
    """(kind, owner, station) of heights, and further unknowns, to their place."""
    estimate: np.ndarray
    covariance: np.ndarray
    free: np.ndarray
    """Directions that no reading notices, (n, k), of columns scaled to length one."""
    length: np.ndarray
    redundancy: int
    chi_square: float

    @property
    def heights(self) -> list[Key]:
        """The heights that some reading depends on."""
        return [key for key in self.columns if key[0] in ("height", "side", "edge")]

    def is_known(self, functions: np.ndarray) -> np.ndarray:
        """Which rows of `functions` (k, n) the readings determine."""
        scaled = functions / self.length
        size = np.linalg.norm(scaled, axis=1)
        return np.linalg.norm(scaled @ self.free, axis=1) <= KNOWN_WITHIN * np.maximum(size, 1e-300)


def place(kind: str, owner: str, station_mm: float) -> Key:
    """Key of one height."""
    return kind, owner, f"{station_mm:.3f}"


@dataclass(frozen=True)
class Bow:
    """A bow of stated size that nobody can tell from the way: the bed may have bent between some runs."""

    runs: tuple[int, ...]
    sd_um: float


def adjust(runs: Sequence[Run], bed: Description, bows: Sequence[Bow] = ()) -> Answer:
    """Heights of everything that the runs say something about.

    Unknowns: heights at stations (µm), a zero per run that shares none, height and tilt of
    an edge, wire or line as it lay, a drift where a run was made there and back without
    turning, and with their stated sizes scale and base of an instrument, a sag's doubt, what a
    zero may have drifted by that nobody can tell, and the bows by which the bed may have bent
    between runs.
    """
    return solved(*rows_of(runs, bed, bows))


def rows_of(
    runs: Sequence[Run],
    bed: Description,
    bows: Sequence[Bow] = (),
    places: Mapping[Owner, np.ndarray] | None = None,
) -> tuple[list[Key], np.ndarray, np.ndarray]:
    """All unknowns, their whitened rows, and what these should come to.

    `places`: where on each line heights are asked for, in place of the stations of the bed.
    """
    heights, matrix, still = _height_columns(runs, bed, places or {})
    columns: dict[Key, list[np.ndarray]] = {}
    prior: dict[Key, float] = {}
    for index, run in enumerate(runs):
        for key, column, sd in (*_other_unknowns(run, runs, bed), *_bow(run, runs, bed, bows)):
            whole = columns.setdefault(key, [np.zeros(len(each.station_mm)) for each in runs])
            whole[index] = column
            if sd is not None:
                prior[key] = sd
    keys = [*heights, *columns]
    rows = np.hstack([matrix, *(np.concatenate(each)[:, None] for each in columns.values())])
    value = np.concatenate([run.reading for run in runs]) - still
    root = np.linalg.cholesky(_block_diagonal([covariance(run, bed) for run in runs]))
    rows, value = np.linalg.solve(root, rows), np.linalg.solve(root, value)
    stated = np.zeros((len(prior), len(keys)))
    for index, (key, sd) in enumerate(prior.items()):
        stated[index, keys.index(key)] = 1 / sd
    return keys, np.vstack([rows, stated]), np.concatenate([value, np.zeros(len(prior))])


def solved(keys: list[Key], rows: np.ndarray, value: np.ndarray) -> Answer:
    """Least squares of whitened rows by their singular values."""
    length = np.linalg.norm(rows, axis=0)
    u, s, vt = np.linalg.svd(rows / length, full_matrices=True)
    rank = int(np.count_nonzero(s > FREE_BELOW))
    inverse = vt[:rank].T / s[:rank]
    estimate = inverse @ (u[:, :rank].T @ value) / length
    left = value - rows @ estimate
    return Answer(
        {key: index for index, key in enumerate(keys)},
        estimate,
        inverse @ inverse.T / np.outer(length, length),
        vt[rank:].T,
        length,
        len(value) - rank,
        float(left @ left),
    )


def is_told(edge: str, runs: Sequence[Run]) -> bool:
    """Whether a straightedge was read both ways over; else it is taken as straight."""
    return len({run.turned_over for run in runs if run.straight == f"straightedge:{edge}"}) == 2


def _height_columns(
    runs: Sequence[Run], bed: Description, places: Mapping[Owner, np.ndarray]
) -> tuple[list[Key], np.ndarray, np.ndarray]:
    """Rows in the heights, found by lifting one after the other; and what flat beds would read."""
    owners = [("height", name) for name in bed.tables["faces"]]
    owners += [("side", name) for name, face in bed.tables["faces"].items() if face.get("shape") == "vee"]
    owners += [("edge", name) for name in bed.tables.get("straightedges", {}) if is_told(name, runs)]
    flat = [reading(run, bed, _flat) for run in runs]
    involved = [run.names | set(bed.ways() if "carriage" in run.names else ()) for run in runs]
    keys, columns = [], []
    for kind, owner in owners:
        for station in places.get((kind, owner), bed.station_mm):
            one = _lifted(kind, owner, float(station))
            column = np.concatenate([
                reading(run, bed, one) - still if owner in names else np.zeros(len(still))
                for run, still, names in zip(runs, flat, involved, strict=True)
            ])  # fmt: skip
            if np.any(column):
                keys.append(place(kind, owner, station))
                columns.append(column)
    return keys, np.array(columns).T, np.concatenate(flat)


def _flat(kind: str, owner: str, x: np.ndarray) -> np.ndarray:
    return np.zeros(np.shape(x))


def _lifted(kind: str, owner: str, station_mm: float) -> World:
    def world(asked: str, of: str, x: np.ndarray) -> np.ndarray:
        if (asked, of) != (kind, owner):
            return np.zeros(np.shape(x))
        return 1.0 * (np.abs(np.asarray(x) - station_mm) < 1e-6)

    return world


def _other_unknowns(
    run: Run, runs: Sequence[Run], bed: Description
) -> list[tuple[Key, np.ndarray, float | None]]:
    ones, root, instrument = np.ones(len(run.station_mm)), str(root_of(run, runs)), bed.instrument(run)
    found: list[tuple[Key, np.ndarray, float | None]] = [(("zero", root), ones, None)]
    if run.straight is not None:
        for way, counts in zip(("rear", "up"), line_counts(run, bed), strict=True):
            if counts:  # where it stands and how it is tilted
                found.append((("stands", root, way), counts * ones, None))
                found.append((("lie", root, way), counts * run.station_mm / 1000, None))
        sag = reading(run, bed, _flat)
        if run.straight.startswith("straightedge:") and np.any(sag_um(run, bed)) and np.any(sag):
            found.append((("sag", run.straight), sag, SAG_IS_GOOD_TO))
        found += _warmth(run, bed, sag)
    drift = drift_key(run, runs)
    if drift is not None:
        found.append((drift, taken_at(run, runs), None))
    else:
        found += _may_have_drifted(run, runs, bed)
    base = instrument.get("base_uncertainty_mm", 0) / instrument.get("base_mm", 1)
    scale = np.hypot(instrument.get("scale_uncertainty", 0), base)
    if scale:
        found.append((("scale", run.instrument), run.reading, float(scale)))
    return found


def _warmth(run: Run, bed: Description, still: np.ndarray) -> list[tuple[Key, np.ndarray, float | None]]:
    """What 1 °C from side to side of its edge, either way, changes of the readings."""
    name = run.straight.removeprefix("straightedge:")
    edge = bed.tables.get("straightedges", {}).get(name, {})
    if "warmth_uncertainty_k" not in edge:
        return []

    def warm(way: str) -> World:
        return lambda kind, owner, x: (
            bend_of_a_kelvin_um(edge, x) if (kind, owner) == (way, name) else np.zeros(np.shape(x))
        )

    each = [(way, reading(run, bed, warm(way)) - still) for way in ("warm up", "warm rear")]
    return [((way, name), column, edge["warmth_uncertainty_k"]) for way, column in each if np.any(column)]


def _may_have_drifted(
    run: Run, runs: Sequence[Run], bed: Description
) -> list[tuple[Key, np.ndarray, float | None]]:
    """A zero of several runs, or of an instrument seen to drift elsewhere: a rate of its own, and moves."""
    together = [each for each in runs if root_of(each, runs) == root_of(run, runs)]
    quantity = bed.instrument(run)["quantity"]
    seen = _drift_seen(run.instrument, runs, bed) if quantity in ("slope", "roll") else 0.0
    sd = seen
    if len(together) > 1:
        sd = max(sd, DRIFTS_BY * float(np.sqrt(np.median(np.diag(covariance(run, bed))))))
    lasted = float(np.median([np.ptp(_within(each)) for each in together]))
    found: list[tuple[Key, np.ndarray, float | None]] = []
    began = float(np.min(taken_at(run, runs) - _within(run)))
    is_rate = sd > 0 and lasted > 0 and (quantity == "slope" or seen > 0)
    if is_rate:
        found.append((("rate", str(root_of(run, runs))), taken_at(run, runs), sd / lasted))
    if run.number > min(each.number for each in together):
        times = 1.0 if is_rate or lasted == 0 else max(1.0, began / lasted)
        found.append((("moved", str(run.number)), np.ones(len(run.station_mm)), times * sd))
    return found


def _drift_seen(instrument: str, runs: Sequence[Run], bed: Description) -> float:
    """Root of the mean square drift over a run, less noise, by all pairs of runs there and back."""
    squares = []
    for one in runs:
        for other in runs:
            pair = (one.direction, other.direction) == ("forward", "reverse")
            if pair and one.instrument == instrument and _set_up(one) == _set_up(other):
                change, variance = _drift_between(one, other, bed)
                squares.append(max(change**2 - variance, 0.0))
    return float(np.sqrt(np.mean(squares))) if squares else 0.0


def _drift_between(one: Run, other: Run, bed: Description) -> tuple[float, float]:
    """Drift over the first run by a weighted line through differences at the stations of both; variance."""
    pairs = [
        (int(np.flatnonzero(one.station_mm == mm)[0]), int(np.flatnonzero(other.station_mm == mm)[0]))
        for mm in sorted(set(one.station_mm) & set(other.station_mm))
    ]
    mine, theirs = np.array(pairs, int).reshape(-1, 2).T
    design = np.column_stack([np.ones(len(mine)), _within(one)[mine] - _within(other)[theirs]])
    if len(mine) < 3 or np.ptp(design[:, 1]) == 0:
        return 0.0, 0.0
    variance = np.diag(covariance(one, bed))[mine] + np.diag(covariance(other, bed))[theirs]
    inverse = np.linalg.inv(design.T @ (design / variance[:, None]))
    rate = (inverse @ design.T @ ((one.reading[mine] - other.reading[theirs]) / variance))[1]
    lasted = float(np.ptp(_within(one)))
    return float(rate) * lasted, float(inverse[1, 1]) * lasted**2


def _within(run: Run) -> np.ndarray:
    """When each reading was taken from the run's own start."""
    return in_order(run) if run.time_s is None else run.time_s


def _bow(
    run: Run, runs: Sequence[Run], bed: Description, bows: Sequence[Bow]
) -> list[tuple[Key, np.ndarray, float | None]]:
    """What a parabola, 1 µm high between the outermost feet of its runs, changes of the readings."""
    found: list[tuple[Key, np.ndarray, float | None]] = []
    for bow in bows:
        if run.number in bow.runs:
            half_mm = bed.instrument(run)["base_mm"] / 2
            at = np.concatenate([each.station_mm for each in runs if each.number in bow.runs])
            low, high = at.min() - half_mm, at.max() + half_mm
            change = reading(run, bed, _bowed(run.face, low, high)) - reading(run, bed, _flat)
            found.append((("bow", *map(str, bow.runs)), change, bow.sd_um))
    return found


def _bowed(face: str | None, low_mm: float, high_mm: float) -> World:
    def world(kind: str, owner: str, x: np.ndarray) -> np.ndarray:
        if (kind, owner) != ("height", face):
            return np.zeros(np.shape(x))
        return 1.0 - ((2 * np.asarray(x) - low_mm - high_mm) / (high_mm - low_mm)) ** 2

    return world


def root_of(run: Run, runs: Sequence[Run]) -> int:
    """Number of the run whose zero it has in the end."""
    while run.same_zero_as is not None:
        run = next(each for each in runs if each.number == run.same_zero_as)
    return run.number


def _set_up(run: Run) -> Key:
    parts = (run.face, run.front, run.rear, run.other, run.reference, run.turned)
    return "drift", run.instrument, *map(str, parts)


def drift_key(run: Run, runs: Sequence[Run]) -> Key | None:
    """Runs of one set-up, turned alike, drift at one rate, which shows where they went both ways.

    A run one way only drifts on as the first such runs did whose zero it has.
    """
    both_ways = [
        each
        for each in sorted(runs, key=lambda each: each.number)
        if len({other.direction for other in runs if _set_up(other) == _set_up(each)}) == 2
    ]
    if any(_set_up(each) == _set_up(run) for each in both_ways):
        return _set_up(run)
    same_zero = [each for each in both_ways if root_of(each, runs) == root_of(run, runs)]
    return _set_up(same_zero[0]) if same_zero else None


def taken_at(run: Run, runs: Sequence[Run]) -> np.ndarray:
    """When each reading was taken, s by the clock or in readings, from the first with the same zero."""
    together = [each for each in runs if root_of(each, runs) == root_of(run, runs)]
    if run.time_s is not None:
        began = datetime.fromisoformat(run.created_utc) - datetime.fromisoformat(together[0].created_utc)
        return began.total_seconds() + run.time_s
    return in_order(run) + float(sum(len(each.station_mm) for each in together if each.number < run.number))


def in_order(run: Run) -> np.ndarray:
    """Place of each reading in the order of taking: all first visits as the run went, then all second."""
    along = run.station_mm if run.direction == "forward" else -run.station_mm
    again = np.ones(len(along)) if run.repeat is None else run.repeat
    return np.argsort(np.lexsort((along, again)))


def covariance(run: Run, bed: Description) -> np.ndarray:
    """Of a run's readings: what the instrument is sure to is new at each station, the rest at each visit."""
    shared, own = stated_variances(run, bed)
    same = run.station_mm[:, None] == run.station_mm[None, :]
    repeated = same.sum(axis=1) > 1
    if np.any(repeated):
        means = same @ run.reading / same.sum(axis=1)
        seen = np.sum((run.reading - means) ** 2) / (len(means) - len(np.unique(run.station_mm)))
        own = np.where(repeated, max(own, seen), own)
    return shared * same + np.diag(np.broadcast_to(own, len(same)))


def stated_variances(run: Run, bed: Description) -> tuple[float, float]:
    """Variance of the instrument at a station, and of one visit (scatter and seating)."""
    instrument = bed.instrument(run)
    seat = instrument.get("seating_um", 0)
    if instrument["quantity"] == "slope":
        seat *= 2**0.5 * 1000 / instrument["base_mm"]
    elif instrument["quantity"] == "roll":
        ends = bed.ways() if "carriage" in (run.face, run.reference) else (run.front, run.rear)
        seat *= 2**0.5 * 1000 / abs(bed.gauge_mm(*ends))
    return instrument["standard_uncertainty"] ** 2, run.scatter**2 + seat**2


def _block_diagonal(blocks: Sequence[np.ndarray]) -> np.ndarray:
    size = sum(len(block) for block in blocks)
    whole, first = np.zeros((size, size)), 0
    for block in blocks:
        whole[first : first + len(block), first : first + len(block)] = block
        first += len(block)
    return whole
