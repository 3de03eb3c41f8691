"""How well a mean of samples is known when neighbouring samples resemble each other."""

from collections.abc import Sequence

import numpy as np


def noise_of(samples: np.ndarray, apart: int = 1) -> float:
    """Standard deviation of the samples about their smooth course, from second differences.

    A median: moves and their accelerations do not count.  `apart` says how many samples lie between two
    whose noise is independent; 0 comes back where there are too few.

    Examples
    --------
    >>> samples = np.arange(4000) * 0.1 + np.random.default_rng(1).normal(size=4000)
    >>> bool(0.9 < noise_of(samples) < 1.1)
    True
    """
    if len(samples) < 2 * apart + 1:
        return 0.0
    bend = samples[: -2 * apart] - 2 * samples[apart:-apart]
    bend += samples[2 * apart :]
    np.abs(bend, out=bend)
    return float(1.4826 * np.median(bend, overwrite_input=True) / np.sqrt(6))


def autocorrelation_time(residuals: Sequence[np.ndarray]) -> float:
    """Samples that count as one, from stretches of the same stream pooled together.

    1 + 2·Σρ_k, summed until the lag exceeds five times the sum (automatic windowing);
    at least 1.  Each stretch has its own mean taken off.  Slow drift longer than a
    stretch cannot be seen in it: the instrument's stated uncertainty must cover that.

    Examples
    --------
    >>> white = np.random.default_rng(1).normal(size=4000)
    >>> bool(0.9 < autocorrelation_time([white]) < 1.2)
    True
    """
    stretches = [part - part.mean() for part in residuals if len(part) >= 4]
    power = sum(float(part @ part) for part in stretches)
    if power <= 0:
        return 1.0
    total, lag, longest = 1.0, 1, max(len(part) for part in stretches)
    while lag < longest and lag < 5 * total:
        products = sum(float(part[:-lag] @ part[lag:]) for part in stretches if len(part) > lag)
        total += 2 * products / power
        lag += 1
    return max(1.0, total)


def standard_error(samples: np.ndarray, correlated_samples: float, deviation: float | None = None) -> float:
    """Standard error of the mean of `samples`, of which `correlated_samples` count as one.

    Not s/√n: neighbouring samples of a level are alike.  `deviation` replaces the
    samples' own where there are too few to tell.

    Examples
    --------
    >>> round(standard_error(np.array([1, 2, 3, 4.0]), 2.0), 4)
    0.9129
    """
    count = len(samples)
    if deviation is None:
        deviation = float(np.std(samples, ddof=1)) if count > 1 else 0.0
    return deviation * float(np.sqrt(min(1.0, correlated_samples / max(count, 1))))
