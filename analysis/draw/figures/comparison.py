"""Two maps of the same thing over each other, and their difference beneath."""

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from analysis.draw.figures.looks import (
    OTHER,
    SOFT,
    Scale,
    draw_curve,
    draw_profile,
    ground,
    look,
    mark_joints,
    new_figure,
    wrapped,
)
from analysis.linear.profile import COVERAGE_FACTOR
from analysis.words.comparison import comparison_words

if TYPE_CHECKING:
    from analysis.answers.comparison import Comparison


def comparison_figure(result: "Comparison", inch: bool = False, *, is_titled: bool = True) -> Figure:
    """Both maps with their bands, the least-squares line removed, and the difference with its own.

    Parameters
    ----------
    result : Comparison
    inch : bool
        Thou on the left, else µm.
    is_titled : bool
        Put the verdict in words above the picture.
    """
    with look():
        figure = new_figure(4.5 if is_titled else 3.4)
        upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=(1.25, 1))
        scale = Scale(inch)
        joints = result.joints_mm
        draw_profile(upper, scale, result.profile_a, joints, marker="o", label=result.a)
        other = {"color": OTHER, "marker": "s", "linestyle": "--"}
        draw_profile(upper, scale, result.profile_b, joints, label=result.b, **other)
        upper.margins(x=0.02, y=0.15)
        mark_joints(upper, scale.length(joints))
        ground(upper)
        scale.heights(upper, "height")
        upper.legend(loc="best", title="both from their least-squares line", title_fontsize=8)
        _draw_difference(lower, result, scale)
        scale.along(lower)
        if is_titled:
            words = comparison_words(result, inch)[0]
            figure.suptitle(wrapped(words), x=0.01, ha="left", fontsize=9.5)
        return figure


def _draw_difference(axes: Axes, result: "Comparison", scale: Scale) -> None:
    differs, doubt = result.difference_um, result.expanded_uncertainty_um
    reach = float(scale.height(np.nanmax(np.abs(differs) + doubt)))
    ground(axes)
    known = (result.station_mm, differs, doubt / COVERAGE_FACTOR)
    draw_curve(axes, scale, *known, joints_mm=result.joints_mm, marker="o")
    mark_joints(axes, scale.length(result.joints_mm))
    seen = float(scale.height(result.smallest_detectable_um))
    for side in (-seen, seen):
        axes.axhline(side, color=SOFT, linewidth=0.9, linestyle=":", zorder=2)
    axes.annotate(
        "beyond the dotted lines a difference would have been seen", (0.5, seen),
        xycoords=("axes fraction", "data"), xytext=(0, 2), textcoords="offset points",
        ha="center", va="bottom", fontsize=7.5, color=SOFT,
    )  # fmt: skip
    axes.set_ylim(-1.35 * max(seen, reach), 1.35 * max(seen, reach))
    scale.heights(axes, "difference")
