"""Which faces can be started from: straight, checked, or with unworn stretches to lend."""

import numpy as np
import pytest

from analysis.adjust.combination import combine
from analysis.answers.datums import datums
from analysis.words.plan import NONE_YET, datum_words, trust_answer, trust_words

STATION = np.arange(0.0, 1001.0, 100.0)
MIDDLE = np.arange(50.0, 1000.0, 100.0)
HOLLOW = -40 * np.sin(np.pi * STATION / 1000) ** 2
NOISE = np.random.default_rng(5).normal(0, 1, (4, 10))


@pytest.fixture
def judged(invented_bed, make_traverse):
    """Judge faces run there and back by a level of 1 µm/m; `once` names those run one way only."""

    def make(heights, once=(), faces=None, more=()):
        bed = invented_bed(faces=faces)
        runs = []
        for number, (face, height) in enumerate(heights.items()):
            for direction in ("forward", "reverse")[: 1 if face in once else 2]:
                noise = NOISE[(2 * number + len(runs)) % 4]
                runs.append(
                    make_traverse(
                        bed, "level", MIDDLE, np.diff(height) / 0.1 + noise, face=face, direction=direction
                    )
                )
        return datums(combine(runs, bed))

    return make


def test_straight_face_is_trusted_before_a_hollow_one(judged):
    found = judged({"front-flat": HOLLOW, "rear-flat": 0.02 * STATION})
    assert [each.face for each in found.faces[:2]] == ["rear-flat", "front-flat"]
    assert [each.face for each in found.trusted] == ["rear-flat"]
    answer = trust_answer(found, inch=False)
    assert answer.startswith("Start from rear-flat, straight within what could be seen")
    assert "µm" in answer
    assert "front-flat: not yet: hollow by" in trust_words(found, inch=False)[1]


def test_face_that_nothing_checks_is_not_trusted_however_straight_it_looks(judged):
    found = judged({"rear-flat": 0 * STATION}, once=("rear-flat",))
    assert found.faces[0].is_straight
    assert not found.faces[0].is_checked
    assert not found.trusted
    assert trust_answer(found, inch=False).startswith(NONE_YET)
    assert "nothing checks its readings" in datum_words(found.faces[0], inch=False)


def test_none_can_be_trusted_where_all_are_worn(judged):
    found = judged({"front-flat": HOLLOW, "rear-flat": HOLLOW / 2})
    assert not found.trusted
    assert trust_answer(found, inch=False).startswith(NONE_YET)
    assert [each.face for each in found.faces[:2]] == ["rear-flat", "front-flat"]


def test_worn_face_lends_its_unworn_stretches_and_says_how_deep_the_wear_goes(judged):
    """Invented truth: flat to 200 mm and from 800 mm, worn by up to 30 µm in between."""
    worn = np.where((STATION > 200) & (STATION < 800), -30.0, 0.0)
    faces = {"way": 'normal = "up"\nunworn_mm = [[0, 200], [800, 1000]]'}
    found = judged({"way": worn}, faces=faces)
    wear = found.faces[0].wear
    assert wear.deepest.height_um == pytest.approx(-30, abs=wear.expanded_um + 0.3)
    assert wear.is_seen
    assert "way can lend unworn stretches" in trust_answer(found, inch=False)
    assert "below the line through its unworn stretches" in datum_words(found.faces[0], inch=False)


def test_face_with_unworn_stretches_and_no_wear_says_what_would_have_been_seen(judged):
    faces = {"way": 'normal = "up"\nunworn_mm = [[0, 200], [800, 1000]]'}
    found = judged({"way": 0 * STATION}, faces=faces)
    assert "no wear seen" in datum_words(found.faces[0], inch=False)


def test_faces_of_unknown_shape_come_last_with_the_reason(judged):
    found = judged({"rear-flat": 0 * STATION})
    unknown = [each for each in found.faces if each.at_most_um is None]
    assert found.faces[-len(unknown) :] == tuple(unknown)
    assert all("cannot be judged" in datum_words(each, inch=False) for each in unknown)


def test_face_known_against_another_alone_is_not_judged(invented_bed, make_traverse):
    bed = invented_bed()
    run = make_traverse(bed, "dial", STATION, HOLLOW, face="rear-flat", reference="front-flat")
    found = {each.face: each for each in datums(combine([run], bed)).faces}
    assert "known only relative to front-flat" in datum_words(found["rear-flat"], inch=False)
    assert not found["rear-flat"].can_be_trusted
