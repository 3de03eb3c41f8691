"""One face from its reference line: hollow and crowned at a glance, with its band."""

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure

from acquire.model.called import Called
from acquire.model.units import decimals_for, number_text
from analysis.draw.figures.face_axes import FaceAxes
from analysis.draw.figures.looks import HIGH, INK, LOW, OTHER, SOFT, Scale, look, new_figure, wrapped
from analysis.draw.figures.thinning import thinned
from analysis.linear.pieces import with_gaps_at
from analysis.words.shape import LINE_WORDS, shape_words

if TYPE_CHECKING:
    from analysis.answers.face_map import FaceMap

EVENLY = 1.05
"""Distances between stations that differ by no more are one spacing."""
LYING_IN = {True: (3.1,), False: (2.8,)}
UPRIGHT_IN = {True: (6.4, 4.8), False: (5.8, 4.8)}
"""Heights of the picture, or height and width, with a title and without."""
MOST_MARKED = 60
"""More stations than these run together: the curve alone is drawn."""


def profile_figure(
    result: "FaceMap",
    inch: bool = False,
    *,
    called: Called | None = None,
    unworn_mm: Sequence[tuple[float, float]] = (),
    is_titled: bool = True,
) -> Figure:
    """The heights of one face, filled to the line they are taken from.

    Parameters
    ----------
    result : FaceMap
    inch : bool
        Thou and inches, else µm and mm.
    called : Called, optional
        What the ends of the bed are called; a guide that stands upright is drawn as it stands.
    unworn_mm : sequence of (start, end)
        Stretches that the carriage never reached, to be marked.
    is_titled : bool
        Put the answer in words above the picture.
    """
    is_upright = called is not None and called.is_upright
    sizes, wrapped_at = (UPRIGHT_IN, 58) if is_upright else (LYING_IN, 92)
    with look():
        figure = new_figure(*sizes[is_titled])
        axes = FaceAxes(figure.add_subplot(), is_upright)
        scale = Scale(inch)
        axes.ground()
        _draw_curve(axes, result, scale)
        _mark_gaps(axes, result, scale)
        _mark_base_lag(axes, result, scale)
        _mark_unworn(axes, unworn_mm, scale)
        _mark_extremes(axes, result, scale)
        axes.name(scale, called)
        columns = 1 if is_upright else 3
        figure.legend(loc="outside lower center", ncols=columns, handlelength=1.8, columnspacing=2.0)
        if is_titled:
            axes.axes.set_title(wrapped(shape_words(result, inch), wrapped_at))
        return figure


def _draw_curve(axes: FaceAxes, result: "FaceMap", scale: Scale) -> None:
    result = without_untried(result)
    kept = thinned(result.height_um)
    along, out = scale.length(result.station_mm[kept]), scale.height(result.height_um[kept])
    half = 2 * scale.height(result.standard_uncertainty_um[kept])
    known, joints = np.isfinite(out), scale.length(result.joints_mm)
    filled, filled_to = with_gaps_at(joints, along[known], out[known])
    _fill(axes, filled, filled_to, 0.22 if not known.all() else 0.55)
    if not known.all():
        axes.plot(filled, filled_to, color=INK, linewidth=0.8, linestyle=(0, (3, 3)), zorder=3)
        if known.sum() <= MOST_MARKED:
            # a band needs neighbours; beside a gap a bar shows the same
            looks = {"fmt": "none", "ecolor": INK, "elinewidth": 0.8, "capsize": 2.5}
            axes.bars(along[known], out[known], half[known], **looks)
    along, out, half = with_gaps_at(joints, along, out, half)
    axes.band(along, out, half)
    marker = "o" if len(kept) <= MOST_MARKED else ""
    axes.plot(
        along, out, color=INK, linewidth=1.2, marker=marker, markersize=3, zorder=4,
        label="height, with its uncertainty (95 %)",
    )  # fmt: skip
    axes.plot([], [], color=INK, linewidth=0.9, label=f"0 is {LINE_WORDS[result.line]}")
    axes.joints(joints)
    axes.margins(0.02, 0.18)


def without_untried(result: "FaceMap") -> "FaceMap":
    """Less the stations between evenly spaced known ones: nobody tried these, nothing failed there."""
    known = np.isfinite(result.height_um)
    apart = np.diff(result.station_mm[known])
    if known.all() or not apart.size or apart.max() > EVENLY * apart.min():
        return result
    ends = np.flatnonzero(known)[[0, -1]]
    kept = known | (np.arange(known.size) < ends[0]) | (np.arange(known.size) > ends[1])
    return replace(
        result,
        station_mm=result.station_mm[kept],
        height_um=result.height_um[kept],
        standard_uncertainty_um=result.standard_uncertainty_um[kept],
    )


def _fill(axes: FaceAxes, along: np.ndarray, out: np.ndarray, strength: float) -> None:
    """Fill to the line: plain where it is low, hatched where it is high; paler across stations not known."""
    # what rounding leaves of a zero is neither low nor high
    least = 1e-6 * float(np.nanmax(out) - np.nanmin(out))
    if np.nanmin(out) < -least:
        axes.fill(
            along,
            out,
            0,
            where=out < 0,
            color=LOW,
            alpha=strength,
            linewidth=0,
            interpolate=True,
            label="low",
        )
    if np.nanmax(out) > least:
        axes.fill(
            along, out, 0, where=out > 0, facecolor=HIGH, alpha=strength + 0.2, linewidth=0, hatch="////",
            edgecolor=SOFT, interpolate=True, label="high",
        )  # fmt: skip


def _mark_gaps(axes: FaceAxes, result: "FaceMap", scale: Scale) -> None:
    result = without_untried(result)
    gaps = scale.length(result.station_mm[np.isnan(result.height_um)])
    if len(gaps):
        shown = gaps[np.linspace(0, len(gaps) - 1, min(len(gaps), MOST_MARKED)).astype(int)]
        axes.plot(shown, np.zeros(len(shown)), "x", color=INK, markersize=4.5, zorder=4, label="not known")


def _mark_base_lag(axes: FaceAxes, result: "FaceMap", scale: Scale) -> None:
    """Stations with nothing assumed between them, laid onto the curve: only their shape is known."""
    apart = result.base_lag
    if apart is None or np.isnan(result.height_um).any():
        return
    off = np.interp(apart.station_mm, result.station_mm, result.height_um) - apart.height_um
    height = apart.height_um + np.polyval(np.polyfit(apart.station_mm, off, 1), apart.station_mm)
    axes.bars(
        scale.length(apart.station_mm), scale.height(height), 2 * scale.height(apart.standard_uncertainty_um),
        fmt="s", color=OTHER, markerfacecolor="white", markersize=5.5, elinewidth=1.0, capsize=2.5, zorder=5,
        label=f"one base ({scale.length(apart.base_mm):.4g} {scale.length_unit}) apart",
    )  # fmt: skip


def _mark_unworn(axes: FaceAxes, unworn_mm: Sequence[tuple[float, float]], scale: Scale) -> None:
    for number, stretch in enumerate(unworn_mm):
        axes.stretch(
            *scale.length(stretch), facecolor="white", edgecolor=SOFT, hatch="xxxx", zorder=1, linewidth=0.6,
            label="never worn" if number == 0 else "",
        )  # fmt: skip


def _mark_extremes(axes: FaceAxes, result: "FaceMap", scale: Scale) -> None:
    """The figure beside the highest and the lowest place, with no more digits than it deserves."""
    if result.sense.startswith("straight"):
        return
    decimals = decimals_for(float(scale.height(result.straightness_expanded_um / 2)))
    first, last = result.station_mm[0], result.station_mm[-1]
    for place, is_high in ((result.highest, True), (result.lowest, False)):
        value = float(scale.height(place.height_um))
        if round(value, decimals) == 0:
            continue
        at = int(np.nanargmin(np.abs(result.station_mm - place.station_mm)))
        half = 2 * float(scale.height(result.standard_uncertainty_um[at]))
        axes.label(
            number_text(value, decimals).replace("-", "−"),
            float(scale.length(place.station_mm)),
            value + (half if is_high else -half),
            is_outward=is_high,
            share=(place.station_mm - first) / (last - first),
        )
