"""How the bed rolls along its length, by every method there is."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from analysis.draw.figures.looks import (
    INK,
    OTHER,
    Scale,
    draw_curve,
    ground,
    look,
    mark_joints,
    new_figure,
    wrapped,
)
from analysis.linear.profile import Profile
from analysis.linear.reference_lines import remove_line
from analysis.words.twist import BY_WORDS, METHODS, roll_words

if TYPE_CHECKING:
    from analysis.answers.twist import Twist

INKS = {"answer": INK, "feet": OTHER, "cross_level": INK, "two_maps": OTHER}
MARKS = {"answer": "o", "feet": "", "cross_level": "o", "two_maps": "s"}


def twist_figure(result: "Twist", inch: bool = False, *, is_titled: bool = True) -> Figure:
    """Roll along the bed; below, two ways of measuring it with a straight line taken off, as they are judged.

    Parameters
    ----------
    result : Twist
    inch : bool
        thou/ft and inches, else µm/m and mm.
    is_titled : bool
        Put the answer in words above the picture.
    """
    is_whole, has_both = result.known_up_to != "a line", len(result.methods) > 1
    panels = int(is_whole) + int(has_both or not is_whole)
    with look():
        figure = new_figure((2.3 if is_titled else 1.95) * panels + (0.5 if is_titled else 0.3))
        grid = figure.subplots(panels, 1, sharex=True, squeeze=False)[:, 0]
        if is_whole:
            _draw_whole(grid[0], result, inch)
        if has_both or not is_whole:
            _draw_bent(grid[-1], result, inch)
        Scale(inch).along(grid[-1])
        if is_titled:
            figure.suptitle(wrapped(roll_words(result, inch)), x=0.01, ha="left", fontsize=9.5)
        return figure


def _draw_whole(axes: Axes, result: "Twist", inch: bool) -> None:
    scale, joints = Scale(inch), result.joints_mm
    _frame(axes, scale, "roll from the\nfirst station")
    change = result.roll_um_per_m - result.roll_um_per_m[0]
    variance = np.diag(result.covariance) + result.covariance[0, 0] - 2 * result.covariance[0]
    doubt = np.sqrt(np.clip(variance, 0.0, None))
    _draw(axes, BY_WORDS[result.by], "answer", (result.station_mm, change, doubt), scale, joints)
    if result.feet is not None:
        feet = result.feet
        curve = (feet.station_mm, feet.roll_um_per_m, feet.standard_uncertainty_um_per_m)
        _draw(axes, "what turning feet can take out", "feet", curve, scale, joints)
    _finish(axes, scale, joints)


def _draw_bent(axes: Axes, result: "Twist", inch: bool) -> None:
    """Both methods; where there are not two, the answer itself, which is known only up to that line."""
    scale, joints = Scale(inch), result.joints_mm
    _frame(axes, scale, "roll, a line taken off")
    shown = result.methods if len(result.methods) > 1 else {"answer": result}
    for name, roll in shown.items():
        profile = Profile("roll", roll.station_mm, roll.roll_um_per_m, roll.covariance)
        bent = remove_line(profile, "least-squares")
        label = METHODS.get(name, BY_WORDS[result.by])
        curve = (bent.station_mm, bent.height_um, bent.standard_uncertainty_um)
        _draw(axes, label, name, curve, scale, joints)
    _finish(axes, scale, joints)


def _frame(axes: Axes, scale: Scale, what: str) -> None:
    ground(axes)
    scale.rolls(axes, what)


def _draw(
    axes: Axes,
    label: str,
    name: str,
    curve: tuple[np.ndarray, np.ndarray, np.ndarray],
    scale: Scale,
    joints_mm: Sequence[float],
) -> None:
    """A roll given as stations, values and standard uncertainties; no line runs over a joint."""
    line: dict[str, Any] = {"color": INKS[name], "marker": MARKS[name], "label": label}
    line["linestyle"] = "--" if name in ("two_maps", "feet") else "-"
    draw_curve(axes, scale, *curve, joints_mm=joints_mm, is_roll=True, **line)


def _finish(axes: Axes, scale: Scale, joints_mm: Sequence[float]) -> None:
    mark_joints(axes, scale.length(joints_mm))
    axes.margins(x=0.02, y=0.2)
    axes.legend(loc="upper right", ncols=3)  # in one row above the curves, which the margin leaves free
