"""The roll along the bed before the feet are moved and after."""

import textwrap
from typing import TYPE_CHECKING

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from analysis.draw.figures.looks import INK, OTHER, Scale, draw_band, ground, look, new_figure
from analysis.words.feet import feet_words

if TYPE_CHECKING:
    from analysis.answers.feet_on_bed import Feet, Predicted

UM_PER_M_PER_MM_PER_M = 1000.0
THOU_PER_FOOT_PER_MM_PER_M = 12.0


def feet_figure(result: "Feet", inch: bool = False) -> Figure:
    """What a level across the ways reads now and will read once the feet are moved.

    Parameters
    ----------
    result : Feet
    inch : bool
        thou/ft on the left, else mm/m.
    """
    with look():
        figure = new_figure(3.2)
        axes = figure.subplots()
        if result.predicted is None:
            axes.set_axis_off()
            words = "\n".join(textwrap.wrap(" ".join(feet_words(result, inch)), 92))
            axes.text(0.0, 1.0, words, va="top", transform=axes.transAxes)
            return figure
        _draw(axes, result.predicted, inch)
        moves = ", ".join(f"{each.foot} {each.lift_um:+.0f} µm" for each in result.moves) or "no foot"
        figure.suptitle(
            "\n".join(textwrap.wrap(f"Move {moves}: the level across the ways", 92)),
            x=0.01, ha="left", fontsize=9.5,
        )  # fmt: skip
        return figure


def _draw(axes: Axes, predicted: "Predicted", inch: bool) -> None:
    ground(axes)
    factor = THOU_PER_FOOT_PER_MM_PER_M
    if inch:
        Scale(True).beside(axes, "roll, thou/ft", "mm/m", 1 / factor)
    else:
        Scale(False).beside(axes, "roll, mm/m", "thou/ft", factor)
    per = UM_PER_M_PER_MM_PER_M / (factor if inch else 1.0)
    x = Scale(inch).length(predicted.station_mm)
    then = predicted.roll_um_per_m / per
    draw_band(axes, x, then, predicted.expanded_um_per_m / per, INK)
    axes.plot(x, predicted.now_um_per_m / per, color=OTHER, linestyle="--", label="now")
    axes.plot(x, then, color=INK, marker="o", markersize=3.5, label="after the moves")
    axes.text(0.005, 0.97, "▲ rear high", transform=axes.transAxes, va="top", fontsize=8)
    axes.text(0.005, 0.03, "▼ front high", transform=axes.transAxes, va="bottom", fontsize=8)
    axes.margins(x=0.02, y=0.2)
    axes.legend(loc="upper right", ncols=2)
    Scale(inch).along(axes)
