"""A figure that was told, beside the truth: by how many standard uncertainties it is off."""

import numpy as np

from tests.told_answers.inventing import ACROSS_MM, UM_PER_M, Told

MOST_U = 4.5

GAUGE_MM = ACROSS_MM["vee"] - ACROSS_MM["front"]
ROUNDING = 1e-6
Figure = tuple[str, np.ndarray]
"""What was told, and its errors in standard uncertainties."""


def ratio(value: np.ndarray | float, truth: np.ndarray | float, expanded: np.ndarray | float) -> np.ndarray:
    """Errors in standard uncertainties."""
    return np.atleast_1d(2 * (np.asarray(value) - truth) / np.maximum(np.asarray(expanded), ROUNDING))


def outside(interval: tuple[float, float], truth: float) -> np.ndarray:
    """0 within the interval; at its ends 2, on as if it were as wide as four standard uncertainties."""
    low, high = interval
    off = max(low - truth, truth - high, 0.0)
    return np.atleast_1d(0.0 if off == 0.0 else 2.0 + 4.0 * off / max(high - low, ROUNDING))


def carried(told: Told, name: str, x: np.ndarray, apart: float) -> np.ndarray:
    """Mean of the heights under both ends of a carrier, µm."""
    return (told.heights[name](x - apart / 2) + told.heights[name](x + apart / 2)) / 2


def roll_of(told: Told, x: np.ndarray, apart: float = 0.0) -> np.ndarray:
    """How much the vee rises over the front, µm/m; the carriage's where it bears on its ends so far apart."""
    return (carried(told, "vee", x, apart) - carried(told, "front", x, apart)) / GAUGE_MM * UM_PER_M
