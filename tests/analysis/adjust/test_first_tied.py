"""Which of two lines is tied first must not hang on how a survey is written down.

Invented surveys in which two ways both have places that nothing tells: what the second one's places
depend on is then told through the first.  Each order is honest, the ± differ by up to ten times.
"""

import re
from dataclasses import replace
from random import Random

import numpy as np
import pytest

from analysis.adjust.between_nodes import Roughness
from analysis.adjust.first_tied import JudgedByFew, first_tied, judged_by_few, open_lines
from analysis.words.facts import sentences
from tests.second_estimator.comparing import combined
from tests.second_estimator.inventing import invent
from tests.second_estimator.inventing_between import invent_between
from tests.second_estimator.readings import Description

CONTESTED = (16, 51, 94, 101)
"""Numbers of such surveys."""
OTHER_NAMES = {"front": "zeta", "rear": "alpha", "table": "mid"}


def bends(survey, names=None):
    """Standard uncertainty of each bend of three neighbouring heights, by face and place."""
    bed_map = combined(survey)
    found = {}
    for face in {node.owner for node in bed_map.nodes if node.kind == "height"}:
        at = bed_map.indices(face)
        x = np.array([bed_map.nodes[i].station_mm for i in at])
        rows = np.zeros((len(at) - 2, len(bed_map.nodes)))
        for row, (i, j, k), (a, b, c) in zip(rows, _threes(at), _threes(x), strict=True):
            row[[i, j, k]] = -(c - b) / (c - a), 1.0, -(b - a) / (c - a)
        told = bed_map.functional(rows)
        u = np.where(told.is_known, np.sqrt(np.abs(np.diag(told.covariance_um2))), np.nan)
        known_as = (names or {}).get(face, face)
        found |= {(known_as, float(mm)): each for mm, each in zip(x[1:-1], u, strict=True)}
    return found


def _threes(of):
    return zip(of, of[1:], of[2:], strict=False)


def called_otherwise(survey, names):
    """The same survey with its faces under other names."""
    text = survey.bed.text
    for name, other in names.items():
        text = text.replace(f"[faces.{name}]", f"[faces.{other}]")
    keys = ("face", "front", "rear", "other", "reference")

    def renamed(value):
        return value and re.sub(r"\b(front|rear|table)\b", lambda m: names[m[0]], value)

    runs = [replace(run, **{key: renamed(getattr(run, key)) for key in keys}) for run in survey.runs]
    return replace(survey, bed=Description(text), runs=tuple(runs))


def written_backwards(survey):
    """The same survey with the tables of its bed.toml in reverse order."""
    tables = re.split(r"(?m)^(?=\[)", survey.bed.text)
    return replace(survey, bed=Description("".join(each.rstrip() + "\n" for each in reversed(tables))))


def run_backwards(survey):
    """The same survey with its runs in reverse order."""
    runs = [replace(run, number=number) for number, run in enumerate(reversed(survey.runs), 1)]
    return replace(survey, runs=tuple(runs))


@pytest.mark.statistics
@pytest.mark.parametrize("number", CONTESTED)
def test_the_same_survey_written_otherwise_is_as_sure(number):
    survey = invent_between(Random(number))
    wanted = bends(survey)
    back = {other: name for name, other in OTHER_NAMES.items()}
    for found in (
        bends(called_otherwise(survey, OTHER_NAMES), back),
        bends(written_backwards(survey)),
        bends(run_backwards(survey)),
    ):
        assert found.keys() == wanted.keys()
        assert [found[key] for key in wanted] == pytest.approx(list(wanted.values()), rel=1e-6, nan_ok=True)


def test_heights_that_rest_on_five_others_are_said_to():
    """Invented, rough as no way (white noise of 20 µm): steps of 200 mm in two chains that nothing joins.
    A bend lay 6.5 u off, and nothing was said."""
    bed_map = combined(invent(Random(2310)))
    assert JudgedByFew("under", "height", 5, 4) in bed_map.warnings
    assert any("rest on no reading" in words for words in sentences(bed_map.warnings))


@pytest.mark.parametrize(("nodes", "untold_mm"), [(20, (150.0,)), (5, ())], ids=["many others", "none rests"])
def test_heights_that_rest_on_many_others_or_on_readings_are_not_said_to(nodes, untold_mm):
    way = Roughness(np.arange(nodes) * 100.0, np.ones(6), untold_mm=untold_mm)
    assert judged_by_few({("height", "under"): way}) == ()


@pytest.mark.statistics
@pytest.mark.parametrize("number", CONTESTED)
def test_of_two_orders_the_one_that_tells_more_is_taken(number, monkeypatch):
    """Root mean square u of all bends, beside that of the other order."""
    survey = invent_between(Random(number))
    taken = _overall(survey)
    asked = []

    def the_other(assembly, lines, bed, solve):
        first = first_tied(assembly, lines, bed, solve)
        others = [each.tied for each in open_lines(assembly, lines) if each.key not in first]
        asked.extend(others)
        return others[0] if others else first

    monkeypatch.setattr("analysis.adjust.tying.first_tied", the_other)
    other = _overall(survey)
    assert asked
    assert taken < other


def _overall(survey):
    return np.sqrt(np.nanmean(np.square(list(bends(survey).values()))))
