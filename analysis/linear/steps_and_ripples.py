"""Steps and ripples on a way that is otherwise smooth, found against noise.

Nothing sought: h = cubic + bends + errors of the map (`smooth_way`).  A step between two neighbouring
stations and a wave of any length from 2.2 station pitches to a third of the length are each tried,

    T² = min over q of -2 ln L(nothing sought) - min over q of -2 ln L(with S)

which is the squared estimate over its variance where the way does not bend (q = 0).  The largest T of
each kind is held against what draws of smooth ways show, each q as often as it is likely beside the
strongest that was tried: each kind raises an alarm on one smooth way in two hundred, both on one in a
hundred.  A single place that stands off, and a kink, can look like a step: where either nearby
explains more, it is not called one.  What was found is taken out and the rest is searched again.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquire.model.errors import AnalysisError
from analysis.linear.profile import error_draws
from analysis.linear.smooth_way import (
    UNIT_MM,
    Sought,
    Whitened,
    bending_covariance,
    estimate_over_sizes,
    polynomial,
    size_shares,
    sizes,
    whitened,
)

CHANCE = 0.01
"""Smooth ways that raise an alarm of any kind."""
SHORTEST_PITCHES = 2.2
LONGEST_SHARE = 1 / 3
PER_WAVE = 4
"""Wavelengths tried for each further wave that fits into the length."""
LEAST_STATIONS = 9
LEAST_A_SIDE = 2
MOST_STATIONS = 400
LEAST_ALARM = 3.0
"""No alarm is lower: below it none needs to be worked out. By simulation with 9 stations, 3.4."""
LOST = 1e-9
"""Of the largest: what is tried and is there already has no more left than this."""
MOST_FOUND = 5
CUBIC = 3
NEAR = 2
"""Stations: how far from a step something else may be that explains it."""


@dataclass(frozen=True)
class Feature:
    """One step or ripple that noise does not explain."""

    kind: str
    """step | ripple"""
    from_mm: float
    to_mm: float
    """Of a step the stations on either side; of a ripple the first and the last that were searched."""
    height_um: float
    """Of a step: + up towards the far end; of a ripple: from crest to trough."""
    standard_uncertainty_um: float
    wavelength_mm: float | None
    """Of a ripple."""
    times: float
    """The T that it was found by."""
    crest_mm: float | None = None
    """Of a ripple: the first crest."""
    rows: NDArray[np.float64] | None = None
    """Of a step: what of each height went into it, shape (n,)."""


@dataclass(frozen=True, eq=False)
class Tried:
    """One kind of what is tried: its columns, in groups that belong together."""

    columns: NDArray[np.float64]
    """Shape (n, tried, 1 or 2)."""

    def strength(self, white: Whitened) -> NDArray[np.float64]:
        """What each takes off the sum of squares, shape (tried, draws)."""
        n, tried, width = self.columns.shape
        made = white.of(self.columns.reshape(n, tried * width)).reshape(n, tried, width)
        gram = np.einsum("nti,ntj->tij", made, made)
        size = np.linalg.eigvalsh(gram)
        lost = size[:, 0] < LOST * size.max(initial=0.0)
        gram[lost] = np.eye(width)
        along = np.tensordot(made, white.heights, axes=(0, 0))
        along[lost] = 0.0
        # one or two columns each, and many draws: inverses are hundreds of times fewer than right sides
        return np.asarray(np.sum(along * (np.linalg.inv(gram) @ along), axis=1))


def strongest(
    kinds: Sequence[Tried],
    station_mm: NDArray,
    covariance: NDArray,
    heights: NDArray,
    free: NDArray,
    q: Sequence[float],
) -> list[NDArray[np.float64]]:
    """T of everything tried, each at its likeliest q: an array (tried, draws) for each kind."""
    plain = np.full(heights.shape[1], np.inf)
    best = [np.full((kind.columns.shape[1], heights.shape[1]), np.inf) for kind in kinds]
    for white in whitened(station_mm, covariance, heights, free, q):
        cost = white.log_determinant + np.sum(white.heights**2, axis=0)
        np.minimum(plain, cost, out=plain)
        for kind, least in zip(kinds, best, strict=True):
            np.minimum(least, cost - kind.strength(white), out=least)
    return [np.sqrt(np.clip(plain - least, 0.0, None)) for least in best]


def step_columns(station_mm: NDArray) -> Tried:
    """A step in every gap with two stations at least on either side."""
    gaps = np.arange(LEAST_A_SIDE, station_mm.size - LEAST_A_SIDE + 1)
    return Tried((np.arange(station_mm.size)[:, None] >= gaps).astype(float)[:, :, None])


def wavelengths_mm(station_mm: NDArray, blind_mm: Sequence[float] = ()) -> NDArray[np.float64]:
    """Lengths of waves to try, the longest first, none that the instrument is blind to."""
    length, pitch = float(np.ptp(station_mm)), float(np.median(np.diff(station_mm)))
    most = length / (SHORTEST_PITCHES * pitch)
    counts = np.arange(1 / LONGEST_SHARE, most + 1e-9, 1 / PER_WAVE)
    found = length / counts
    for blind in blind_mm:
        found = found[np.abs(found / blind - 1) > 0.05]
    return np.asarray(found)


def wave_columns(station_mm: NDArray, wavelength_mm: NDArray) -> Tried:
    """Sine and cosine of each length."""
    phase = 2 * np.pi * (station_mm - station_mm[0])[:, None] / wavelength_mm
    return Tried(np.stack([np.cos(phase), np.sin(phase)], axis=2))


def least_stations(known: int) -> int:
    """Of a way that so many columns are known to be in."""
    return LEAST_STATIONS + known


def find_features(
    station_mm: NDArray,
    height_um: NDArray,
    covariance: NDArray,
    *,
    known: NDArray | None = None,
    blind_mm: Sequence[float] = (),
) -> tuple[Feature, ...]:
    """Steps and ripples that noise does not explain, the clearest first.

    Parameters
    ----------
    station_mm, height_um : array, shape (n,)
    covariance : array, shape (n, n)
        Of the heights, which may be known up to a line alone.
    known : array, shape (n, k), optional
        What is there anyway: steps and kinks of declared joints.
    blind_mm : sequence of float
        Ripples that the readings cannot tell.

    Raises
    ------
    AnalysisError
        For fewer than nine stations and one for each column of what is there anyway, or more than
        four hundred.

    Examples
    --------
    A step of 8 between two stations, among errors of 1:

    >>> x = np.arange(0, 1601, 50.0)
    >>> noise = np.random.default_rng(1).normal(0, 1, x.size)
    >>> found = find_features(x, noise + np.where(x > 720, -8.0, 0.0), np.eye(x.size))
    >>> [(each.kind, each.from_mm, each.to_mm, abs(each.height_um + 8) < 1.5) for each in found]
    [('step', 700.0, 750.0, True)]
    """
    free = np.hstack([polynomial(station_mm, CUBIC), *([] if known is None else [known])])
    least = least_stations(free.shape[1] - CUBIC - 1)
    if not least <= station_mm.size <= MOST_STATIONS:
        raise AnalysisError("steps and ripples", f"{station_mm.size} heights", f"{least} to {MOST_STATIONS}")
    found: list[Feature] = []
    # with fewer figures left than that of a cubic leaves, a step passes for a ripple and a ripple for steps
    while len(found) < MOST_FOUND and station_mm.size >= least_stations(free.shape[1] - CUBIC - 1):
        best = _clearest(station_mm, height_um, covariance, free, blind_mm)
        if best is None:
            break
        feature, columns = best
        found.append(feature)
        free = np.hstack([free, columns])
    return tuple(found)


def _clearest(
    x: NDArray, height_um: NDArray, covariance: NDArray, free: NDArray, blind_mm: Sequence[float]
) -> tuple[Feature, NDArray] | None:
    """The step or ripple that exceeds its alarm by most, and its columns; None where none does."""
    lengths = wavelengths_mm(x, blind_mm)
    kinds, rivals = [step_columns(x), wave_columns(x, lengths)], [place_columns(x), kink_columns(x)]
    q = sizes(x, covariance).tolist()
    steps, waves, places, kinks = (
        each[:, 0] for each in strongest([*kinds, *rivals], x, covariance, height_um[:, None], free, q)
    )
    steps = np.where(_explained(steps, places, kinks), 0.0, steps)
    if max(float(steps.max(initial=0.0)), float(waves.max(initial=0.0))) < LEAST_ALARM:
        return None
    # beside what is tried, for a step that is there would pass for bends, and raise its own alarm
    beside = _columns_of(kinds, (steps, waves))
    share = size_shares(x, covariance, height_um, np.hstack([free, beside]), q)
    level = alarms(strongest(kinds, x, covariance, smooth_draws(x, covariance, q, share), free, q))
    over = [
        (float(times.max(initial=0.0)) / alarm, at)
        for at, (times, alarm) in enumerate(zip((steps, waves), level, strict=True))
    ]
    excess, kind = max(over)
    if excess <= 1.0:
        return None
    times = (steps, waves)[kind]
    tried = int(np.argmax(times))
    columns = kinds[kind].columns[:, tried]
    also = np.hstack([columns, free[:, CUBIC + 1 :]])
    made = estimate_over_sizes(x, height_um, covariance, also, degree=CUBIC)
    if kind == 0:
        return _step(x, tried + LEAST_A_SIDE, made, covariance, float(times[tried])), columns
    return _ripple(x, float(lengths[tried]), made, covariance, float(times[tried])), columns


def _step(x: NDArray, gap: int, made: Sought, covariance: NDArray, times: float) -> Feature:
    doubt = float(np.sqrt(made.covariance(covariance)[0, 0]))
    ends = float(x[gap - 1]), float(x[gap])
    return Feature("step", *ends, float(made.value[0]), doubt, None, times, rows=made.rows[0])


def _ripple(x: NDArray, length_mm: float, made: Sought, covariance: NDArray, times: float) -> Feature:
    cosine, sine = made.value[:2]
    size = float(np.hypot(cosine, sine))
    along = np.array([cosine, sine]) / max(size, 1e-12)
    doubt = float(np.sqrt(along @ made.covariance(covariance)[:2, :2] @ along))
    crest = float(x[0] + length_mm * (np.arctan2(sine, cosine) / (2 * np.pi) % 1.0))
    return Feature("ripple", float(x[0]), float(x[-1]), 2 * size, 2 * doubt, length_mm, times, crest_mm=crest)


def _columns_of(kinds: Sequence[Tried], times: Sequence[NDArray]) -> NDArray[np.float64]:
    """Columns of the strongest of all that was tried, shape (n, 1 or 2)."""
    kind = max(range(len(kinds)), key=lambda k: float(times[k].max(initial=0.0)))
    return kinds[kind].columns[:, int(np.argmax(times[kind]))]


def _explained(steps: NDArray, places: NDArray, kinks: NDArray) -> NDArray[np.bool_]:
    """Steps near which a single place or a kink explains more."""
    found = np.zeros(steps.size, bool)
    for at in range(steps.size):
        gap = at + LEAST_A_SIDE
        near = places[max(gap - NEAR, 0) : gap + NEAR], kinks[max(gap - NEAR - 1, 0) : gap + NEAR]
        found[at] = max(float(each.max(initial=0.0)) for each in near) > steps[at]
    return found


def place_columns(station_mm: NDArray) -> Tried:
    """A single station that stands off."""
    return Tried(np.eye(station_mm.size)[:, :, None])


def kink_columns(station_mm: NDArray) -> Tried:
    """A kink at each inner station."""
    bent = np.clip(station_mm[:, None] - station_mm[None, 1:-1], 0.0, None)
    return Tried(bent[:, :, None] / UNIT_MM)


def smooth_draws(
    station_mm: NDArray, covariance: NDArray, q: Sequence[float], share: NDArray
) -> NDArray[np.float64]:
    """Heights of smooth ways as they are read, shape (n, draws), each q as often as its share."""
    errors, bends = error_draws(covariance), error_draws(bending_covariance(station_mm))[::-1]
    last = np.round(np.cumsum(share) * len(errors)).astype(int)
    size = np.repeat(np.asarray(q), np.diff(last, prepend=0))
    # the draws of errors and bends are the same numbers: turned round they go together by chance alone
    return np.asarray((errors + np.sqrt(size)[:, None] * bends).T)


def alarms(times: Sequence[NDArray]) -> list[float]:
    """What the largest T of each kind exceeds in a share CHANCE / kinds of the draws.

    Where none of a kind can be told from what is there anyway T is always 0, and no alarm is raised.
    """
    level = 1 - CHANCE / len(times)
    found = [float(np.quantile(each.max(axis=0), level)) if each.size else 0.0 for each in times]
    return [alarm if alarm > 0.0 else np.inf for alarm in found]
