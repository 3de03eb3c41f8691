"""Pictures of the answers: made without a display, for a page, a sheet of paper or a notebook.

Every function takes an answer and whether inches and thou come first, and returns a
matplotlib figure that belongs to no window.  Dark is low and light is high, so that a
picture still reads when it is printed in grey.
"""

from analysis.figures.bed_figure import bed_figure
from analysis.figures.comparison_figure import comparison_figure
from analysis.figures.history_figure import history_figure
from analysis.figures.looks import inline_svg, save
from analysis.figures.plan_figure import plan_figure
from analysis.figures.profile_figure import profile_figure
from analysis.figures.thinning import thinned
from analysis.figures.twist_figure import twist_figure

__all__ = [
    "bed_figure",
    "comparison_figure",
    "history_figure",
    "inline_svg",
    "plan_figure",
    "profile_figure",
    "save",
    "thinned",
    "twist_figure",
]
