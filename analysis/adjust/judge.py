"""Who says how rough a line of heights is: its own heights, or what is known of the ways already."""

from collections.abc import Callable, Sequence

import numpy as np

from analysis.adjust.between_nodes import Roughness, judged
from analysis.adjust.nodes import Key

Judge = Callable[[Key, np.ndarray, np.ndarray, np.ndarray, Sequence[float]], Roughness | None]
"""What the way is like: of a line, its nodes, their heights and covariance, and the joints of the bed."""


def judged_by_heights(
    key: Key, node_mm: np.ndarray, height: np.ndarray, covariance: np.ndarray, joints_mm: Sequence[float]
) -> Roughness | None:
    """How rough a line is, from its own heights."""
    return judged(node_mm, height, covariance, joints_mm)
