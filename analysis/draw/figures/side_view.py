"""The bed from the side, to carry to the machine: what lies above each face's target, and the feet.

One drawing for all faces, laid out in inches of paper: a strip a face, one scale of heights for all, the
depth to take off in figures under the stations.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from acquire.model.bed import Bed, Foot
from analysis.draw.figures.looks import FAINT, HIGH, INK, OTHER, SOFT, WIDTH_IN, Scale, draw_band, look
from analysis.draw.figures.thinning import thinned, with_figures
from analysis.linear.pieces import with_gaps_at
from analysis.words.plan import depth_text, fine_um, units
from analysis.words.wall import NOT_YET, strip_words, turn_words

if TYPE_CHECKING:
    from analysis.answers.feet_on_bed import Feet, Move
    from analysis.answers.plan import FacePlan

LEFT_IN, RIGHT_IN = 0.74, 0.26
STRIP_IN, TITLE_IN, CURVE_IN = 0.9, 0.2, 0.4
FOOT_ROW_IN, AXIS_IN = 0.36, 0.42
MOST_FIGURES = 17
FIGURES_PT = 9.0


@dataclass(frozen=True)
class Strip:
    """One face on the side view."""

    plan: "FacePlan"
    may_be_scraped: bool


def side_view_figure(
    strips: Sequence[Strip], bed: Bed, inch: bool = False, feet: "Feet | None" = None
) -> Figure:
    """Every face above its target, the depth under each station, and which foot to turn.

    Parameters
    ----------
    strips : sequence of Strip
        One at least; from the top.
    bed : Bed
    inch : bool
        Thou and inches, else µm and mm.
    feet : Feet, optional
        Drawn where given and bed.toml describes feet.
    """
    scale = Scale(inch)
    rows = _foot_rows(bed) if feet is not None else {}
    moves = {} if feet is None else {move.foot: move for move in feet.moves}
    tall = STRIP_IN * len(strips) + FOOT_ROW_IN * len(rows)
    with look():
        high, width = tall + AXIS_IN, (WIDTH_IN - LEFT_IN - RIGHT_IN) / WIDTH_IN
        figure = Figure(figsize=(WIDTH_IN, high))
        axes = figure.add_axes((LEFT_IN / WIDTH_IN, AXIS_IN / high, width, tall / high))
        length = float(scale.length(bed.length_mm))
        axes.set_xlim(0.0, length)
        axes.set_ylim(-tall, 0.0)
        per_um = CURVE_IN / max(_highest(each) for each in strips)
        for row, strip in enumerate(strips):
            _draw_strip(axes, strip, -row * STRIP_IN, per_um, scale)
        for row, (name, standing) in enumerate(rows.items()):
            y = -STRIP_IN * len(strips) - FOOT_ROW_IN * row
            _draw_feet(axes, name, standing, moves, y, scale)
        _draw_stations(axes, strips, bed, scale)
        return figure


def _highest(strip: Strip) -> float:
    removal = strip.plan.removal
    return max(float(np.max(removal.removal_um + 2 * removal.standard_uncertainty_um)), 1e-3)


def _draw_strip(axes: Axes, strip: Strip, top: float, per_um: float, scale: Scale) -> None:
    """Title, metal above the target, and the depths under it."""
    removal = strip.plan.removal
    line = top - TITLE_IN - CURVE_IN
    kept = thinned(removal.removal_um)
    x, y = scale.length(removal.station_mm[kept]), line + per_um * removal.removal_um[kept]
    half = 2 * per_um * removal.standard_uncertainty_um[kept]
    x, y, half = with_gaps_at(scale.length(strip.plan.joints_mm), x, y, half)
    axes.fill_between(
        x, line, y, facecolor=HIGH, alpha=0.75, linewidth=0, hatch="////", edgecolor=SOFT, zorder=3
    )
    draw_band(
        axes, x, (y + half + np.maximum(y - half, line)) / 2, (y + half - np.maximum(y - half, line)) / 2
    )
    axes.plot(x, y, color=INK, linewidth=1.2, zorder=4)
    axes.plot([0.0, axes.get_xlim()[1]], [line, line], color=INK, linewidth=1.4, zorder=5)
    _title(axes, strip, top, scale)
    fine, (unit, _) = fine_um(strip.plan), units(scale.inch)
    axes.annotate(
        f"off, {unit}", (0.0, line - 0.15), (-LEFT_IN * 72, 0), textcoords="offset points", va="center",
        fontsize=8, color=SOFT, annotation_clip=False,
    )  # fmt: skip
    for index in with_figures(removal.station_mm, -removal.removal_um, MOST_FIGURES):
        axes.text(
            float(scale.length(removal.station_mm[index])), line - 0.15,
            depth_text(float(removal.removal_um[index]), unit, fine), ha="center", va="center",
            fontsize=FIGURES_PT, fontweight="bold" if strip.may_be_scraped else "normal", zorder=6,
        )  # fmt: skip


def _title(axes: Axes, strip: Strip, top: float, scale: Scale) -> None:
    at = (0.0, top - TITLE_IN / 2 - 0.02)
    name = axes.annotate(
        strip.plan.face, at, (-LEFT_IN * 72, 0), textcoords="offset points", va="center", fontsize=10,
        fontweight="bold", annotation_clip=False,
    )  # fmt: skip
    words = strip_words(strip.plan, scale.inch)
    after = axes.annotate(
        words,
        (1.0, 0.5),
        (8, 0),
        xycoords=name,
        textcoords="offset points",
        va="center",
        fontsize=9,
        annotation_clip=False,
    )
    if not strip.may_be_scraped:
        axes.annotate(
            NOT_YET, (1.0, 0.5), (8, 0), xycoords=after, textcoords="offset points", va="center",
            fontsize=9, fontweight="bold", color=OTHER, annotation_clip=False,
        )  # fmt: skip


def _foot_rows(bed: Bed) -> dict[str, list[Foot]]:
    """The feet along the rear and along the front; one in the middle counts to the front."""
    feet = sorted(bed.feet.values(), key=lambda foot: foot.station_mm)
    if not feet:
        return {}
    middle = (min(foot.across_mm for foot in feet) + max(foot.across_mm for foot in feet)) / 2
    rows = {
        "rear feet": [foot for foot in feet if foot.across_mm > middle],
        "front feet": [foot for foot in feet if foot.across_mm <= middle],
    }
    return {name: standing for name, standing in rows.items() if standing}


def _draw_feet(
    axes: Axes, name: str, feet: Sequence[Foot], moves: "Mapping[str, Move]", top: float, scale: Scale
) -> None:
    axes.annotate(
        name, (0.0, top - 0.12), (-LEFT_IN * 72, 0), textcoords="offset points", va="center", fontsize=8,
        color=SOFT, annotation_clip=False,
    )  # fmt: skip
    for foot in feet:
        x, move = float(scale.length(foot.station_mm)), moves.get(foot.id)
        axes.plot(
            [x], [top - 0.12], marker="^", markersize=8, color=INK if move else "white", clip_on=False,
            markeredgecolor=INK, zorder=6,
        )  # fmt: skip
        axes.text(
            x, top - 0.29, turn_words(move, scale.inch) if move else "leave", ha="center", va="center",
            fontsize=8.5, fontweight="bold" if move else "normal", zorder=6,
        )  # fmt: skip


def _draw_stations(axes: Axes, strips: Sequence[Strip], bed: Bed, scale: Scale) -> None:
    """Stations under all, and faint lines up from them to lead the eye."""
    places = np.unique(np.concatenate([each.plan.removal.station_mm for each in strips]))
    shown = scale.length(places[with_figures(places, np.zeros(len(places)), MOST_FIGURES)])
    axes.set_xticks(shown, [f"{round(float(each), 1):g}" for each in shown])
    axes.tick_params(labelsize=FIGURES_PT, length=3)
    axes.set_yticks([])
    axes.grid(True, axis="x", color=FAINT, linewidth=0.6)
    axes.set_axisbelow(True)
    for side in ("left", "right"):
        axes.spines[side].set_visible(False)
    axes.set_xlabel(f"station, {scale.length_unit} (0 is the {bed.called.origin})", labelpad=2)
