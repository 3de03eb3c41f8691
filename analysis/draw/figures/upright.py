"""One face of a guide that stands upright: places from the bottom up, heights to the side."""

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from acquire.model.called import Called
from acquire.model.units import decimals_for, number_text
from analysis.draw.figures.looks import FAINT, HIGH, INK, LOW, SOFT, Scale, look, new_figure
from analysis.draw.figures.thinning import thinned
from analysis.words.answers import LINE_WORDS, shape_words

if TYPE_CHECKING:
    from analysis.answers.face_map import FaceMap

MOST_MARKED = 60


def upright_profile_figure(
    result: "FaceMap",
    called: Called,
    inch: bool = False,
    *,
    unworn_mm: Sequence[tuple[float, float]] = (),
    is_titled: bool = True,
) -> Figure:
    """The heights of one face of an upright guide, drawn as it stands.

    Parameters
    ----------
    result : FaceMap
    called : Called
        Words for its bottom and top.
    inch : bool
        Thou and inches, else µm and mm.
    unworn_mm : sequence of (start, end)
        Stretches that nothing ever reached, to be marked.
    is_titled : bool
        Put the answer in words above the picture.
    """
    with look():
        figure = new_figure(6.4 if is_titled else 5.8, 4.8)
        axes = figure.add_subplot()
        scale = Scale(inch)
        axes.grid(True, axis="both", color=FAINT, linewidth=0.5)
        axes.set_axisbelow(True)
        axes.axvline(0.0, color=INK, linewidth=0.9, zorder=2, label=f"0 is {LINE_WORDS[result.line]}")
        _draw_curve(axes, result, scale)
        _mark_unworn(axes, unworn_mm, scale)
        _mark_extremes(axes, result, scale)
        _name_axes(axes, called, scale)
        figure.legend(loc="outside lower center", ncols=2, handlelength=1.8, columnspacing=2.0)
        if is_titled:
            axes.set_title("\n".join(textwrap.wrap(shape_words(result, inch), 58)))
        return figure


def _draw_curve(axes: Axes, result: "FaceMap", scale: Scale) -> None:
    kept = thinned(result.height_um)
    up, out = scale.length(result.station_mm[kept]), scale.height(result.height_um[kept])
    half = 2 * scale.height(result.standard_uncertainty_um[kept])
    known = np.isfinite(out)
    up, out, half = up[known], out[known], half[known]
    least = 1e-6 * float(np.ptp(out))  # what rounding leaves of a zero is neither low nor high
    if out.min() < -least:
        axes.fill_betweenx(
            up, np.minimum(out, 0.0), 0, color=LOW, alpha=0.55, linewidth=0, interpolate=True, label="low"
        )
    if out.max() > least:
        axes.fill_betweenx(
            up, np.maximum(out, 0.0), 0, facecolor=HIGH, alpha=0.75, linewidth=0, hatch="////",
            edgecolor=SOFT, interpolate=True, label="high",
        )  # fmt: skip
    axes.fill_betweenx(up, out - half, out + half, color=INK, alpha=0.16, linewidth=0, zorder=3)
    for edge in (out - half, out + half):
        axes.plot(edge, up, color=INK, linewidth=0.5, alpha=0.7, zorder=3)
    axes.plot(
        out, up, color=INK, linewidth=1.2, marker="o" if len(up) <= MOST_MARKED else "", markersize=3,
        zorder=4, label="height, with its uncertainty (95 %)",
    )  # fmt: skip
    axes.margins(x=0.18, y=0.02)


def _mark_unworn(axes: Axes, unworn_mm: Sequence[tuple[float, float]], scale: Scale) -> None:
    for number, stretch in enumerate(unworn_mm):
        start, end = scale.length(stretch)
        axes.axhspan(
            start, end, xmin=0.0, xmax=0.035, facecolor="white", edgecolor=SOFT, hatch="xxxx", zorder=1,
            linewidth=0.6, label="never worn" if number == 0 else "",
        )  # fmt: skip


def _mark_extremes(axes: Axes, result: "FaceMap", scale: Scale) -> None:
    if result.sense.startswith("straight"):
        return
    decimals = decimals_for(float(scale.height(result.straightness_expanded_um / 2)))
    for place, side in ((result.highest, 1), (result.lowest, -1)):
        value = float(scale.height(place.height_um))
        if round(value, decimals) == 0:
            continue
        at = int(np.nanargmin(np.abs(result.station_mm - place.station_mm)))
        half = 2 * float(scale.height(result.standard_uncertainty_um[at]))
        axes.annotate(
            number_text(value, decimals).replace("-", "−"),
            (value + side * half, float(scale.length(place.station_mm))),
            xytext=(4 * side, 0), textcoords="offset points", ha="left" if side > 0 else "right", va="center",
            fontweight="bold",
        )  # fmt: skip


def _name_axes(axes: Axes, called: Called, scale: Scale) -> None:
    """The two ends by name at the ends of the axis, and which way is proud."""
    axes.set_ylabel(f"station, {scale.length_unit}, up from the {called.origin}")
    axes.set_xlabel(f"height, {scale.height_unit} (+ proud, to where the face looks)")
    for at, words, va in ((0.0, called.origin, "bottom"), (1.0, called.far_end, "top")):
        axes.text(0.99, at, words, transform=axes.transAxes, ha="right", va=va, color=SOFT, fontsize=8)
