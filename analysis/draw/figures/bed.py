"""The bed from above and across, every face coloured by its deviation, figures beside the colour."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from acquire.model.bed import Bed
from acquire.model.units import decimals_for, number_text
from analysis.draw.figures.looks import INK, ON_DARK, ON_LIGHT, SCALE, SOFT, Scale, look, new_figure
from analysis.draw.figures.section import draw_section
from analysis.draw.figures.thinning import MOST_POINTS, with_figures
from analysis.linear.pieces import is_between_pieces
from analysis.linear.reference_lines import remove_line
from analysis.words.shape import LINE_WORDS

if TYPE_CHECKING:
    from analysis.answers.face_map import FaceMap
    from analysis.answers.whole_bed import WholeBed

MOST_NUMBERS = 9
"""Figures along one face: more would run together."""
COMMON_LINE = "ends"
ROW_IN = 0.31
FROM_THE_END_PT = {"left": 3.0, "center": 0.0, "right": -3.0}
"""Figures at the ends of a strip stand clear of its edge."""
UP_FROM = {"left": "bottom", "center": "center", "right": "top"}
"""The same of what stands upright."""
COLUMN_IN, STANDING_IN = 0.62, 5.2
"""Width of a face that stands, and height of the picture."""
STRIP = 0.62
"""Share of a row that its coloured strip takes."""
WORDS_OF_NORMAL = {"up": "", "down": "faces down", "front": "faces front", "rear": "faces rear"}


def bed_figure(result: "WholeBed", bed: Bed, inch: bool = False) -> Figure:
    """The bed in plan, station by station, and in cross-section where it is worn the most.

    Parameters
    ----------
    result : WholeBed
        Faces whose own shape is not known are drawn as not mapped.
    bed : Bed
    inch : bool
        Figures in thou and inches, else µm and mm.
    """
    faces, line = on_one_line(result.maps)
    norm = _norm(faces)
    rows = _front_to_rear(bed)
    station_mm = _most_worn(faces)
    coloured = {name: _at(drawn, station_mm) for name, drawn in faces.items()}
    with look():
        plan, across, colours = (_standing if bed.called.is_upright else _lying)(len(rows))
        _draw_plan(PlanAxes(plan, bed.called.is_upright), bed, rows, faces, norm, Scale(inch))
        _draw_across(across, bed, coloured, faces, norm, station_mm, Scale(inch))
        _draw_scale(colours, norm, Scale(inch), line)
        figure = plan.get_figure()
        assert isinstance(figure, Figure)
        return figure


def _lying(rows: int) -> tuple[Axes, Axes, Axes]:
    """The plan over all of the width, under it the section and the colours."""
    figure = new_figure(2.65 + ROW_IN * rows)
    grid = figure.add_gridspec(2, 2, width_ratios=(3.6, 1), height_ratios=(0.5 + ROW_IN * rows, 1.55))
    return (
        figure.add_subplot(grid[0, :]),
        figure.add_subplot(grid[1, 0]),
        figure.add_subplot(grid[1, 1]),
    )


def _standing(rows: int) -> tuple[Axes, Axes, Axes]:
    """What stands upright on the left, beside it the section over the colours."""
    figure = new_figure(STANDING_IN)
    grid = figure.add_gridspec(
        2, 2, width_ratios=(max(1.6 + COLUMN_IN * rows, 2.4), 3.6), height_ratios=(1.2, 1)
    )
    return (
        figure.add_subplot(grid[:, 0]),
        figure.add_subplot(grid[0, 1]),
        figure.add_subplot(grid[1, 1]),
    )


def on_one_line(maps: "Mapping[str, FaceMap]") -> "tuple[dict[str, FaceMap], str]":
    """All faces from one kind of line, for depths from different lines are not to be compared.

    Their own where it is the same for all, else the line through the ends.

    Parameters
    ----------
    maps : mapping of face id to FaceMap

    Returns
    -------
    maps : dict of face id to FaceMap
    line : str
        Which it is.
    """
    lines = {each.line for each in maps.values()}
    if len(lines) <= 1:
        return dict(maps), next(iter(lines), COMMON_LINE)
    return {name: _from_its_ends(each) for name, each in maps.items()}, COMMON_LINE


def _from_its_ends(found: "FaceMap") -> "FaceMap":
    level = remove_line(found.profile, COMMON_LINE)
    known = np.isfinite(found.height_um)
    height, doubt = np.full(known.size, np.nan), np.full(known.size, np.nan)
    height[known] = np.interp(found.station_mm[known], level.station_mm, level.height_um)
    doubt[known] = np.interp(found.station_mm[known], level.station_mm, level.standard_uncertainty_um)
    return replace(found, line=COMMON_LINE, height_um=height, standard_uncertainty_um=doubt)


def _norm(faces: "Mapping[str, FaceMap]") -> Normalize:
    known = [drawn.height_um[np.isfinite(drawn.height_um)] for drawn in faces.values()]
    heights = np.concatenate([np.zeros(1), *known])
    low, high = float(heights.min()), float(heights.max())
    return Normalize(low, high if high > low else low + 1.0)


def _front_to_rear(bed: Bed) -> list[str]:
    """Face ids as they lie from the front; undescribed places keep the order of bed.toml."""
    names = list(bed.faces)
    return sorted(names, key=lambda name: (bed.faces[name].across_mm or 0.0, names.index(name)))


def _most_worn(faces: "Mapping[str, FaceMap]") -> float | None:
    lowest = [
        (float(np.nanmin(drawn.height_um)), float(drawn.station_mm[np.nanargmin(drawn.height_um)]))
        for drawn in faces.values()
        if np.isfinite(drawn.height_um).any()
    ]
    return min(lowest)[1] if lowest else None


def _at(drawn: "FaceMap", station_mm: float | None) -> float | None:
    """Deviation at a station, between its known neighbours; None beyond them, and over a joint of the bed."""
    known = np.isfinite(drawn.height_um)
    x, y = drawn.station_mm[known], drawn.height_um[known]
    if station_mm is None or not len(x) or not x[0] <= station_mm <= x[-1]:
        return None
    if is_between_pieces(drawn.joints_mm, x, station_mm):
        return None
    return float(np.interp(station_mm, x, y))


@dataclass(frozen=True)
class PlanAxes:
    """Matplotlib's axes, spoken to by places along and across; of what stands upright, along is up."""

    axes: Axes
    is_upright: bool

    def strip(self, start: float, end: float, row: int, **looks: Any) -> None:
        """A stretch of the face in a row."""
        corner, size = self.at(start, row - STRIP / 2), self.at(end - start, STRIP)
        self.axes.add_patch(Rectangle(corner, *size, **looks))

    def at(self, along: float, across: float) -> tuple[float, float]:
        """As x and y."""
        return (across, along) if self.is_upright else (along, across)

    def rows(self, names: Sequence[str], length: float) -> None:
        """Names of the rows, and room about them."""
        rows, along = (-0.9, len(names) - 0.4), (-0.01 * length, 1.01 * length)
        if self.is_upright:
            self.axes.set_xticks(range(len(names)), names)
            self.axes.set_xlim(-0.6, len(names) - 0.4)
            self.axes.set_ylim(along)
        else:
            self.axes.set_yticks(range(len(names)), names)
            self.axes.set_ylim(rows)
            self.axes.set_xlim(along)
        self.axes.tick_params(axis="x" if self.is_upright else "y", length=0)
        for side in ("top", "right", "bottom") if self.is_upright else ("left", "right"):
            self.axes.spines[side].set_visible(False)


def _draw_plan(
    plan: PlanAxes,
    bed: Bed,
    rows: Sequence[str],
    faces: "Mapping[str, FaceMap]",
    norm: Normalize,
    scale: Scale,
) -> None:
    length, axes = float(scale.length(bed.length_mm)), plan.axes
    for row, name in enumerate(rows):
        hatch = "" if name in faces else "///"
        plan.strip(0.0, length, row, facecolor="white", edgecolor=SOFT, linewidth=0.7, hatch=hatch)
        if name in faces:
            _draw_strip(plan, faces[name], row, norm, scale)
        else:
            x, y = plan.at(length / 2, row)
            turned = 90 if plan.is_upright else 0
            axes.text(
                x, y, " not mapped ", ha="center", va="center", rotation=turned, backgroundcolor="white"
            )
    plan.rows([_label(bed, name) for name in rows], length)
    if plan.is_upright:
        axes.set_title("across it not to scale", fontsize=8, loc="left")
        axes.set_ylabel(f"station, {scale.length_unit}, up from the {bed.called.origin}")
        return
    axes.set_title(f"{bed.called.view} (across it not to scale)")
    axes.text(length / 2, -0.86, bed.called.front, ha="center", va="bottom", color=SOFT, fontsize=7.5)
    scale.along(axes)


def _label(bed: Bed, name: str) -> str:
    face = bed.faces[name]
    more = [face.form or "", WORDS_OF_NORMAL[face.normal]]
    words = ", ".join(each for each in more if each)
    return f"{name}\n{words}" if words else name


def _draw_strip(plan: PlanAxes, drawn: "FaceMap", row: int, norm: Normalize, scale: Scale) -> None:
    x, y = drawn.station_mm, drawn.height_um
    edges = np.concatenate([x[:1], _between(x, drawn.joints_mm), x[-1:]])
    for start, end, height in zip(*_cells(edges, y), strict=True):
        if np.isfinite(height):
            stretch = float(scale.length(start)), float(scale.length(end))
            plan.strip(*stretch, row, facecolor=_ink(norm, height), linewidth=0)
    decimals = decimals_for(float(scale.height(drawn.straightness_expanded_um / 2)))
    for index in with_figures(x, y, MOST_NUMBERS):
        side = {0: "left", len(x) - 1: "right"}.get(index, "center")
        off = FROM_THE_END_PT[side]
        plan.axes.annotate(
            _figure_text(y[index], decimals, scale), plan.at(float(scale.length(x[index])), row),
            plan.at(off, 0), textcoords="offset points", ha="center" if plan.is_upright else side,
            va=UP_FROM[side] if plan.is_upright else "center", fontsize=7.5,
            color=ON_LIGHT if norm(y[index]) > 0.5 else ON_DARK,
            bbox={"facecolor": _ink(norm, y[index]), "linewidth": 0, "pad": 0.8},
        )  # fmt: skip


def _between(x: np.ndarray, joints_mm: Sequence[float]) -> np.ndarray:
    """Where one station's colour ends and the next begins: half way, or at the joint between the two."""
    middle = (x[1:] + x[:-1]) / 2
    for mm in joints_mm:
        middle[np.searchsorted(x, mm, side="right") - 1] = mm
    return middle


def _ink(norm: Normalize, height_um: float) -> Any:
    return colormaps[SCALE](float(norm(height_um)))


def _figure_text(height_um: float, decimals: int, scale: Scale) -> str:
    return number_text(float(scale.height(height_um)), decimals).replace("-", "−")


def _cells(edges: np.ndarray, height: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Cells of a strip; of very many, neighbours joined by their lowest: wear is what is looked for."""
    step = -(-len(height) // MOST_POINTS)
    if step == 1:
        return edges[:-1], edges[1:], height
    starts = np.arange(0, len(height), step)
    lowest = np.array([np.nanmin(height[i : i + step]) if np.isfinite(height[i : i + step]).any() else np.nan
                       for i in starts])  # fmt: skip
    return edges[starts], np.append(edges[starts[1:]], edges[-1]), lowest


def _draw_across(
    axes: Axes,
    bed: Bed,
    coloured: Mapping[str, float | None],
    faces: "Mapping[str, FaceMap]",
    norm: Normalize,
    station_mm: float | None,
    scale: Scale,
) -> None:
    inks, words = {}, {}
    for name, height in coloured.items():
        if height is None:
            continue
        decimals = decimals_for(float(scale.height(faces[name].straightness_expanded_um / 2)))
        inks[name] = _ink(norm, height)
        words[name] = _figure_text(height, decimals, scale)
    draw_section(axes, bed, inks, words)
    where = (
        ""
        if station_mm is None
        else f" at {round(float(scale.length(station_mm)), 2):g} {scale.length_unit}, the lowest place"
    )
    seen = f"(seen from the {bed.called.seen_from})"
    axes.set_title(f"Across{where}\n{seen}")  # on one line it would reach into the words of the scale


def _draw_scale(axes: Axes, norm: Normalize, scale: Scale, line: str) -> None:
    """The colours in the unit of the figures, upright beside the cross-section."""
    axes.set_axis_off()
    bar = axes.inset_axes((0.42, 0.0, 0.12, 0.92))
    low, high = float(norm.vmin or 0.0), float(norm.vmax or 1.0)
    shades = np.linspace(low, high, 128)[:, None]
    bar.imshow(
        shades, aspect="auto", origin="lower", cmap=SCALE, norm=norm,
        extent=(0, 1, float(scale.height(low)), float(scale.height(high))), interpolation="nearest",
    )  # fmt: skip
    bar.set_xticks([])
    bar.set_ylabel(scale.height_unit)
    bar.tick_params(labelsize=7.5)
    words = f"all from {LINE_WORDS[line]};\nlight high, dark low".replace(" through", "\nthrough", 1)
    axes.text(0.48, 1.0, words, ha="center", va="bottom", fontsize=7.5, color=INK)
