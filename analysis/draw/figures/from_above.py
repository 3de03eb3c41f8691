"""The bed from above: its outline, station 0 on the left, a face and the places where it is read."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from acquire.model.bed import Bed
from analysis.draw.figures.looks import FAINT, INK, SOFT
from analysis.draw.figures.section import places_across

EDGE = 2.5
"""Between the outline and the outermost ways."""
NAMES_PT = 7
"""What the ends and the front are called."""


@dataclass(frozen=True)
class Outline:
    """Where the bed lies in axes whose y grows downwards."""

    left: float
    right: float
    top: float
    low: float

    def up(self, bed: Bed, station_mm: Sequence[float]) -> np.ndarray:
        """Where stations of what stands upright are, from below."""
        return self.low - np.asarray(station_mm, float) / bed.length_mm * (self.low - self.top)

    def beside(self, bed: Bed) -> dict[str, float]:
        """Where the faces of what stands upright are, the front one on the left."""
        room = self.right - self.left - 2 * EDGE
        return {name: self.left + EDGE + at * room for name, at in places_across(bed).items()}

    def along(self, bed: Bed, station_mm: Sequence[float]) -> np.ndarray:
        """Where stations lie, from left to right."""
        return self.left + np.asarray(station_mm, float) / bed.length_mm * (self.right - self.left)

    def across(self, bed: Bed) -> dict[str, float]:
        """Where the faces lie, the front one below."""
        room = self.low - self.top - 2 * EDGE
        return {name: self.low - EDGE - at * room for name, at in places_across(bed).items()}


def draw_from_above(
    axes: Axes, bed: Bed, faces: Sequence[str], station_mm: Sequence[float], at: Outline
) -> None:
    """Draw the outline, all faces faintly, and those that are read with their stations.

    Parameters
    ----------
    axes : Axes
        With y growing downwards.
    bed : Bed
    faces : sequence of str
        Those that are read.
    station_mm : sequence of float
    at : Outline
    """
    width, height = at.right - at.left, at.low - at.top
    axes.add_patch(
        Rectangle((at.left, at.top), width, height, facecolor="none", edgecolor=INK, linewidth=0.8)
    )
    for name, y in at.across(bed).items():
        if name not in faces:
            axes.plot([at.left, at.right], [y, y], color=FAINT, linewidth=1.2, zorder=1)
            continue
        axes.plot([at.left, at.right], [y, y], color=INK, linewidth=2.5, zorder=2)
        read_at = at.along(bed, station_mm)
        axes.plot(
            read_at, np.full(len(read_at), y), "o", color="white", markeredgecolor=INK, markersize=4, zorder=3
        )
    middle, called = (at.left + at.right) / 2, bed.called
    for words, x, side in (
        (called.origin, at.left, "left"),
        (called.front, middle, "center"),
        (called.far_end, at.right, "right"),
    ):
        axes.text(x, at.low + 1.2, words, va="top", ha=side, fontsize=NAMES_PT, color=SOFT)


def draw_standing(
    axes: Axes, bed: Bed, faces: Sequence[str], station_mm: Sequence[float], at: Outline
) -> None:
    """The same of what stands upright: station 0 below, seen so that the front is on the left."""
    width, height = at.right - at.left, at.low - at.top
    axes.add_patch(
        Rectangle((at.left, at.top), width, height, facecolor="none", edgecolor=INK, linewidth=0.8)
    )
    for name, x in at.beside(bed).items():
        is_read = name in faces
        ink, thick = (INK, 2.5) if is_read else (FAINT, 1.2)
        axes.plot([x, x], [at.top, at.low], color=ink, linewidth=thick)
        if is_read:
            read_at = at.up(bed, station_mm)
            axes.plot(
                np.full(len(read_at), x), read_at, "o", color="white", markeredgecolor=INK, markersize=4
            )
    called, middle = bed.called, (at.left + at.right) / 2
    axes.text(middle, at.top - 1.2, called.far_end, va="bottom", ha="center", fontsize=NAMES_PT, color=SOFT)
    axes.text(middle, at.low + 1.2, called.origin, va="top", ha="center", fontsize=NAMES_PT, color=SOFT)
