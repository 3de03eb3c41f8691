"""Axes for the shape of one face: of a bed that lies, or of a guide that stands upright.

Places run along the face and heights go out of it.  Of a bed places run to the right and
heights go up; a guide that stands is drawn so: places run up and heights go to the side.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from acquire.model.called import Called
from analysis.draw.figures.looks import FAINT, INK, OTHER, SOFT, Scale

NEAR_THE_END = 0.04
"""Of the length: a figure so near to an end stands inside the picture."""
STRETCH_SHARE = 0.035
"""Of the picture's height: a strip that marks a stretch of the face."""


@dataclass(frozen=True)
class FaceAxes:
    """Matplotlib's axes, spoken to by places along a face and heights out of it, both in the unit drawn."""

    axes: Axes
    is_upright: bool

    def ground(self) -> None:
        """Faint lines to read values by, and the line that heights are taken from."""
        self.axes.grid(True, axis="both", color=FAINT, linewidth=0.5)
        self.axes.set_axisbelow(True)
        line = self.axes.axvline if self.is_upright else self.axes.axhline
        line(0.0, color=INK, linewidth=0.9, zorder=2)

    def plot(self, along: Any, out: Any, *form: str, **looks: Any) -> None:
        """A line or markers."""
        self.axes.plot(*self._at(along, out), *form, **looks)

    def bars(self, along: Any, out: Any, half: Any, **looks: Any) -> None:
        """Markers with what they are uncertain by."""
        over, up = (half, None) if self.is_upright else (None, half)
        self.axes.errorbar(*self._at(along, out), xerr=over, yerr=up, **looks)

    def fill(self, along: Any, first: Any, second: Any, **looks: Any) -> None:
        """What lies between two curves."""
        between = self.axes.fill_betweenx if self.is_upright else self.axes.fill_between
        between(along, first, second, **looks)

    def band(self, along: np.ndarray, out: np.ndarray, half: np.ndarray) -> None:
        """What lies within `half` of a curve, with edges that survive a poor printer."""
        self.fill(along, out - half, out + half, color=INK, alpha=0.16, linewidth=0, zorder=3)
        for edge in (out - half, out + half):
            self.plot(along, edge, color=INK, linewidth=0.5, alpha=0.7, zorder=3)

    def stretch(self, start: float, end: float, **looks: Any) -> None:
        """A strip at the edge of the picture, over a stretch of the face."""
        if self.is_upright:
            self.axes.axhspan(start, end, xmin=0.0, xmax=STRETCH_SHARE, **looks)
        else:
            self.axes.axvspan(start, end, ymin=0.0, ymax=STRETCH_SHARE, **looks)

    def joints(self, along: Any) -> None:
        """A line across the picture where two pieces of the bed meet."""
        line = self.axes.axhline if self.is_upright else self.axes.axvline
        for number, each in enumerate(along):
            line(each, color=OTHER, linewidth=1.0, linestyle=":", label="" if number else "joint of the bed")

    def margins(self, along: float, out: float) -> None:
        """Empty room at the ends and beyond the heights, as shares."""
        self.axes.margins(*self._at(along, out))

    def label(self, text: str, along: float, out: float, *, is_outward: bool, share: float) -> None:
        """A figure beyond a place at that share of the length, where neither axis cuts it."""
        off = 4 if is_outward else -4
        inside = "left" if share < NEAR_THE_END else "right" if share > 1 - NEAR_THE_END else "center"
        beside = "left" if is_outward else "right"
        above = "bottom" if is_outward else "top"
        self.axes.annotate(
            text,
            self._at(along, out),
            xytext=self._at(0, off),
            textcoords="offset points",
            ha=beside if self.is_upright else inside,
            va="center" if self.is_upright else above,
            fontweight="bold",
        )

    def name(self, scale: Scale, called: Called | None) -> None:
        """Both axes; of a guide that stands its two ends too, and which way is proud."""
        if not self.is_upright or called is None:
            scale.along(self.axes)
            scale.heights(self.axes, "height")
            return
        self.axes.set_ylabel(f"station, {scale.length_unit}, up from the {called.origin}")
        self.axes.set_xlabel(f"height, {scale.height_unit} (+ proud, to where the face looks)")
        for at, words, va in ((0.0, called.origin, "bottom"), (1.0, called.far_end, "top")):
            self.axes.text(
                1.01, at, words, transform=self.axes.transAxes, ha="left", va=va, color=SOFT, fontsize=8
            )

    def _at(self, along: Any, out: Any) -> tuple[Any, Any]:
        return (out, along) if self.is_upright else (along, out)
