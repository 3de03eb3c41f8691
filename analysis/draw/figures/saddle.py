"""How far both ways and the apron come down along the bed."""

from typing import TYPE_CHECKING

from matplotlib.figure import Figure

from analysis.draw.figures.looks import (
    INK,
    LOW,
    OTHER,
    Scale,
    draw_band,
    ground,
    look,
    mark_joints,
    new_figure,
)
from analysis.linear.pieces import with_gaps_at

if TYPE_CHECKING:
    from analysis.answers.saddle import SaddleDrop


def saddle_figure(found: "SaddleDrop", inch: bool = False) -> Figure:
    """The drop drawn downwards.

    Parameters
    ----------
    found : SaddleDrop
    inch : bool
        Thou and inches, else µm and mm.
    """
    with look():
        figure, scale = new_figure(3.0), Scale(inch)
        axes = figure.add_subplot()
        ground(axes)
        x, joints = scale.length(found.station_mm), scale.length(found.joints_mm)
        for name, um, ink in ((found.front, found.front_um, LOW), (found.rear, found.rear_um, OTHER)):
            axes.plot(*with_gaps_at(joints, x, -scale.height(um)), color=ink, linewidth=1.1, label=name)
        y = -scale.height(found.at_apron_um)
        x, y, half = with_gaps_at(joints, x, y, 2 * scale.height(found.at_apron_standard_uncertainty_um))
        draw_band(axes, x, y, half)
        axes.plot(x, y, color=INK, linewidth=1.4, label="apron")
        mark_joints(axes, joints)
        axes.legend(loc="best")
        scale.heights(axes, "below the unworn line")
        scale.along(axes)
        return figure
