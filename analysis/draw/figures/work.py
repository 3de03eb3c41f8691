"""The turned part along its length: its diameter, with what roll, sway and drop do to it."""

from functools import partial
from typing import TYPE_CHECKING

from matplotlib.figure import Figure

from analysis.draw.figures.looks import (
    LOW,
    OTHER,
    SOFT,
    Scale,
    draw_curve,
    ground,
    look,
    mark_joints,
    new_figure,
    wrapped,
)
from analysis.words.work import work_answer

if TYPE_CHECKING:
    from analysis.answers.work import TurnedPart


def work_figure(found: "TurnedPart", inch: bool = False, *, is_titled: bool = True) -> Figure:
    """The diameter predicted along the part, and what each movement of the carriage does to it.

    Parameters
    ----------
    found : TurnedPart
    inch : bool
        Thou and inches, else µm and mm.
    is_titled : bool
        Put the answer in words above the picture.
    """
    with look():
        figure = new_figure(3.2 if is_titled else 2.9)
        axes, scale = figure.add_subplot(), Scale(inch)
        ground(axes)
        curve = partial(draw_curve, axes, scale, found.station_mm, joints_mm=found.joints_mm)
        if found.diameter_um is not None and found.standard_uncertainty_um is not None:
            known = (found.diameter_um, found.standard_uncertainty_um)
            curve(*known, linewidth=1.4, marker="o", label="diameter (band: 95 %)")
        for part, name, ink, dashes in (
            (found.from_roll, "by roll", OTHER, "--"),
            (found.from_sideways, "by sway", LOW, "-."),
            (found.from_height, "by drop of the tip", SOFT, ":"),
        ):
            if part is not None:
                curve(part.diameter_um, color=ink, linestyle=dashes, label=name)
        after = found.after_plan
        if after is not None and after.diameter_um is not None:
            curve(after.diameter_um, linewidth=1.0, dashes=(1, 1), label="planned")
        mark_joints(axes, scale.length(found.joints_mm))
        scale.along(axes)
        scale.heights(axes, "diameter, larger is up")
        axes.margins(x=0.02, y=0.1)
        figure.legend(loc="outside lower center", ncols=4, handlelength=2.4)
        if is_titled:
            axes.set_title(wrapped(work_answer(found, inch)), fontsize=8.5)
        return figure
