"""`waylog feet`: invented beds on invented feet; the truth is moved as the answer says and read again."""

import json

import numpy as np
import pytest

from acquire.cli import main
from acquire.model.bed_toml.reading import parse_bed
from analysis.adjust.combination import combine
from analysis.answers.feet_on_bed import MOST_UM, feet_to_move
from analysis.words.facts import sentence
from analysis.words.feet import CAUTION, feet_words
from tests.invented import imported, survey_in

X = np.arange(0, 1601, 100.0)
PAIRS = (100, 1500)
SCREW = "um_per_turn = 2000\nhand_step_um = 5\n"
CROSS = '[instruments.cross]\nquantity = "roll"\nunit = "um/m"\nstandard_uncertainty = 3\nseating_um = 0\n'
DIAL = '[instruments.dial]\nquantity = "offset"\nunit = "um"\nstandard_uncertainty = 0.5\nseating_um = 0\n'
WORN = 30 * np.exp(-(((X - 700) / 150) ** 2)) * ((X > 200) & (X < 1300))


def _bed_text(unworn="[[0, 200], [1300, 1600]]", pairs=PAIRS, screw=SCREW, only=None):
    text = '[bed]\nname = "invented"\nlength_mm = 1600\nstation_pitch_mm = 100\n'
    for way, across in (("front", 0), ("rear", 250)):
        text += f'[faces.{way}]\nnormal = "up"\nacross_mm = {across}\ncarriage = "{way}"\n'
        text += f"unworn_mm = {unworn}\n" if unworn else ""
    feet = [(f"{side}-{x}", x, p) for x in pairs for side, p in (("front", -75), ("rear", 325))]
    for name, x, across in feet[:only]:
        text += f"[feet.{name}]\nstation_mm = {x}\nacross_mm = {across}\n{screw}"
    return text + CROSS + DIAL


def _roll_bed(make_traverse, roll, **described):
    bed = parse_bed(_bed_text(**described))
    return combine([make_traverse(bed, "cross", X, roll, front="front", rear="rear")], bed)


def _twisted(wind):
    return np.interp(X, PAIRS, [0.0, wind])


def test_twist_of_the_feet_is_taken_out_and_the_wear_left(make_traverse):
    """Truth: feet twist by 200 µm/m rear high at the tail, the front way is worn 30 µm at 700 mm."""
    wear = WORN / 0.25
    found = feet_to_move(_roll_bed(make_traverse, _twisted(200.0) + wear))
    lift = {each.foot: each.lift_um for each in found.moves}
    tail = (lift.get("rear-1500", 0) - lift.get("front-1500", 0)) / 0.4
    head = (lift.get("rear-100", 0) - lift.get("front-100", 0)) / 0.4
    assert tail - head == pytest.approx(-200.0, abs=5 / 0.4)
    assert found.refused is None and found.model == "stiff bed"
    assert all(each.turns == pytest.approx(each.lift_um / 2000) for each in found.moves)
    assert found.predicted.roll_um_per_m == pytest.approx(wear, abs=13)
    assert found.left.rms_um < 2 < found.left.now_rms_um


def test_no_foot_is_moved_where_nothing_tells_the_roll(make_traverse):
    bed = parse_bed(_bed_text())
    alone = make_traverse(bed, "dial", X, 0 * X, face="front", reference="line")
    found = feet_to_move(combine([alone], bed))
    assert not found.moves and "nothing tells the roll of front and rear" in sentence(found.refused)


def test_bend_is_taken_out_by_the_middle_pair(make_traverse):
    """Truth: the middle pair stands 40 µm low; heights read from one optical line."""
    pairs, ways = (0, 800, 1600), {"front": 0.0, "rear": 0.0}
    bed = parse_bed(_bed_text("[[0, 1600]]", pairs))
    share = np.minimum(X, 1600 - X) / 1600
    hollow = -40 * (3 * share - 4 * share**3)
    runs = []
    for way in ways:
        same = {"same_zero_as": runs[0].number} if runs else {}
        runs.append(make_traverse(bed, "dial", X, hollow, face=way, reference="line", **same))
    found = feet_to_move(combine(runs, bed))
    lift = {each.foot: each.lift_um for each in found.moves}
    middle = np.mean([lift.get(f"{side}-800", 0.0) for side in ("front", "rear")])
    ends = np.mean([lift.get(f"{side}-{x}", 0.0) for side in ("front", "rear") for x in (0, 1600)])
    assert middle - ends == pytest.approx(40, abs=2.6)
    assert found.left.rms_um < 2


def _only_carriage_read(make_traverse):
    """Feet twist by 200 µm/m; a level lay over strips that nothing runs on, and over the carriage.

    The levels along the two ways share no place, so that the roll of the ways themselves is not known.
    """
    text = _bed_text(unworn=None).replace("[bed]", "[bed]\ncarriage_length_mm = 400")
    for name, across in (("strip-front", 60), ("strip-rear", 190)):
        text += f'[faces.{name}]\nnormal = "up"\nacross_mm = {across}\nruns = false\n'
    text += '[instruments.level]\nquantity = "slope"\nunit = "um/m"\nbase_mm = 100\n'
    bed = parse_bed(text + "standard_uncertainty = 1\nseating_um = 0\n")
    at, twist = X[2:-2], _twisted(200.0)
    carried = (np.interp(at - 200, X, twist) + np.interp(at + 200, X, twist)) / 2
    slope = np.full(15, 0.25 * 200 / 1.4)
    runs = [
        make_traverse(bed, "cross", X, twist, front="strip-front", rear="strip-rear"),
        make_traverse(bed, "level", np.arange(85.0, 1486.0, 100.0), 0 * slope, face="front"),
        make_traverse(bed, "level", np.arange(50.0, 1451.0, 100.0), slope, face="rear"),
        make_traverse(bed, "cross", at, carried, front="front", rear="rear", reference="carriage"),
    ]
    return at, combine(runs, bed)


def test_level_on_the_carriage_is_told_what_it_will_read_and_that_the_ways_may_roll_more(make_traverse):
    """By hand: 200 mm to either side of the carriage's middle its ends stand where the feet roll them."""
    at, bed_map = _only_carriage_read(make_traverse)
    found = feet_to_move(bed_map)
    predicted = found.predicted
    assert predicted.roll_of == "carriage"
    lift = {each.foot: each.lift_um for each in found.moves}
    head, tail = ((lift.get(f"rear-{x}", 0) - lift.get(f"front-{x}", 0)) / 0.4 for x in PAIRS)
    turned = np.interp(X, PAIRS, [head, tail])
    by_feet = (np.interp(at - 200, X, turned) + np.interp(at + 200, X, turned)) / 2
    by_feet = by_feet if predicted.known_up_to == "nothing" else by_feet - by_feet[0]
    change = predicted.roll_um_per_m - predicted.now_um_per_m
    np.testing.assert_allclose(change, by_feet, atol=1e-6)
    # taken as the roll under its middle it would be off by a quarter of the twist at the ends
    assert abs(by_feet[-1] - (np.interp(at[-1], X, turned) - np.interp(at[0], X, turned))) > 10
    said = "\n".join(feet_words(found, False))
    assert "a level across the carriage will read" in said and "own roll is not known" in said


def test_feet_of_a_bed_in_pieces_are_not_moved_for_what_a_joint_made(make_traverse):
    """The second piece is rolled by 40 µm/m at the joint: no twist of one body, and no wear."""
    bed = parse_bed(_bed_text().replace("[bed]", "[bed]\njoints_mm = [750]"))
    roll = np.where(X > 750, -40.0, 0.0)
    found = feet_to_move(combine([make_traverse(bed, "cross", X, roll, front="front", rear="rear")], bed))
    assert not found.moves and "in pieces that meet at 750 mm" in sentence(found.refused)


def test_uncertainty_of_what_will_be_read_grows_with_what_is_moved(make_traverse):
    still = feet_to_move(_roll_bed(make_traverse, _twisted(0.0))).predicted
    moved = feet_to_move(_roll_bed(make_traverse, _twisted(200.0))).predicted
    change = np.abs(moved.roll_um_per_m - moved.now_um_per_m)
    assert np.all(moved.expanded_um_per_m >= 0.6 * change)
    assert change[-1] == pytest.approx(200, abs=13)
    assert moved.expanded_um_per_m[-1] > still.expanded_um_per_m[-1] > 0


def test_no_foot_is_moved_further_than_the_bound(make_traverse):
    found = feet_to_move(_roll_bed(make_traverse, _twisted(2000.0)))
    assert found.is_bounded and max(abs(each.lift_um) for each in found.moves) == 50
    assert any("more is left for the next" in line for line in feet_words(found, False))


def test_what_a_foot_is_moved_at_most_lifts_none_of_a_bed_of_15_kn():
    """Derived for a bed of 15 kN, 3 m long, EI 3e7 N m², GJ 8e6 N m², feet 0.4 m apart.

    Of three pairs set level the middle one carries 5/8 of the load (published: "Civil Engineering
    Formulas", table 2.1, 5/8 wl each side of the middle); a middle pair raised by d takes 48 EI d/L³ more.
    """
    weight, length, bending, twisting, apart = 15000, 3.0, 3e7, 8e6, 0.4
    hangs = weight / 4 * length * apart / twisting
    assert hangs * 1e6 == pytest.approx(562.5)
    # a twist on four feet is a quarter of that roll times their distance, at each foot
    assert hangs * apart / 4 * 1e6 > MOST_UM
    per_metre = 48 * bending / length**3
    down, up = 5 / 8 * weight / per_metre, 3 / 8 * weight / per_metre
    assert (down * 1e6, up * 1e6) == pytest.approx((175.8, 105.5), abs=0.05)
    assert down == pytest.approx(5 * weight / length * length**4 / (384 * bending))
    # the best plane off it, the middle pair stands two thirds of that high
    assert 2 / 3 * up * 1e6 > MOST_UM


def test_straight_bed_needs_no_move(make_traverse):
    found = feet_to_move(_roll_bed(make_traverse, _twisted(0.0) + WORN / 0.25))
    assert found.moves == () and found.shapes_seen == 0
    assert any("stands out of the uncertainty" in line for line in feet_words(found, False))


def test_screw_too_coarse_asks_for_wedges(make_traverse):
    found = feet_to_move(_roll_bed(make_traverse, _twisted(200.0), screw="hand_step_um = 167\n"))
    assert found.moves == ()
    assert any("wedge or shim needed" in line for line in feet_words(found, False))


@pytest.mark.parametrize(
    ("described", "said"),
    [
        ({"only": 0}, "[feet.NAME]"),
        ({"only": 3}, "neither its bend nor its twist"),
        ({"pairs": (100, 800, 1500), "only": 5}, "two feet there"),
        ({"unworn": None}, "unworn_mm"),
        ({"screw": ""}, "hand_step_um"),
    ],
)
def test_refusal_says_what_is_needed(make_traverse, described, said):
    found = feet_to_move(_roll_bed(make_traverse, _twisted(200.0), **described))
    assert found.moves == () and found.predicted is None and found.left is None
    assert said in sentence(found.refused)
    assert feet_words(found, False) == [f"Move no foot: {sentence(found.refused)}."]


def test_roll_that_might_be_wear_is_not_jacked_out(make_traverse):
    """Unworn at one end alone: twist of the bed and wear look alike at the other."""
    worn = WORN / 0.25
    found = feet_to_move(_roll_bed(make_traverse, worn, unworn="[[1500, 1600]]"))
    assert found.moves == () and "wear might be jacked out" in sentence(found.refused)


def test_cautions_stand_before_the_moves(make_traverse):
    words = feet_words(feet_to_move(_roll_bed(make_traverse, _twisted(200.0))), False)
    assert words[0] == CAUTION and "one foot at a time" in words[0]


@pytest.mark.whole
def test_command_answers_with_the_keys_other_programs_rely_on(tmp_path, capsys):
    survey_in(tmp_path, _bed_text())
    imported(tmp_path, X, _twisted(200.0), "--across", "front", "rear", "-i", "cross")
    capsys.readouterr()
    picture = tmp_path / "feet.png"
    assert main(["feet", str(tmp_path), "--json", "--picture", str(picture)]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["moves"][0].keys() == {"foot", "turns", "lift_um"}
    assert {"station_mm", "roll_um_per_m"} <= found["predicted"].keys()
    assert found["left"]["rms_um"] < 3 and found["model"] == "stiff bed" and found["refused"] is None
    assert picture.stat().st_size > 10_000
    assert main(["feet", str(tmp_path), "--at-most", "0"]) == 2
