"""Faces along the bed with what parts them: declared joints, steps and ripples that were found."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from analysis.draw.figures.looks import (
    HIGH,
    OTHER,
    Scale,
    draw_profile,
    ground,
    look,
    mark_joints,
    new_figure,
)
from analysis.linear.profile import Profile
from analysis.linear.reference_lines import remove_line
from analysis.words.known import line_name

if TYPE_CHECKING:
    from analysis.answers.channels import Channel
    from analysis.answers.joints import Joints
    from analysis.answers.ripples import Ripples


def joints_figure(found: "Joints", inch: bool = False) -> Figure:
    """Every face from its least-squares line, the joints marked.

    Parameters
    ----------
    found : Joints
    inch : bool
        Thou on the left and inches along, µm on the right; else the other way round.
    """
    with look():
        return _ground(found.channels, [joint.at_mm for joint in found.joints], inch)[0]


def ripples_figure(found: "Ripples", inch: bool = False) -> Figure:
    """Every face from its least-squares line; gaps with a step shaded, ripples drawn beside.

    Parameters
    ----------
    found : Ripples
    inch : bool
        Thou on the left and inches along, µm on the right; else the other way round.
    """
    with look():
        figure, rows, scale = _ground([each.channel for each in found.faces], found.joints_mm, inch)
        for axes, face in zip(rows, found.faces, strict=False):
            for step in face.steps:
                axes.axvspan(*map(float, scale.length([step.from_mm, step.to_mm])), color=HIGH, alpha=0.7)
            x = np.linspace(face.from_mm, face.to_mm, 600)
            for wave in face.ripples:
                y = wave.height_um / 2 * np.cos(2 * np.pi * (x - wave.crest_mm) / wave.wavelength_mm)
                axes.plot(scale.length(x), scale.height(y), color=OTHER, linewidth=0.8)
        return figure


def _ground(
    channels: "Sequence[Channel]", joints_mm: Sequence[float], inch: bool
) -> tuple[Figure, list[Axes], Scale]:
    """One row for each face, its heights drawn piece by piece."""
    count = max(len(channels), 1)
    figure, scale = new_figure(0.6 + 1.5 * count), Scale(inch)
    rows = list(np.ravel(figure.subplots(count, 1, sharex=True, squeeze=False)))
    for axes, each in zip(rows, channels, strict=False):
        level = remove_line(
            Profile(each.face, each.station_mm, each.height_um, each.covariance_um2), "least-squares"
        )
        ground(axes)
        draw_profile(axes, scale, level, joints_mm, marker="o", markersize=2.5)
        mark_joints(axes, scale.length(joints_mm))
        axes.set_title(line_name(each.face, each.kind), fontsize=8.5, loc="left")
        scale.heights(axes, "to the rear" if each.kind == "side" else "height")
    scale.along(rows[-1])
    return figure, rows, scale
