"""What comes between the perfect reading and the one that is sent."""

import numpy as np


def lagged(value: np.ndarray, step_s: float, lag_s: float) -> np.ndarray:
    """First-order damping: the reading runs after the truth with time constant `lag_s`.

    The truth is taken as straight between two samples, for which the recursion is exact.

    Examples
    --------
    >>> step = np.r_[0.0, np.ones(300)]
    >>> bool(abs(lagged(step, 0.01, 1.0)[101] - (1 - np.exp(-1))) < 0.005)
    True
    """
    if lag_s <= 0:
        return value.copy()
    keep = float(np.exp(-step_s / lag_s))
    ramp = lag_s / step_s * (1 - keep)
    old, new = (ramp - keep), (1 - ramp)
    taken = old * value[:-1] + new * value[1:]
    result = np.empty(len(value))
    result[0] = last = float(value[0])
    for index, more in enumerate(taken.tolist(), start=1):
        last = keep * last + more
        result[index] = last
    return result


def flicker(rng: np.random.Generator, count: int, step_s: float, rms: float) -> np.ndarray:
    """Noise whose power falls as 1/frequency: equal parts of octave-spaced wanderings.

    Time constants run from 0.5 s to some ten minutes; no mean of a dwell averages it away.
    """
    if rms == 0 or count == 0:
        return np.zeros(count)
    constants_s = 0.5 * 2.0 ** np.arange(11)
    each = rms / np.sqrt(len(constants_s))
    return np.sum([_wandering(rng, count, step_s / constant, each) for constant in constants_s], axis=0)


def _wandering(rng: np.random.Generator, count: int, steps: float, rms: float) -> np.ndarray:
    keep = float(np.exp(-steps))
    kicks = rng.normal(0.0, rms * np.sqrt(1 - keep**2), count)
    kicks[0] = rng.normal(0.0, rms)
    last, result = 0.0, np.empty(count)
    for index, kick in enumerate(kicks.tolist()):
        last = keep * last + kick
        result[index] = last
    return result


def quantised(value: np.ndarray, step: float) -> np.ndarray:
    """Rounded to what the display can show.

    Examples
    --------
    >>> quantised(np.array([0.26, -0.24]), 0.5)
    array([ 0.5, -0. ])
    """
    return np.round(value / step) * step if step > 0 else value


def handling(rng: np.random.Generator, is_handled: np.ndarray, step_s: float, rms: float) -> np.ndarray:
    """The swings of an instrument in the hand, none while it stands."""
    if rms == 0 or not is_handled.any():
        return np.zeros(len(is_handled))
    return np.where(is_handled, _wandering(rng, len(is_handled), step_s / 0.15, rms), 0.0)
