"""A full-scale paper strip to lay on the way: where how much comes off this round, and in which passes.

Printed at 100 % one millimetre on the paper is one on the bed.  Tiles overlap; the register mark at the end
of one lies on that at the beginning of the next.  Every page carries a length to measure: a printer that
shrinks it must not be used.
"""

from collections.abc import Container, Sequence
from math import ceil
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from acquire.model.bed import Bed
from acquire.model.errors import AnalysisError
from acquire.model.units import MM_PER_INCH
from analysis.answers.plan import FacePlan
from analysis.draw.figures.looks import FAINT, HIGH, INK, OTHER, SOFT
from analysis.draw.sheets import PAPERS, put_on_paper
from analysis.linear.pieces import rows_in_pieces
from analysis.words.known import station_cell
from analysis.words.plan import depth_text, fine_um, passes_rows, units
from analysis.words.wall import NOT_YET

MARGIN_MM = 14.0
STRIP_MM = 46.0
"""Height of one tile."""
ROW_MM = 56.0
"""From one tile to the next down the page."""
HEAD_MM = 24.0
ROUNDING_MM = 1e-3
OVERLAP_MM = 8.0
"""What a tile shows beyond its register marks, to be glued over."""
PRINTER_MM = 12.0
"""What printers leave white."""
CHECK_MM, CHECK_IN = 100.0, 4.0


def tile_mm(inch: bool, paper: str) -> float:
    """Length of bed from register mark to register mark on one tile: whole inches, or 25 mm.

    Examples
    --------
    >>> tile_mm(False, "A4"), round(tile_mm(True, "Letter") / 25.4)
    (250.0, 9)
    """
    unit = MM_PER_INCH if inch else 25.0
    return unit * float((PAPERS[paper][1] - 2 * (PRINTER_MM + OVERLAP_MM)) // unit)


def strip_pages(
    bed: Bed, plan: FacePlan, inch: bool, paper: str = "A4", *, not_yet: bool = False
) -> list[Figure]:
    """The pages of one face's strip, landscape, several tiles a page; the passes on the last.

    Parameters
    ----------
    bed : Bed
    plan : FacePlan
    inch : bool
        Inches and thou, else mm and µm.
    paper : str
        A4 | Letter.
    not_yet : bool
        Nothing may be scraped yet; each page says so, and each tile, which is cut out of its page.

    Raises
    ------
    AnalysisError
        For another paper.
    """
    if paper not in PAPERS:
        raise AnalysisError("paper", f"found {paper!r}", " | ".join(PAPERS))
    height, width = PAPERS[paper]
    first, last = plan.removal.station_mm[[0, -1]]
    step = tile_mm(inch, paper)
    count = max(ceil((last - first) / step - 1e-9), 1)
    rows = int((height - HEAD_MM - MARGIN_MM) // ROW_MM)
    mark = f"   {NOT_YET}" if not_yet else ""
    pages = []
    for page in range(ceil(count / rows)):
        figure = Figure(figsize=(width / MM_PER_INCH, height / MM_PER_INCH))
        _head(figure, bed, plan, (width, height), inch, f"page {page + 1}")
        for row in range(min(rows, count - page * rows)):
            tile = page * rows + row
            low = HEAD_MM + row * ROW_MM
            axes = _mm_axes(figure, (width, height), low, first + tile * step, step)
            _tile(axes, plan, first + tile * step, step, inch, f"{tile + 1} of {count}{mark}")
        pages.append(figure)
    pages.append(_passes_page(bed, plan, (width, height), inch))
    for figure in pages if not_yet else ():
        _mark_not_yet(figure, (width, height))
    return pages


def write_strips(
    path: Path,
    bed: Bed,
    plans: Sequence[FacePlan],
    inch: bool,
    paper: str = "A4",
    *,
    not_yet: Container[str] = (),
) -> None:
    """Strips of several faces as one PDF, put in place whole; `not_yet` names those not to be scraped yet.

    Raises
    ------
    AnalysisError
        Where the file is no .pdf, or cannot be written.
    """
    if path.suffix.lower() != ".pdf":
        raise AnalysisError(str(path), f"found the ending {path.suffix!r}", ".pdf")
    pages = (strip_pages(bed, plan, inch, paper, not_yet=plan.face in not_yet) for plan in plans)
    put_on_paper(path, bed, (page for each in pages for page in each))


def _mm_axes(
    figure: Figure, size: tuple[float, float], top_mm: float, start_mm: float, step_mm: float
) -> Axes:
    """Axes on which a millimetre of bed is a millimetre of paper, its start at the left margin."""
    width, height = size
    shown = step_mm + 2 * OVERLAP_MM
    left = (width - shown) / 2
    axes = figure.add_axes((left / width, 1 - (top_mm + STRIP_MM) / height, shown / width, STRIP_MM / height))
    axes.set_xlim(start_mm - OVERLAP_MM, start_mm + step_mm + OVERLAP_MM)
    axes.set_ylim(0, STRIP_MM)
    axes.axis("off")
    return axes


def _tile(axes: Axes, plan: FacePlan, start_mm: float, step_mm: float, inch: bool, name: str) -> None:
    x, depth = plan.removal.station_mm, plan.this_round_um
    end_mm = start_mm + step_mm
    axes.plot([start_mm - OVERLAP_MM, end_mm + OVERLAP_MM], [0.3, 0.3], color=SOFT, linewidth=0.6)
    axes.plot([start_mm - OVERLAP_MM, end_mm + OVERLAP_MM], [STRIP_MM - 0.3] * 2, color=SOFT, linewidth=0.6)
    most = float(np.max(depth, initial=0.0))
    fine = np.clip(np.linspace(start_mm - OVERLAP_MM, end_mm + OVERLAP_MM, 400), x[0], x[-1])
    fine = np.sort(np.r_[fine, [mm + side for mm in plan.joints_mm for side in (0.0, ROUNDING_MM)]])
    if most > 0:
        height = 20 * (rows_in_pieces(x, fine, plan.joints_mm) @ depth) / most
        axes.fill_between(fine, 2, 2 + height, color=HIGH, alpha=0.5, linewidth=0)
    for number, each in enumerate(plan.passes):
        for low, high in each.stretches_mm:
            y = STRIP_MM - 2.5 - 1.2 * min(number, 8)
            axes.plot([low, high], [y, y], color=INK, linewidth=1.6, solid_capstyle="butt", clip_on=True)
    first, _ = units(inch)
    for mm, um in zip(x.tolist(), depth.tolist(), strict=True):
        if start_mm - OVERLAP_MM <= mm <= end_mm + OVERLAP_MM:
            _station(axes, mm, depth_text(um, first, fine_um(plan)), inch)
    for mark in (start_mm, end_mm):
        _register(axes, mark)
    axes.text(start_mm + 2, STRIP_MM - 17, f"{plan.face}   tile {name}", fontsize=6.5, color=SOFT)


def _station(axes: Axes, mm: float, depth: str, inch: bool) -> None:
    axes.plot([mm, mm], [0.3, 7], color=INK, linewidth=0.8)
    at = station_cell(mm, inch)
    axes.text(mm, 8, at, fontsize=5.5, ha="center", color=SOFT, clip_on=True)
    axes.text(mm, 12, depth, fontsize=13, ha="center", fontweight="bold", clip_on=True)


def _register(axes: Axes, mm: float) -> None:
    """A cross in a circle: two of them on each other join two tiles."""
    y = STRIP_MM / 2 + 4
    axes.plot([mm - 4, mm + 4], [y, y], color=OTHER, linewidth=0.7)
    axes.plot([mm, mm], [0.3, STRIP_MM - 0.3], color=OTHER, linewidth=0.5, linestyle=(0, (6, 4)))
    axes.plot([mm], [y], marker="o", markersize=9, markerfacecolor="none", color=OTHER, markeredgewidth=0.7)


def _head(figure: Figure, bed: Bed, plan: FacePlan, size: tuple[float, float], inch: bool, page: str) -> None:
    width, height = size
    first, _ = units(inch)
    length = CHECK_IN * MM_PER_INCH if inch else CHECK_MM
    told = f"{CHECK_IN:g} in" if inch else f"{CHECK_MM:g} mm"
    left = (width - length) / 2
    figure.text(
        MARGIN_MM / width, 1 - 7 / height,
        f"{bed.name}: {plan.face}, depth to take off this round in {first}; {bed.called.origin} to the left; "
        f"{page}",
        fontsize=8.5, va="top",
    )  # fmt: skip
    axes = figure.add_axes((left / width, 1 - 20 / height, length / width, 6 / height))
    axes.set_xlim(0, length)
    axes.set_ylim(0, 6)
    axes.axis("off")
    axes.plot([0, length], [2, 2], color=INK, linewidth=0.8)
    for end in (0, length):
        axes.plot([end, end], [0, 4], color=INK, linewidth=0.8, clip_on=False)
    axes.text(
        length / 2, 2.6, f"measure this line: {told}; else print again at 100 %, not fitted to the page",
        fontsize=6, ha="center", clip_on=False,
    )  # fmt: skip
    figure.text(
        MARGIN_MM / width, 6 / height,
        "Black bars: passes, the uppermost first. Cut along the grey lines, glue mark on mark. Confirm with "
        "blue and a straightedge: metal does not go back.",
        fontsize=6, color=SOFT,
    )  # fmt: skip


def _mark_not_yet(figure: Figure, size: tuple[float, float]) -> None:
    width, height = size
    figure.text(
        1 - MARGIN_MM / width, 1 - 13 / height, NOT_YET,
        fontsize=14, ha="right", va="top", color=OTHER, fontweight="bold",
    )  # fmt: skip


def _passes_page(bed: Bed, plan: FacePlan, size: tuple[float, float], inch: bool) -> Figure:
    """The passes in order of work."""
    width, height = size
    figure = Figure(figsize=(width / MM_PER_INCH, height / MM_PER_INCH))
    _head(figure, bed, plan, size, inch, "passes in order of work")
    axes = figure.add_axes((MARGIN_MM / width, 14 / height, 1 - 2 * MARGIN_MM / width, 1 - 44 / height))
    axes.axis("off")
    for row, (number, where) in enumerate(passes_rows(plan, inch) or [("", "nothing to scrape this round")]):
        y = 1 - row / 24
        axes.text(0.0, y, number, fontsize=9, va="top", transform=axes.transAxes)
        axes.text(0.08, y, where, fontsize=9, va="top", transform=axes.transAxes)
        axes.plot([0, 1], [y - 0.034] * 2, color=FAINT, linewidth=0.5, transform=axes.transAxes)
    return figure
