"""Which faces can be started from: straight, checked, or with unworn stretches to lend."""

import json

import numpy as np
import pytest

from acquire.cli import main
from analysis.adjust.combination import combine
from analysis.answers.datums import datums
from analysis.answers.not_yet import plan_not_yet
from analysis.words.datums import datums_answer
from analysis.words.facts import sentences
from analysis.words.plan import NONE_YET, datum_words, trust_answer, trust_words
from tests.invented import bed_toml, dial, imported, survey_in

STATION = np.arange(0.0, 1001.0, 100.0)
MIDDLE = np.arange(50.0, 1000.0, 100.0)
HOLLOW = -40 * np.sin(np.pi * STATION / 1000) ** 2
NOISE = np.random.default_rng(5).normal(0, 1, (4, 10))


@pytest.fixture
def judged(invented_bed, make_traverse):
    """Judge faces run there and back by a level of 1 µm/m; `once` names those run one way only."""

    def make(heights, once=(), faces=None, within_um=None):
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
        return datums(combine(runs, bed), within_um)

    return make


def test_straight_face_is_trusted_before_a_hollow_one(judged):
    found = judged({"front-flat": HOLLOW, "rear-flat": 0.02 * STATION})
    assert [each.face for each in found.faces[:2]] == ["rear-flat", "front-flat"]
    assert [each.face for each in found.trusted] == ["rear-flat"]
    assert found.faces[0].cannot_tell is None
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


def test_face_that_stands_proud_of_its_unworn_line_is_not_said_to_show_no_wear(judged):
    """Invented truth: worn by 20 µm at 300 mm; the twist of the bed lifts its near end by 50 µm."""
    faces = {"way": 'normal = "up"\nunworn_mm = [[800, 1000]]'}
    bed = np.interp(STATION, [0, 800], [50.0, 0.0])
    found = judged({"way": bed - 20 * np.exp(-(((STATION - 300) / 150) ** 2))}, faces=faces)
    wear = found.faces[0].wear
    assert wear.proud.station_mm == 0 and wear.proud.height_um > 40
    said = datum_words(found.faces[0], inch=False)
    assert "no wear" not in said and "does not tell its wear" in said
    worn = judged({"way": np.where(STATION < 700, -30.0, 0.0)}, faces=faces).faces[0]
    assert worn.wear.proud is None and "; worn " in datum_words(worn, inch=False)


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


UNDER = {
    "front-flat": 'normal = "up"\nacross_mm = 0',
    "rear-flat": 'normal = "up"\nacross_mm = 300',
    "front-under": 'normal = "down"\nacross_mm = 0',
    "rear-side": 'normal = "rear"\nacross_mm = 320',
}


@pytest.fixture
def four_faces(invented_bed, make_traverse):
    """Two tops, an underside by caliper and a side by an optical line (invented)."""
    bed = invented_bed(faces=UNDER)
    level = {"forward": HOLLOW / 4, "reverse": HOLLOW / 4}
    runs = [
        make_traverse(bed, "level", MIDDLE, np.diff(h) / 0.1, face="front-flat", direction=way)
        for way, h in level.items()
    ]
    runs += [
        make_traverse(bed, "cross", STATION, -0.02 * STATION, front="front-flat", rear="rear-flat"),
        make_traverse(bed, "caliper", STATION, 0.01 * STATION, face="front-flat", other="front-under"),
        make_traverse(bed, "dial", STATION, 0 * STATION, face="rear-side", reference="line"),
    ]
    return combine(runs, bed)


def test_ranking_says_which_faces_are_not_told_apart(judged):
    found = judged({"front-flat": HOLLOW, "rear-flat": 0.02 * STATION, "vee": 0 * STATION})
    assert [each.face for each in found.ranking][-1] == "front-flat"
    assert [each.as_good_as_next for each in found.ranking] == [True, False, False]


def test_parallel_faces_taper_as_invented_and_the_open_ones_are_not_known(four_faces):
    found = {(each.a, each.b): each for each in datums(four_faces).parallel}
    tops = next(each for pair, each in found.items() if set(pair) == {"front-flat", "rear-flat"})
    # roll of −0.02 µm/m per mm over 300 mm: the rear falls by 6 µm/m against the front
    turned = 1 if tops.a == "front-flat" else -1
    assert turned * tops.taper_um_per_m == pytest.approx(-6, abs=0.1)
    bar = next(each for pair, each in found.items() if set(pair) == {"front-flat", "front-under"})
    assert bar.look_opposite
    assert bar.taper_um_per_m == pytest.approx(10, abs=0.1)
    assert not any("rear-side" in pair for pair in found)


def test_taper_without_a_shared_zero_is_not_known(judged):
    found = judged({"front-flat": HOLLOW, "rear-flat": 0.02 * STATION})
    (pair,) = found.parallel
    assert pair.taper_um_per_m is None
    assert any("not known" in line for line in datums_answer(found, False))


def test_fixture_rides_on_one_face_of_each_kind_and_what_is_missing_is_named(four_faces, judged):
    fixture = datums(four_faces).fixture
    assert (fixture.under, fixture.side) == ("front-under", "rear-side")
    found = judged({"front-flat": HOLLOW})
    assert found.fixture is None
    assert any("looks down" in each for each in sentences(found.missing))
    assert any(each.startswith("rear-flat") for each in sentences(found.missing))


@pytest.mark.statistics
def test_limit_gives_good_stretches_and_what_would_make_the_rest_so(four_faces):
    found = datums(four_faces, within_um=6.0)
    good = {each.face: (each.from_mm, each.to_mm) for each in found.good}
    assert good["rear-side"] == (0, 1000)
    assert "rear-side" not in found.relief
    assert found.relief["front-flat"].removal_um.max() == pytest.approx(10 - 6, abs=1.5)
    assert any("all along once metal is off" in line for line in datums_answer(found, False))


@pytest.mark.whole
def test_command_prints_json_of_the_contract_and_a_picture(tmp_path, capsys):
    survey_in(tmp_path, bed_toml(400, faces=("way",), instruments={"target": dial(0.5, seating_um=0)}))
    how = ("--face", "way", "-i", "target", "-r", "line")
    imported(tmp_path, range(0, 401, 100), (0, -3, -4, -3, 0), *how)
    capsys.readouterr()
    picture = tmp_path / "datums.png"
    assert main(["datums", str(tmp_path), "--within", "5", "--json", "--picture", str(picture)]) == 0
    found = json.loads(capsys.readouterr().out)
    assert {"ranking", "parallel", "good", "fixture", "missing"} <= found.keys()
    assert found["ranking"][0]["straightness_um"] == pytest.approx(4)
    assert picture.stat().st_size > 10_000


def test_face_whose_hollow_is_lost_in_a_line_carried_from_one_end_is_no_datum(judged):
    """Two stations at one end, 100 mm apart: the line through them is known to nothing at the other."""
    faces = {
        "front-flat": 'normal = "up"\nacross_mm = 0\nunworn_mm = [[900, 1000]]',
        "rear-flat": 'normal = "up"\nacross_mm = 300',
    }
    found = judged({"front-flat": HOLLOW / 80, "rear-flat": HOLLOW}, faces=faces)
    worn = next(each for each in found.faces if each.face == "front-flat")
    assert not worn.can_be_trusted
    assert worn.shape.line == "ends"
    assert any("so uncertain over the rest" in each for each in sentences(worn.shape.warnings))


BETWEEN_FEET = np.arange(100.0, 901.0, 100.0)


@pytest.fixture
def two_chains(invented_bed, make_traverse):
    """A straight face stepped by half the base of its level: two chains, and a coarse line between them."""

    def make(sigma_um, limits=""):
        coarse = f'quantity = "offset"\nunit = "um"\nstandard_uncertainty = {sigma_um}\nseating_um = 0'
        level = 'quantity = "slope"\nunit = "um/m"\nbase_mm = 200\nstandard_uncertainty = 2\nseating_um = 0'
        bed = invented_bed(
            faces={"way": 'normal = "up"\nacross_mm = 0'},
            instruments={"level": level, "target": coarse},
            more=limits,
        )
        noise = np.random.default_rng(8).normal(0, 1, (2, BETWEEN_FEET.size))
        runs = [
            make_traverse(
                bed, "level", BETWEEN_FEET, 2 * noise[n], face="way", direction=direction, mode="stepped"
            )
            for n, direction in enumerate(("forward", "reverse"))
        ]
        run = np.random.default_rng(9).normal(0, sigma_um / 3, STATION.size)
        return combine([*runs, make_traverse(bed, "target", STATION, run, face="way", reference="line")], bed)

    return make


def test_face_known_far_worse_between_its_feet_is_no_datum_though_nothing_is_seen_on_it(two_chains):
    """Straight within what could be seen, and that is ± some 50 µm: so nothing of every other station."""
    found = datums(two_chains(60.0))
    assert found.faces[0].is_straight
    assert found.faces[0].is_checked
    assert not found.trusted
    said = sentences(found.missing)[0]
    assert "way: cannot tell: shows no departure, and is known to ± " in said
    assert "between" in said
    assert "state what a datum is to be good to" in said
    assert said.startswith(datum_words(found.faces[0], inch=False)[:30])
    assert "Cannot tell which is good enough: way" in trust_answer(found, inch=False)


def test_nothing_hinders_a_plan_where_all_faces_are_straight_as_far_as_could_be_seen(two_chains):
    bed_map = two_chains(60.0)
    assert plan_not_yet(bed_map).why == {}


def test_the_same_face_is_a_datum_where_what_is_asked_is_as_coarse(two_chains):
    found = datums(two_chains(60.0), within_um=200.0)
    assert [each.face for each in found.trusted] == ["way"]
    assert "all along" in "\n".join(datums_answer(found, inch=False))


def test_owners_limit_says_what_a_datum_is_to_be_good_to(two_chains):
    for limit, good in ((150.0, ["way"]), (10.0, [])):
        found = datums(two_chains(60.0, limits=f"[limits]\nstraightness_um = {{ way = {limit} }}"))
        assert [each.face for each in found.trusted] == good


def test_face_known_no_better_than_the_wear_to_be_found_from_it_is_no_datum(invented_bed, make_traverse):
    """Invented truth: front hollow by 40 µm; rear straight, read by a level far too coarse."""
    coarse = 'quantity = "slope"\nunit = "um/m"\nbase_mm = 100\nstandard_uncertainty = 90\nseating_um = 0'
    fine = coarse.replace("= 90", "= 1")
    bed = invented_bed(instruments={"fine": fine, "coarse": coarse})
    rng = np.random.default_rng(3)
    runs = []
    for name, face, height, sigma in (
        ("fine", "front-flat", HOLLOW, 1.0),
        ("coarse", "rear-flat", 0 * STATION, 90.0),
    ):
        for direction in ("forward", "reverse"):
            read = np.diff(height) / 0.1 + rng.normal(0, sigma, MIDDLE.size)
            runs.append(make_traverse(bed, name, MIDDLE, read, face=face, direction=direction))
    found = {each.face: each for each in datums(combine(runs, bed)).faces}
    rear = found["rear-flat"]
    assert rear.is_straight
    assert rear.is_checked
    assert not rear.can_be_trusted
    assert rear.good_to.um == pytest.approx(40 / 3, abs=1)
    assert "is to be good to 13 µm" in datum_words(rear, inch=False)
    assert "in" in datum_words(rear, inch=True)
    assert "µm" not in datum_words(rear, inch=True).replace(" µm)", "")


def test_face_that_departs_less_than_asked_is_a_datum_for_that(judged):
    """Invented truth: a hollow of 4 µm, seen by a level of 1 µm/m: good to 10 µm, not to 3."""
    found = judged({"rear-flat": HOLLOW / 10}, within_um=10.0)
    assert found.faces[0].is_straight is False
    assert [each.face for each in found.trusted] == ["rear-flat"]
    assert "good to what is asked of it" in trust_answer(found, inch=False)
    assert not judged({"rear-flat": HOLLOW / 10}, within_um=3.0).trusted
