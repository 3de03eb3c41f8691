"""How pairs of faces taper: the difference with its line, a row for each pair."""

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure

from analysis.draw.figures.looks import (
    OTHER,
    Scale,
    draw_curve,
    ground,
    look,
    mark_joints,
    new_figure,
    wrapped,
)
from analysis.words.taper import taper_answer

if TYPE_CHECKING:
    from analysis.answers.taper import Tapers


def taper_figure(found: "Tapers", inch: bool = False, *, is_titled: bool = True) -> Figure:
    """Difference of each pair from its value on the line at the first station.

    Parameters
    ----------
    found : Tapers
    inch : bool
        Thou and inches, else µm and mm.
    is_titled : bool
        Put each answer in words above its picture; else the two names.
    """
    with look():
        count = max(len(found.pairs), 1)
        figure, scale = new_figure(0.7 + 2.0 * count), Scale(inch)
        rows = np.ravel(figure.subplots(count, 1, sharex=True, squeeze=False))
        for axes, each in zip(rows, found.pairs, strict=True):
            line = each.taper_um_per_m * (each.station_mm - each.station_mm[0]) / 1000
            ground(axes)
            draw_curve(axes, scale, each.station_mm, line, color=OTHER, linewidth=1.0, linestyle="--")
            known = (each.station_mm, line + each.departure_um, each.standard_uncertainty_um)
            draw_curve(axes, scale, *known, joints_mm=each.joints_mm, marker="o")
            mark_joints(axes, scale.length(each.joints_mm))
            title = taper_answer(each, inch) if is_titled else f"{each.a} and {each.b}"
            axes.set_title(wrapped(title, 100), fontsize=8.5, loc="left")
            scale.heights(axes, _what(each.is_gap, each.look_opposite))
        scale.along(rows[-1])
        return figure


def _what(is_gap: bool, look_opposite: bool) -> str:
    if is_gap:
        return "gap narrower by"
    return "thicker by" if look_opposite else "higher by"
