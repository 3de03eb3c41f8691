"""All faces from their own lines on one scale, the straightest on top; stretches that are good marked."""

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from analysis.draw.figures.looks import LOW, Scale, draw_profile, ground, look, new_figure
from analysis.linear.reference_lines import remove_line

if TYPE_CHECKING:
    from analysis.answers.datums import Datums


def datums_figure(found: "Datums", inch: bool = False) -> Figure:
    """Faces from their least-squares lines on one scale, in the order of `ranking`.

    Parameters
    ----------
    found : Datums
    inch : bool
        Thou and inches, else µm and mm.
    """
    shapes = {each.face: each.shape for each in found.faces if each.shape is not None}
    with look():
        figure = new_figure(0.6 + 1.25 * max(len(found.ranking), 1))
        scale = Scale(inch)
        rows = np.ravel(
            figure.subplots(max(len(found.ranking), 1), 1, sharex=True, sharey=True, squeeze=False)
        )
        for axes, ranked in zip(rows, found.ranking, strict=False):
            shape = shapes[ranked.face]
            ground(axes)
            draw_profile(axes, scale, remove_line(shape.profile, "least-squares"), shape.joints_mm)
            _mark(axes, found, ranked.face, scale)
            axes.set_title(ranked.face, fontsize=8.5, loc="left")
            scale.heights(axes, "height")
        scale.along(rows[-1])
        return figure


def _mark(axes: Axes, found: "Datums", face: str, scale: Scale) -> None:
    """A bar over the stretch that is good to the limit asked for."""
    for each in found.good:
        if each.face == face:
            axes.axvspan(
                float(scale.length(each.from_mm)), float(scale.length(each.to_mm)), color=LOW, alpha=0.12
            )
