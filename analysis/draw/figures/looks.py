"""What all pictures have in common: sizes, inks, the unit drawn, bands and lines, and how one is kept."""

import io
import re
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from acquire.model.errors import AnalysisError, told_as
from acquire.model.units import MM_PER_INCH, THOU_PER_FOOT, UM_PER_THOU
from analysis.draw.figures.thinning import thinned
from analysis.linear.pieces import with_gaps_at
from analysis.linear.profile import COVERAGE_FACTOR, Profile

ROOM = "a folder with room to write in"
WIDTH_IN = 7.1
"""Fits between the margins of A4 and Letter alike."""
INK = "#1c1c1c"
SOFT = "#6b6b6b"
FAINT = "#d4d4d4"
LOW = "#2f6690"
HIGH = "#f2c14e"
OTHER = "#b3541e"
ON_DARK, ON_LIGHT = "#fefefe", "#000000"
"""Words on a coloured ground, which does not change with the screen."""
FOLLOWS_THE_SCREEN = {
    INK: "ink",
    SOFT: "mark",
    FAINT: "grid",
    "#ffffff": "paper",
    LOW: "low",
    OTHER: "other",
}
"""Inks that a page may set otherwise, for a dark screen; the names are those of its style sheet."""
SCALE = "cividis"
"""Dark is low, light is high; made for colour-blind eyes, and rises evenly in grey."""

_STYLE: Any = {
    "font.family": "DejaVu Sans",
    "font.size": 8.5,
    "axes.edgecolor": SOFT,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.titlelocation": "left",
    "axes.titlesize": 9.5,
    "axes.unicode_minus": True,
    "text.color": INK,
    "text.parse_math": False,  # a name with a dollar sign is a name
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.direction": "out",
    "legend.frameon": True,  # a white ground, so that no grid line runs through its words
    "legend.framealpha": 0.9,
    "legend.edgecolor": "none",
    "legend.fancybox": False,
    "legend.fontsize": 8,
    "hatch.linewidth": 0.5,
    "svg.fonttype": "none",  # text stays text: it can be selected and found
    "pdf.fonttype": 42,
    "path.simplify": False,
}
ENDINGS = (".png", ".svg", ".pdf")


def look() -> Any:
    """The common style, for as long as a picture is made or kept."""
    return rc_context(_STYLE)


@dataclass(frozen=True)
class Scale:
    """Which unit is drawn: one in a picture, as in the table beside it."""

    inch: bool

    @property
    def height_unit(self) -> str:
        """Unit of heights."""
        return "thou" if self.inch else "µm"

    @property
    def length_unit(self) -> str:
        """Unit along the bed."""
        return "in" if self.inch else "mm"

    def height(self, um: Any) -> np.ndarray:
        """Heights in the unit drawn."""
        return np.asarray(um, float) / (UM_PER_THOU if self.inch else 1.0)

    def length(self, mm: Any) -> np.ndarray:
        """Places along the bed in the unit drawn."""
        return np.asarray(mm, float) / (MM_PER_INCH if self.inch else 1.0)

    def along(self, axes: Axes) -> None:
        """Name the axis along the bed."""
        axes.set_xlabel(f"station, {self.length_unit}")

    def heights(self, axes: Axes, what: str) -> None:
        """Name the axis of heights, in the unit of the table beside it."""
        axes.set_ylabel(f"{what}, {self.height_unit}")

    @property
    def roll_unit(self) -> str:
        """Unit of a roll or slope."""
        return "thou/ft" if self.inch else "µm/m"

    def roll(self, um_per_m: Any) -> np.ndarray:
        """Rolls in the unit drawn."""
        return np.asarray(um_per_m, float) * (THOU_PER_FOOT if self.inch else 1.0)

    def rolls(self, axes: Axes, what: str) -> None:
        """Name the axis of rolls, and which way is up."""
        axes.set_ylabel(f"{what}, {self.roll_unit}")
        axes.text(0.005, 0.97, "▲ rear high", transform=axes.transAxes, va="top", fontsize=8)
        axes.text(0.005, 0.03, "▼ front high", transform=axes.transAxes, va="bottom", fontsize=8)


def wrapped(words: str, letters: int = 92) -> str:
    """A title on as many lines as it needs; as long as a picture is wide by default."""
    return "\n".join(textwrap.wrap(words, letters))


def new_figure(height_in: float, width_in: float = WIDTH_IN) -> Figure:
    """An empty figure that lays itself out; it belongs to no window."""
    return Figure(figsize=(width_in, height_in), layout="constrained")


def ground(axes: Axes) -> None:
    """Faint lines to read values by, and the line that heights are taken from."""
    axes.grid(True, axis="both", color=FAINT, linewidth=0.5)
    axes.set_axisbelow(True)
    axes.axhline(0.0, color=INK, linewidth=0.9, zorder=2)


def mark_joints(axes: Axes, at: Any) -> None:
    """A dotted line where two pieces of the bed meet, named once."""
    for number, each in enumerate(at):
        axes.axvline(
            each, color=OTHER, linewidth=1.0, linestyle=":", label="" if number else "joint of the bed"
        )


def draw_band(axes: Axes, x: np.ndarray, y: np.ndarray, half: np.ndarray, ink: str = INK) -> None:
    """Shade what lies within `half` of a curve, with edges that survive a poor printer."""
    axes.fill_between(x, y - half, y + half, color=ink, alpha=0.16, linewidth=0, zorder=3)
    for edge in (y - half, y + half):
        axes.plot(x, edge, color=ink, linewidth=0.5, alpha=0.7, zorder=3)


def _lay_out(figure: Figure) -> None:
    """Lay a figure out once; else it would be for a trial drawing and again for the real one."""
    engine = figure.get_layout_engine()
    if engine is not None:
        engine.execute(figure)
        figure.set_layout_engine(None)


def save(figure: Figure, path: Path) -> None:
    """Keep a figure as .png, .svg or .pdf; the same figure gives the same file.

    Raises
    ------
    AnalysisError
        Where the ending is another, or the folder is not there.
    """
    path = Path(path)
    if path.suffix.lower() not in ENDINGS:
        raise AnalysisError(str(path), f"found the ending {path.suffix!r}", " | ".join(ENDINGS))
    dates = {".svg": {"Date": None}, ".pdf": {"CreationDate": None}}
    with look(), rc_context({"svg.hashsalt": "waylog"}):
        _lay_out(figure)
        with told_as(AnalysisError, path, "cannot be written", ROOM):
            figure.savefig(path, dpi=160, metadata=dates.get(path.suffix.lower()))


def inline_svg(figure: Figure, name: str) -> str:
    """A figure as an SVG element to stand in a page; `name` keeps its inner names apart from others'."""
    kept = io.StringIO()
    with look(), rc_context({"svg.hashsalt": name}):
        _lay_out(figure)
        figure.savefig(kept, format="svg", metadata={"Date": None, "Creator": None})
    text = kept.getvalue()
    text = re.sub(r"<metadata>.*?</metadata>", "", text[text.index("<svg") :], flags=re.DOTALL)
    text = re.sub(r'<svg([^>]*?) width="[^"]*"', r"<svg\1", text, count=1)
    text = re.sub(r'<svg([^>]*?) height="[^"]*"', r"<svg\1", text, count=1)
    for ink, name_of_ink in FOLLOWS_THE_SCREEN.items():
        text = text.replace(ink, f"var(--{name_of_ink}, {ink})")
    for before, after in (
        (r'\bid="', f'id="{name}-'),
        (r"url\(#", f"url(#{name}-"),
        (r'href="#', f'href="#{name}-'),
    ):
        text = re.sub(before, after, text)
    return text.strip()


def draw_curve(
    axes: Axes,
    scale: Scale,
    along_mm: np.ndarray,
    value: np.ndarray,
    standard_uncertainty: np.ndarray | None = None,
    *,
    joints_mm: Sequence[float] = (),
    is_roll: bool = False,
    coverage_factor: float = COVERAGE_FACTOR,
    **line: Any,
) -> None:
    """A curve along the bed, none of it over a joint; over its band of 95 % where it is known how well.

    Parameters
    ----------
    axes : Axes
    scale : Scale
    along_mm, value, standard_uncertainty : array, shape (n,)
        Places in mm, and heights in µm or rolls in µm/m.
    joints_mm : sequence of float
        Where two pieces of the bed meet.
    is_roll : bool
        Whether the values are rolls.
    coverage_factor : float
        Of the band: standard uncertainties to either side.
    **line
        As matplotlib's `plot` takes it.
    """
    drawn, kept = scale.roll if is_roll else scale.height, thinned(value)
    columns = [scale.length(along_mm)[kept], drawn(value)[kept]]
    if standard_uncertainty is not None:
        columns.append(coverage_factor * drawn(standard_uncertainty)[kept])
    x, y, *half = with_gaps_at(scale.length(joints_mm), *columns)
    line = {"color": INK, "linewidth": 1.2, "markersize": 3.5, "zorder": 4, **line}
    if half:
        draw_band(axes, x, y, half[0], line["color"])
    axes.plot(x, y, **line)


def draw_profile(
    axes: Axes, scale: Scale, profile: Profile, joints_mm: Sequence[float] = (), **line: Any
) -> None:
    """Heights of a face over their band."""
    known = (profile.station_mm, profile.height_um, profile.standard_uncertainty_um)
    draw_curve(axes, scale, *known, joints_mm=joints_mm, **line)
