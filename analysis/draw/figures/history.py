"""A face before and after work on it, over each other, and the change beneath."""

import textwrap
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from analysis.answers.history import FaceChange
from analysis.draw.figures.looks import INK, OTHER, SOFT, Scale, draw_band, ground, look, new_figure
from analysis.draw.figures.thinning import thinned
from analysis.linear.profile import Profile
from analysis.words.history import face_change_words

FACE_IN = 4.3
TITLE_IN = 0.4


def history_figure(changes: Sequence[FaceChange], inch: bool = False, *, is_titled: bool = True) -> Figure:
    """Each face before (grey) and after, and how it changed, with bands.

    Parameters
    ----------
    changes : sequence of FaceChange
        One at least.
    inch : bool
        Thou on the left, else µm.
    is_titled : bool
        Put the verdict in words above each face.
    """
    with look():
        figure = new_figure((FACE_IN + TITLE_IN * is_titled) * len(changes))
        axes = figure.subplots(
            2 * len(changes), 1, sharex=True, squeeze=False, height_ratios=[1.15, 1] * len(changes)
        ).ravel()
        scale = Scale(inch)
        for change, upper, lower in zip(changes, axes[::2], axes[1::2], strict=True):
            _draw_both(upper, change, scale)
            _draw_change(lower, change, scale)
            lower.tick_params(labelbottom=True)
            if is_titled:
                upper.set_title("\n".join(textwrap.wrap(face_change_words(change, inch)[0], 92)))
        scale.along(axes[-1])
        return figure


def _draw_both(axes: Axes, change: FaceChange, scale: Scale) -> None:
    _draw_one(axes, change.profile_before, "before", SOFT, "s", "--", scale)
    _draw_one(axes, change.profile_after, "after", INK, "o", "-", scale)
    ground(axes)
    axes.margins(x=0.02, y=0.15)
    scale.heights(axes, "height")
    axes.legend(loc="best", title="each from its least-squares line", title_fontsize=8)


def _draw_one(
    axes: Axes, profile: Profile, name: str, ink: str, marker: str, line: str, scale: Scale
) -> None:
    kept = thinned(profile.height_um)
    x, y = scale.length(profile.station_mm[kept]), scale.height(profile.height_um[kept])
    draw_band(axes, x, y, 2 * scale.height(profile.standard_uncertainty_um[kept]), ink)
    axes.plot(
        x, y, color=ink, linewidth=1.2, marker=marker, markersize=3.5, linestyle=line, label=name, zorder=4
    )


def _draw_change(axes: Axes, change: FaceChange, scale: Scale) -> None:
    """From the line that the least changed places lie on, so that a cut looks like one."""
    profile = change.from_untouched
    kept = thinned(profile.height_um)
    x, y = scale.length(profile.station_mm[kept]), scale.height(profile.height_um[kept])
    half = 2 * scale.height(profile.standard_uncertainty_um[kept])
    ground(axes)
    draw_band(axes, x, y, half)
    axes.plot(x, y, color=INK, linewidth=1.2, marker="o", markersize=3.5, zorder=4)
    for stretch in change.came_off:
        ends = scale.length(np.array([stretch.from_mm, stretch.to_mm]))
        axes.axvspan(*_widened(ends, x), color=OTHER, alpha=0.10, linewidth=0, zorder=1)
        axes.annotate(
            "came off", (float(ends.mean()), 0.02), xycoords=("data", "axes fraction"), ha="center",
            va="bottom", fontsize=7.5, color=OTHER,
        )  # fmt: skip
    low, high = float(np.min(y - half)), float(np.max(y + half))
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
