"""A survey as the analysis sees it. Readings invented."""

from pathlib import Path

import numpy as np
import pytest

from analysis.answers.surveys import Survey

MIDDLE_MM = np.arange(50.0, 1000.0, 100.0)


@pytest.fixture
def survey(make_traverse, invented_bed):
    bed, rng = invented_bed(), np.random.default_rng(1)
    runs = [
        make_traverse(
            bed, "level", MIDDLE_MM, rng.normal(0, 1, MIDDLE_MM.size), direction=way, face="front-flat"
        )
        for way in ("forward", "reverse")
    ]
    return Survey(Path("invented"), bed, tuple(runs))


def test_map_is_solved_once_for_each_request(survey):
    assert survey.map() is survey.map("all")
    assert survey.map("level") is survey.map("level")
    assert survey.map() is not survey.map("level")
    assert survey.map(use_variance_components=True) is not survey.map()
