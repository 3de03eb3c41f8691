"""A face before and after work on it, over each other, and the change beneath."""

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from analysis.answers.face_change import FaceChange
from analysis.answers.metal_off import MOST_OF_SEVERAL
from analysis.answers.twist_change import TwistChange
from analysis.draw.figures.looks import (
    FAINT,
    INK,
    OTHER,
    SOFT,
    Scale,
    draw_profile,
    ground,
    look,
    mark_joints,
    new_figure,
    wrapped,
)
from analysis.words.history import face_change_words, twist_change_words

FACE_IN = 4.3
TITLE_IN = 0.4
TWIST_IN = 1.15


def history_figure(
    changes: Sequence[FaceChange],
    inch: bool = False,
    *,
    twist: TwistChange | None = None,
    is_titled: bool = True,
) -> Figure:
    """Each face before (grey) and after, and how it changed, with bands; twist before and after beneath.

    Parameters
    ----------
    changes : sequence of FaceChange
        One at least, unless there is a twist.
    inch : bool
        Thou and inches, else µm and mm.
    twist : TwistChange, optional
    is_titled : bool
        Put the verdict in words above each face.
    """
    with look():
        scale, is_twist = Scale(inch), twist is not None
        panels = 2 * len(changes) + is_twist
        high = (FACE_IN + TITLE_IN * is_titled) * len(changes) + (TWIST_IN + TITLE_IN * is_titled) * is_twist
        figure = new_figure(high)
        ratios = [1.15, 1] * len(changes) + [TWIST_IN / (FACE_IN / 2.15)] * is_twist
        grid = figure.add_gridspec(panels, 1, height_ratios=ratios)
        axes = [figure.add_subplot(grid[row, 0]) for row in range(panels)]
        for other in axes[1 : 2 * len(changes)]:
            other.sharex(axes[0])
        if twist is not None:
            _draw_twist(axes.pop(), twist, scale, is_titled)
        for change, upper, lower in zip(changes, axes[::2], axes[1::2], strict=True):
            _draw_both(upper, change, scale)
            _draw_change(lower, change, scale)
            if is_titled:
                upper.set_title(wrapped(face_change_words(change, inch)[0]))
            scale.along(lower)
        return figure


def _draw_twist(axes: Axes, twist: TwistChange, scale: Scale, is_titled: bool) -> None:
    """The figure that twist is judged by, before and after, with its uncertainty, from no twist on."""
    for row, (name, ink, mark, value, expanded) in enumerate(
        (
            ("before", SOFT, "s", twist.before_um_per_m, twist.before_expanded_um_per_m),
            ("after", INK, "o", twist.after_um_per_m, twist.after_expanded_um_per_m),
        )
    ):
        axes.errorbar(
            [float(scale.roll(value))], [row], xerr=[float(scale.roll(expanded))], color=ink, marker=mark,
            markersize=6, capsize=4, label=name,
        )  # fmt: skip
    axes.axvline(0.0, color=INK, linewidth=0.9)
    axes.grid(True, axis="x", color=FAINT, linewidth=0.5)
    axes.set_yticks([0, 1], ["before", "after"])
    axes.set_ylim(1.6, -0.6)
    of = "the bed's own roll, rms" if twist.figure == "bed" else "wind from end to end, rear high is +"
    axes.set_xlabel(f"{of}, {scale.roll_unit}")
    if is_titled:
        axes.set_title(wrapped(twist_change_words(twist, scale.inch)))


def _draw_both(axes: Axes, change: FaceChange, scale: Scale) -> None:
    joints = change.joints_mm
    earlier = {"color": SOFT, "marker": "s", "linestyle": "--", "label": "before"}
    draw_profile(axes, scale, change.profile_before, joints, **earlier)
    draw_profile(axes, scale, change.profile_after, joints, marker="o", label="after")
    mark_joints(axes, scale.length(joints))
    ground(axes)
    axes.margins(x=0.02, y=0.15)
    scale.heights(axes, "height")
    axes.legend(loc="best", title="each from its least-squares line", title_fontsize=8)


def _draw_change(axes: Axes, change: FaceChange, scale: Scale) -> None:
    """From the line that the least changed places lie on, so that a cut looks like one."""
    profile = change.from_untouched
    x, y = scale.length(profile.station_mm), scale.height(profile.height_um)
    half = MOST_OF_SEVERAL * scale.height(profile.standard_uncertainty_um)  # as the depths are told
    low, high = float(np.min(y - half)), float(np.max(y + half))
    ground(axes)
    draw_profile(axes, scale, profile, change.joints_mm, marker="o", coverage_factor=MOST_OF_SEVERAL)
    mark_joints(axes, scale.length(change.joints_mm))
    for stretch in change.came_off:
        ends = scale.length(np.array([stretch.from_mm, stretch.to_mm]))
        axes.axvspan(*_widened(ends, x), color=OTHER, alpha=0.10, linewidth=0, zorder=1)
        axes.annotate(
            "came off", (float(ends.mean()), 0.02), xycoords=("data", "axes fraction"), ha="center",
            va="bottom", fontsize=7.5, color=OTHER,
        )  # fmt: skip
    reach = max(high - low, float(scale.height(1.0)))
    axes.set_ylim(low - 0.22 * reach, high + 0.12 * reach)
    scale.heights(axes, "change")
    axes.annotate(
        "after − before, from where it changed least", (0.01, 0.98), xycoords="axes fraction", ha="left",
        va="top", fontsize=7.5, color=SOFT,
    )  # fmt: skip


def _widened(ends: np.ndarray, x: np.ndarray) -> tuple[float, float]:
    """Half a pitch to either side, so that one station alone shows."""
    half = float(np.median(np.diff(x))) / 2
    return max(float(ends[0]) - half, float(x[0])), min(float(ends[1]) + half, float(x[-1]))
