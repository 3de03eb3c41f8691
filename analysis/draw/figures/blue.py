"""The gap under a straightedge, and the blue to expect and seen below it."""

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from analysis.draw.figures.looks import (
    FAINT,
    HIGH,
    INK,
    LOW,
    SOFT,
    Scale,
    draw_band,
    look,
    new_figure,
    wrapped,
)
from analysis.words.blue import blue_answer

if TYPE_CHECKING:
    from analysis.answers.blue import Blue, Stretches

ROW = 0.1
"""Height of a row of bars, of the largest gap drawn."""
SEEN = {"full": (LOW, ""), "spots": ("white", "...."), "bare": ("white", "")}


def blue_figure(found: "Blue", inch: bool = False, *, is_titled: bool = True) -> Figure:
    """The gap from edge to face along the edge; below it the blue expected, and the marks seen.

    Parameters
    ----------
    found : Blue
    inch : bool
        Thou and inches, else µm and mm.
    is_titled : bool
        Put the answer in words above the picture.
    """
    with look():
        figure = new_figure(3.4 if is_titled else 3.0)
        axes, scale = figure.add_subplot(), Scale(inch)
        top = _draw_gap(axes, found, scale)
        _bars(axes, found.touches_mm, scale, -1.5 * ROW * top, ROW * top, LOW, "", "blue expected")
        _bars(axes, found.may_touch_mm, scale, -1.5 * ROW * top, ROW * top, "white", "xxxx", "blue possible")
        for kind, (ink, hatch) in SEEN.items():
            seen = tuple((mark.from_mm, mark.to_mm) for mark in found.marks if mark.seen == kind)
            _bars(axes, seen, scale, -3 * ROW * top, ROW * top, ink, hatch, f"seen: {kind}")
        axes.set_ylim(-(3.4 if found.marks else 1.9) * ROW * top, 1.1 * top)
        axes.margins(x=0.02)
        scale.along(axes)
        scale.heights(axes, "gap")
        figure.legend(loc="outside lower center", ncols=4, handlelength=1.8)
        if is_titled:
            axes.set_title(wrapped(blue_answer(found, inch)[0]), fontsize=8.5)
        return figure


def _draw_gap(axes: Axes, found: "Blue", scale: Scale) -> float:
    """The gap with its uncertainty and the film; the top of the picture."""
    assert found.gap is not None
    x, y = scale.length(found.gap.station_mm), scale.height(found.gap.height_um)
    half = 2 * scale.height(found.gap.standard_uncertainty_um)
    film = float(scale.height(found.film_um))
    axes.grid(True, axis="both", color=FAINT, linewidth=0.5)
    axes.set_axisbelow(True)
    axes.axhline(0.0, color=INK, linewidth=0.9)
    axes.axhline(film, color=LOW, linewidth=0.9, linestyle=(0, (4, 2)), label="film of blue")
    axes.fill_between(x, 0, y, facecolor=HIGH, alpha=0.4, linewidth=0, edgecolor=SOFT)
    draw_band(axes, x, y, half)
    axes.plot(x, y, color=INK, linewidth=1.2, label="gap under the edge, with its uncertainty (95 %)")
    return max(float(np.max(y + half)), 1.5 * film, 1e-9)


def _bars(
    axes: Axes, stretches: "Stretches", scale: Scale, at: float, high: float, ink: str, hatch: str, name: str
) -> None:
    bars = [(float(scale.length(a)), float(scale.length(b - a))) for a, b in stretches]
    if bars:
        axes.broken_barh(
            bars, (at, high), facecolor=ink, hatch=hatch, edgecolor=LOW, linewidth=0.6, zorder=3, label=name
        )
