"""How the bed rolls along its length, by every method there is."""

import textwrap
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from analysis.draw.figures.looks import INK, OTHER, Scale, draw_band, ground, look, new_figure
from analysis.draw.figures.thinning import thinned
from analysis.linear.profile import Profile
from analysis.linear.reference_lines import remove_line
from analysis.words.answers import METHODS, roll_words

if TYPE_CHECKING:
    from analysis.answers.twist import Roll, Twist

UM_PER_M_PER_MM_PER_M = 1000.0
THOU_PER_FOOT_PER_MM_PER_M = 12.0
INKS = {"cross_level": INK, "two_maps": OTHER}
MARKS = {"cross_level": "o", "two_maps": "s"}


def twist_figure(result: "Twist", inch: bool = False, *, is_titled: bool = True) -> Figure:
    """Roll along the bed; with two methods, also both with a straight line taken off, as they are judged.

    Parameters
    ----------
    result : Twist
    inch : bool
        thou/ft on the left, else mm/m.
    is_titled : bool
        Put the answer in words above the picture.
    """
    whole = {name: roll for name, roll in result.methods.items() if roll.known_up_to != "a line"}
    has_both = len(result.methods) > 1
    panels = int(bool(whole)) + int(has_both or not whole)
    with look():
        figure = new_figure(2.3 * panels + (0.5 if is_titled else 0.3))
        grid = figure.subplots(panels, 1, sharex=True, squeeze=False)[:, 0]
        if whole:
            _draw_whole(grid[0], whole, inch)
        if has_both or not whole:
            _draw_bent(grid[-1], result, inch)
        Scale(inch).along(grid[-1])
        if is_titled:
            figure.suptitle(
                "\n".join(textwrap.wrap(roll_words(result, inch), 92)), x=0.01, ha="left", fontsize=9.5
            )
        return figure


def _draw_whole(axes: Axes, whole: "dict[str, Roll]", inch: bool) -> None:
    _frame(axes, inch, "roll from the first station")
    for name, roll in whole.items():
        change = roll.roll_um_per_m - roll.roll_um_per_m[0]
        variance = np.diag(roll.covariance) + roll.covariance[0, 0] - 2 * roll.covariance[0]
        _draw(axes, name, roll.station_mm, change, np.sqrt(np.clip(variance, 0.0, None)), inch)
    _finish(axes)


def _draw_bent(axes: Axes, result: "Twist", inch: bool) -> None:
    _frame(axes, inch, "a straight line taken off")
    for name, roll in result.methods.items():
        profile = Profile("roll", roll.station_mm, roll.roll_um_per_m, roll.covariance)
        bent = remove_line(profile, "least-squares")
        _draw(axes, name, bent.station_mm, bent.height_um, bent.standard_uncertainty_um, inch)
    _finish(axes)


def _frame(axes: Axes, inch: bool, what: str) -> None:
    ground(axes)
    factor = THOU_PER_FOOT_PER_MM_PER_M
    if inch:
        Scale(True).beside(axes, f"{what},\nthou/ft", "mm/m", 1 / factor)
    else:
        Scale(False).beside(axes, f"{what},\nmm/m", "thou/ft", factor)
    axes.text(0.005, 0.97, "▲ rear high", transform=axes.transAxes, va="top", fontsize=8)
    axes.text(0.005, 0.03, "▼ front high", transform=axes.transAxes, va="bottom", fontsize=8)


def _draw(axes: Axes, name: str, station: np.ndarray, roll: np.ndarray, sd: np.ndarray, inch: bool) -> None:
    kept = thinned(roll)
    per = UM_PER_M_PER_MM_PER_M / (THOU_PER_FOOT_PER_MM_PER_M if inch else 1.0)
    x, y, half = Scale(inch).length(station[kept]), roll[kept] / per, 2 * sd[kept] / per
    draw_band(axes, x, y, half, INKS[name])
    axes.plot(
        x, y, color=INKS[name], linewidth=1.2, marker=MARKS[name], markersize=3.5, zorder=4,
        linestyle="-" if name == "cross_level" else "--", label=METHODS[name],
    )  # fmt: skip


def _finish(axes: Axes) -> None:
    axes.margins(x=0.02, y=0.2)
    axes.legend(loc="upper right", ncols=2)
