"""Each limit of the owner as a line at 100 %, and what the survey says of it as a bar."""

from typing import TYPE_CHECKING

from matplotlib.figure import Figure

from analysis.answers.limits import CANNOT_TELL, DOES_NOT_MEET, MEETS
from analysis.draw.figures.looks import FAINT, HIGH, INK, LOW, SOFT, look, new_figure
from analysis.words.limits import NAMES

if TYPE_CHECKING:
    from analysis.answers.limits import Verdicts

INKS = {MEETS: LOW, CANNOT_TELL: SOFT, DOES_NOT_MEET: HIGH}


def limits_figure(found: "Verdicts", inch: bool = False) -> Figure:
    """Figures and the intervals that hold them in truth, as shares of their limits; no unit is needed.

    Parameters
    ----------
    found : Verdicts
    inch : bool
        Taken like every picture does; shares are the same in any unit.
    """
    del inch
    shown = [each for each in found.judged if each.value is not None]
    with look():
        figure = new_figure(1.3 + 0.42 * max(len(shown), 1))
        axes = figure.add_subplot()
        axes.grid(True, axis="x", color=FAINT, linewidth=0.5)
        axes.set_axisbelow(True)
        for row, each in enumerate(shown):
            low, value, high = (
                100 * (part or 0.0) / each.limit for part in (each.low, each.value, each.high)
            )
            axes.plot([low, high], [row, row], color=INKS[each.verdict], linewidth=7, solid_capstyle="butt")
            axes.plot([value], [row], color=INK, marker="o", markersize=4)
        axes.axvline(100.0, color=INK, linewidth=1.4)
        names = [f"{NAMES[e.what]}\n{e.of}: {e.verdict}" for e in shown]
        axes.set_yticks(range(len(shown)), names)
        axes.set_ylim(len(shown) - 0.4, -0.6)
        axes.set_xlim(left=0.0)
        axes.set_xlabel(f"share of the limit, %   (bar: where the true figure lies, rule {found.rule})")
        return figure
