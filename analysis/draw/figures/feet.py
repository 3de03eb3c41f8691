"""The roll along the bed before the feet are moved and after."""

from functools import partial
from typing import TYPE_CHECKING

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from analysis.draw.figures.looks import OTHER, Scale, draw_curve, ground, look, new_figure, wrapped
from analysis.linear.profile import COVERAGE_FACTOR
from analysis.words.feet import feet_words
from analysis.words.wall import turn_words

if TYPE_CHECKING:
    from analysis.answers.feet_on_bed import Feet, Predicted


def feet_figure(result: "Feet", inch: bool = False, *, is_titled: bool = True) -> Figure:
    """What a level across the ways reads now and will read once the feet are moved.

    Parameters
    ----------
    result : Feet
    inch : bool
        thou/ft and inches, else µm/m and mm.
    is_titled : bool
        Put the moves above the picture.
    """
    with look():
        figure = new_figure(1.2 if result.predicted is None else 3.2)
        axes = figure.subplots()
        if result.predicted is None:
            axes.set_axis_off()
            words = wrapped(" ".join(feet_words(result, inch)))
            axes.text(0.0, 1.0, words, va="top", transform=axes.transAxes)
            return figure
        _draw(axes, result.predicted, inch)
        if is_titled:
            moves = ", ".join(f"{each.foot} {turn_words(each, inch)}" for each in result.moves) or "no foot"
            words = wrapped(f"Move {moves}: the level across the {result.predicted.roll_of}")
            figure.suptitle(words, x=0.01, ha="left", fontsize=9.5)
        return figure


def _draw(axes: Axes, predicted: "Predicted", inch: bool) -> None:
    ground(axes)
    scale = Scale(inch)
    scale.rolls(axes, "roll")
    curve = partial(draw_curve, axes, scale, predicted.station_mm, is_roll=True)
    curve(predicted.now_um_per_m, color=OTHER, linestyle="--", label="now")
    doubt = predicted.expanded_um_per_m / COVERAGE_FACTOR
    curve(predicted.roll_um_per_m, doubt, marker="o", label="after the moves")
    axes.margins(x=0.02, y=0.2)
    axes.legend(loc="upper right", ncols=2)
    scale.along(axes)
