"""What comes off: each face above its target, and along it where blue is to be expected."""

from collections.abc import Container, Sequence
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from analysis.draw.figures.looks import FAINT, HIGH, INK, LOW, OTHER, SOFT, Scale, draw_band, look, new_figure
from analysis.draw.figures.thinning import thinned
from analysis.linear.pieces import with_gaps_at
from analysis.words.plan import plan_answer
from analysis.words.wall import NOT_YET

if TYPE_CHECKING:
    from analysis.answers.plan import FacePlan

MOST_MARKED = 60
BLUE_AT, BLUE_HIGH = -0.13, 0.05


def plan_figure(plans: "Sequence[FacePlan]", inch: bool = False, *, not_yet: Container[str] = ()) -> Figure:
    """Every planned face as what lies above its target: that is what comes off.

    Parameters
    ----------
    plans : sequence of FacePlan
    inch : bool
        Thou and inches, else µm and mm.
    not_yet : container of str
        Faces of which nothing may be scraped yet; it stands across theirs.
    """
    with look():
        figure = new_figure(0.5 + 2.5 * len(plans))
        scale = Scale(inch)
        for axes, plan in zip(np.ravel(figure.subplots(len(plans), 1)), plans, strict=True):
            _draw(axes, plan, scale)
            axes.set_title(plan_answer(plan, inch), fontsize=8.5, wrap=True)
            if plan.face in not_yet:
                axes.text(
                    0.5, 0.9, NOT_YET, transform=axes.transAxes, ha="center", va="center", zorder=6,
                    color=OTHER, fontweight="bold", backgroundcolor="white",
                )  # fmt: skip
        handles = {
            name: handle
            for axes in figure.axes
            for handle, name in zip(*axes.get_legend_handles_labels(), strict=True)
        }
        figure.legend(handles.values(), handles.keys(), loc="outside lower center", ncols=4, handlelength=1.8)
        return figure


def _draw(axes: Axes, plan: "FacePlan", scale: Scale) -> None:
    removal = plan.removal
    kept = thinned(removal.removal_um)
    x, y = scale.length(removal.station_mm[kept]), scale.height(removal.removal_um[kept])
    half = 2 * scale.height(removal.standard_uncertainty_um[kept])
    top = float(np.max(y + half)) or 1.0
    x, y, half = with_gaps_at(scale.length(plan.joints_mm), x, y, half)
    axes.grid(True, axis="both", color=FAINT, linewidth=0.5)
    axes.set_axisbelow(True)
    axes.axhline(0.0, color=INK, linewidth=0.9, zorder=2)
    axes.fill_between(
        x, 0, y, facecolor=HIGH, alpha=0.75, linewidth=0, hatch="////", edgecolor=SOFT, label="to come off"
    )
    draw_band(axes, x, y, half)
    marker = "o" if len(kept) <= MOST_MARKED else ""
    axes.plot(
        x, y, color=INK, linewidth=1.2, marker=marker, markersize=3, zorder=4,
        label="face above its target, with its uncertainty (95 %)",
    )  # fmt: skip
    axes.set_ylim(-0.2 * top, 1.12 * top)
    axes.margins(x=0.02)
    if len(plan.blue) == 1:
        _draw_blue(axes, plan, scale, top)
    scale.along(axes)
    scale.heights(axes, "take off")


def _draw_blue(axes: Axes, plan: "FacePlan", scale: Scale, top: float) -> None:
    """A bar under the face: full where it touches, open where it may."""
    blue = plan.blue[0]
    for stretches, ink, hatch, name in (
        (blue.touches_mm, LOW, "", "blue expected now"),
        (blue.may_touch_mm, "white", "xxxx", "blue possible"),
    ):
        bars = [(float(scale.length(a)), float(scale.length(b - a))) for a, b in stretches]
        if bars:
            axes.broken_barh(
                bars, ((BLUE_AT - BLUE_HIGH / 2) * top, BLUE_HIGH * top), facecolor=ink, hatch=hatch,
                edgecolor=LOW, linewidth=0.6, zorder=3, label=name,
            )  # fmt: skip
