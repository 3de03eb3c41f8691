"""A second round of moves learns from the first. Derived; the truth is invented."""

import numpy as np
import pytest

from acquire.model.bed_toml.reading import parse_bed
from acquire.model.errors import AnalysisError
from analysis.adjust.combination import combine
from analysis.answers.feet_learned import learned_response
from analysis.answers.feet_on_bed import MOST_BOLTED_UM, MOST_UM, feet_to_move
from analysis.words.feet import feet_words

X = np.arange(0, 1601, 100.0)
PAIRS = (100, 1500)
TWIST = 300.0


def bed_of(bolted="false"):
    text = '[bed]\nname = "invented"\nlength_mm = 1600\nstation_pitch_mm = 100\n'
    for way, across in (("front", 0), ("rear", 250)):
        text += f'[faces.{way}]\nnormal = "up"\nacross_mm = {across}\ncarriage = "{way}"\n'
        text += "unworn_mm = [[0, 1600]]\n"
    for x in PAIRS:
        for side, across in (("front", -75), ("rear", 325)):
            text += (
                f"[feet.{side}-{x}]\nstation_mm = {x}\nacross_mm = {across}\num_per_turn = 2000\n"
                f"hand_step_um = 5\nbolted = {bolted}\n"
            )
    cross = 'quantity = "roll"\nunit = "um/m"\nstandard_uncertainty = 3\nseating_um = 0'
    return parse_bed(f"{text}[instruments.cross]\n{cross}\n")


@pytest.fixture
def read(make_traverse):
    """The bed twisted by so many µm/m from the head feet to the tail feet, read by a cross level."""

    def make(wind, bed=None, seed=1):
        roll = np.interp(X, PAIRS, [0.0, wind]) + np.random.default_rng(seed).normal(0, 3, X.size)
        bed = bed or bed_of()
        return combine([make_traverse(bed, "cross", X, roll, front="front", rear="rear")], bed)

    return make


def twist_of(lift):
    """What a stiff bed does of lifts, in µm/m from head to tail; 400 mm between the feet of a pair."""
    ends = [(lift.get(f"rear-{x}", 0.0) - lift.get(f"front-{x}", 0.0)) / 0.4 for x in PAIRS]
    return ends[1] - ends[0]


def test_second_round_takes_out_what_a_bed_that_gives_left_of_the_first(read):
    """Truth: feet and floor give, so that each lift does 0.6 of what a stiff bed would."""
    before = read(TWIST)
    first = {each.foot: each.lift_um for each in feet_to_move(before).moves}
    left = TWIST + 0.6 * twist_of(first)
    now = read(left, seed=2)
    learned = learned_response(before, now, first)
    plain, wise = (
        {each.foot: each.lift_um for each in feet_to_move(now, measured=how).moves}
        for how in (None, lambda bed: learned)
    )
    after_plain, after_wise = (left + 0.6 * twist_of(each) for each in (plain, wise))
    assert abs(after_wise) < 0.5 * abs(after_plain)
    assert abs(after_wise) < 5 / 0.4 + 10


def test_answer_that_was_as_the_model_says_changes_little(read):
    before = read(TWIST)
    first = {each.foot: each.lift_um for each in feet_to_move(before).moves}
    learned = learned_response(before, read(TWIST + twist_of(first), seed=3), first)
    stiff = np.abs(learned.shapes[0]) / (1 / 0.4)
    assert stiff == pytest.approx(1.0, abs=0.1)
    spread = np.sqrt(np.diag(learned.factor_covariance))
    assert np.all(spread < 0.32)


def test_moves_that_do_not_explain_the_change_are_refused(read):
    """Truth: the feet were turned the other way round."""
    before = read(TWIST)
    first = {each.foot: each.lift_um for each in feet_to_move(before).moves}
    with pytest.raises(AnalysisError, match="foot hangs, or was not moved as said"):
        learned_response(before, read(TWIST - twist_of(first), seed=4), first)
    with pytest.raises(AnalysisError, match="no such foot"):
        learned_response(before, before, {"middle": 10.0})
    with pytest.raises(AnalysisError, match="no foot was moved"):
        learned_response(before, before, {})


def test_words_say_that_the_round_before_was_learned_from(read):
    before = read(TWIST)
    first = {each.foot: each.lift_um for each in feet_to_move(before).moves}
    now = read(TWIST + 0.6 * twist_of(first), seed=2)
    found = feet_to_move(now, measured=lambda bed: learned_response(before, now, first))
    assert found.model == "learned"
    assert any("what the round before showed" in words for words in feet_words(found, False))


def test_bolted_feet_may_be_moved_further_and_are_to_be_slackened_first(read):
    loose, bolted = (feet_to_move(read(1000.0, bed_of(which))) for which in ("false", "true"))
    assert max(abs(each.lift_um) for each in loose.moves) <= MOST_UM
    assert MOST_UM < max(abs(each.lift_um) for each in bolted.moves) <= MOST_BOLTED_UM
    assert any("slacken the bolts before" in words for words in feet_words(bolted, False))
