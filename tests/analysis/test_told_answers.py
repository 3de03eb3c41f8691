"""Every figure that an answer tells lies within 4.5 standard uncertainties of an invented truth.

The long form is tests/benchmarks/told_answers.py.
"""

import numpy as np
import pytest

from analysis.adjust.combination import combine
from tests.told_answers.comparing import figures, of_faces
from tests.told_answers.figures import MOST_U
from tests.told_answers.further_habits import HABITS
from tests.told_answers.inventing import invent
from tests.told_answers.odd_habits import invent_odd

ASKED = {
    0: {"wind", "feet take out, wind", "taper"},
    1: {"work", "joint up", "joint roll", "joint kink"},
    3: {"height", "departure"},
}
ODD = {
    85: {"joint roll", "joint step", "height"},
}
"""Surveys by number, and figures that are among those told: nothing is compared where nothing is told."""


@pytest.mark.statistics
@pytest.mark.parametrize("number", ASKED)
def test_every_figure_told_is_near_the_truth(number):
    found = list(figures(invent(number)))
    assert ASKED[number] <= {name for name, _ in found}
    assert _far(found) == {}


@pytest.mark.statistics
@pytest.mark.parametrize("number", ODD)
def test_every_figure_told_of_odd_but_ordinary_habits_is_near_the_truth(number):
    found = list(figures(invent_odd(number)))
    assert ODD[number] <= {name for name, _ in found}
    assert _far(found) == {}


STATED = {"scale stated": 5, "base stated": 2, "rise over base": 2, "cut off": 1, "drawn": 0}
"""Habits, and the number of a survey."""


@pytest.mark.statistics
@pytest.mark.parametrize("habit", STATED)
def test_every_height_is_near_the_truth_where_what_is_the_matter_is_stated(habit):
    told = HABITS[habit](STATED[habit])
    found = list(of_faces(told, combine(told.runs, told.bed)))
    assert {"height", "straightness"} <= {name for name, _ in found}
    assert _far(found) == {}


def _far(found):
    """Figures beyond reach, or none at all."""
    return {
        name: float(np.max(np.abs(ratios))) for name, ratios in found if not np.all(np.abs(ratios) <= MOST_U)
    }
