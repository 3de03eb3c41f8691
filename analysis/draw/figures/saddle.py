"""How far both ways and the apron come down along the bed."""

from functools import partial
from typing import TYPE_CHECKING

from matplotlib.figure import Figure

from analysis.draw.figures.looks import LOW, OTHER, Scale, draw_curve, ground, look, mark_joints, new_figure

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
        curve = partial(draw_curve, axes, scale, found.station_mm, joints_mm=found.joints_mm)
        for name, um, ink in ((found.front, found.front_um, LOW), (found.rear, found.rear_um, OTHER)):
            curve(-um, color=ink, label=name)
        curve(-found.at_apron_um, found.at_apron_standard_uncertainty_um, linewidth=1.4, label="apron")
        mark_joints(axes, scale.length(found.joints_mm))
        axes.legend(loc="best")
        scale.heights(axes, "below the unworn line")
        scale.along(axes)
        return figure
