"""Pictures of the answers: made without a display, for a page, a sheet of paper or a notebook.

Every function takes an answer and whether inches and thou come first, and returns a
matplotlib figure that belongs to no window.  Dark is low and light is high, so that a
picture still reads when it is printed in grey.
"""

from analysis.draw.figures.bed import bed_figure
from analysis.draw.figures.blue import blue_figure
from analysis.draw.figures.comparison import comparison_figure
from analysis.draw.figures.datums import datums_figure
from analysis.draw.figures.feet import feet_figure
from analysis.draw.figures.history import history_figure
from analysis.draw.figures.joints import joints_figure, ripples_figure
from analysis.draw.figures.limits import limits_figure
from analysis.draw.figures.looks import inline_svg, save
from analysis.draw.figures.plan import plan_figure
from analysis.draw.figures.profile import profile_figure
from analysis.draw.figures.saddle import saddle_figure
from analysis.draw.figures.taper import taper_figure
from analysis.draw.figures.thinning import thinned
from analysis.draw.figures.twist import twist_figure
from analysis.draw.figures.work import work_figure

__all__ = [
    "bed_figure",
    "blue_figure",
    "comparison_figure",
    "datums_figure",
    "feet_figure",
    "history_figure",
    "inline_svg",
    "joints_figure",
    "limits_figure",
    "plan_figure",
    "profile_figure",
    "ripples_figure",
    "saddle_figure",
    "save",
    "taper_figure",
    "thinned",
    "twist_figure",
    "work_figure",
]
