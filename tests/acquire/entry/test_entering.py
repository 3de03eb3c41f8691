"""What a person types at the prompt, and what becomes of it."""

import dataclasses

import pytest

from acquire.entry.asking import Asker, enter_readings
from acquire.entry.doubts import closing_words, summary_words
from acquire.entry.terminal_text import large
from acquire.entry.typed_by import Typed
from acquire.entry.under_way import Entry, stations_to_read
from acquire.model.companion import Prediction
from acquire.model.errors import EntryError


def by_station(entry):
    stations = entry.table().stations
    return dict(zip(stations.station_mm.tolist(), stations.reading.tolist(), strict=True))


def test_all_stations_are_asked_in_order_and_end_the_entry(person, setup):
    typist = person([str(n) for n in range(9)])
    entry, is_ended = typist.enters(setup())
    assert is_ended and typist.answers == []
    assert by_station(entry) == {100.0 * n: float(n) for n in range(9)}


def test_level_is_stepped_by_its_base_from_the_first_station(person, setup):
    entry, _ = person(["1", "2", "3", "4"]).enters(setup("level"))
    assert by_station(entry) == {100: 1, 300: 2, 500: 3, 700: 4}


def test_reverse_begins_at_the_far_end(person, setup):
    entry, _ = person(["4", "3", "2", "1"]).enters(setup("level", direction="reverse"))
    assert by_station(entry) == {100: 1, 300: 2, 500: 3, 700: 4}


def test_readings_are_taken_in_every_unit_of_the_trade(person, setup):
    entry, _ = person(["+3", "0.1 thou", "-0,002 mm", "0.0001 in", " 2,5 µm "]).enters(setup())
    assert list(by_station(entry).values()) == pytest.approx([3, 2.54, -2, 2.54, 2.5])


def test_divisions_of_a_vial_are_worth_what_its_description_says(person, setup):
    entry, _ = person(["2", "2 div", "0.04 mm/m", '8.25"']).enters(setup("vial"))
    # 0.02 mm/m is 4.125296 seconds of arc (derived from 1″ = π/648000 rad)
    assert list(by_station(entry).values()) == pytest.approx([40, 40, 40, 40], rel=1e-4)


def test_both_ends_of_a_vial_are_averaged_and_the_other_end_is_asked_for(person, setup):
    typist = person(["1.5 / 2.5", "2", "4", "-", "1 3"])
    entry, _ = typist.enters(setup("vial"), vial=True, settle_s=12)
    assert by_station(entry) == {100: 40.0, 300: 60.0, 700: 40.0}
    assert typist.waited == 4 * 12
    assert any("other end" in prompt for prompt in typist.asked)


def test_whole_number_and_fraction_is_one_reading_and_one_end_of_a_bubble(person, setup):
    entry, _ = person(["1 2/5", "-4 1/2", "−2 1/2 div"]).enters(setup("vial"))
    assert list(by_station(entry).values()) == pytest.approx([28, -90, -50])  # 20 µm/m a division
    entry, _ = person(["1 1/2", "2 1/2", "q"]).enters(setup("vial"), vial=True)
    assert by_station(entry) == {100: 40.0}


def test_bare_fraction_may_be_both_ends_of_a_bubble_and_is_asked_about(person, setup):
    typist = person(["1/2", "0.5", "q"])
    entry, _ = typist.enters(setup("vial"))
    assert by_station(entry) == {100: 10.0}
    assert any("taken as both ends of the bubble, 1 and 2: is it 0.5?" in said for said in typist.said)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        (["1", "2", "r", "3", "b", "-"], ", 1 struck out, 7 stations not read"),  # a second reading at 100 mm
        (["1", "-"], ", 1 gap, 7 stations not read"),
    ],
)
def test_reading_struck_out_where_another_stands_is_no_gap(person, setup, typed, said):
    entry, _ = person([*typed, "q"]).enters(setup())
    assert summary_words(entry).endswith(said)


def test_stray_line_end_is_no_other_end_of_the_bubble(person, setup):
    entry, _ = person(["2", "", "\r", "4", "q"]).enters(setup("vial"), vial=True)
    assert by_station(entry) == {100: 60.0}


def test_end_of_input_between_the_two_ends_of_a_bubble_takes_neither(person, setup):
    typist = person(["1.5 / 2.5", "2"])
    entry, is_ended = typist.enters(setup("vial"), vial=True)
    assert not is_ended and by_station(entry) == {100: 40.0} and len(typist.kept) == 1


def test_place_in_the_order_is_asked_with_and_stays_right_when_going_back(person, setup):
    typist = person(["1", "2", "b", "7", "q"])
    typist.enters(setup())
    assert [prompt.partition(" (")[0] for prompt in typist.asked] == [
        "0 mm, 1 of 9", "100 mm, 2 of 9", "200 mm, 3 of 9", "100 mm, 2 of 9", "200 mm, 3 of 9",
    ]  # fmt: skip


@pytest.mark.parametrize("columns", [40, 60, 100])
def test_keys_of_an_entry_fit_the_terminal(setup, columns):
    said = []
    asker = Asker(lambda _: None, said.append, lambda: 0.0, columns=columns)
    enter_readings(Entry.begun(setup(), (0.0, 100.0)), asker, lambda line: None)
    text = "\n".join(said)
    assert max(map(len, text.splitlines())) <= columns
    assert all(key in text for key in ("b: back", "n: next unread", "q: end and keep", "Ctrl-C: go on later"))


def test_enter_alone_and_a_foot_switch_ask_again(person, setup):
    entry, _ = person(["", " ", "\r", "1"]).enters(setup())
    assert by_station(entry) == {0: 1}


def test_going_back_corrects_and_the_first_reading_stays_known(person, setup):
    typist = person(["1", "2", "b", "b", "7"])
    entry, _ = typist.enters(setup())
    assert by_station(entry) == {0: 7, 100: 2}
    assert entry.table().stations.note[0] == "first read 1"
    assert [line.words for line in typist.kept] == ["1", "2", "7"]


def test_r_reads_the_last_station_once_more_and_both_count(person, setup):
    entry, _ = person(["1", "2", "r", "3", "4"]).enters(setup())
    stations = entry.table().stations
    assert stations.station_mm.tolist() == [0, 100, 100, 200]
    assert stations.repeat.tolist() == [1, 1, 2, 1] and stations.reading.tolist() == [1, 2, 3, 4]


def test_dash_is_a_gap_and_q_ends_with_what_there_is(person, setup):
    entry, is_ended = person(["1", "-", "3", "q", "5"]).enters(setup())
    assert is_ended and by_station(entry) == {0: 1, 200: 3}
    assert entry.table().gap_mm == (100.0,)


def test_end_of_input_is_no_end_of_the_entry(person, setup):
    _, is_ended = person(["1"]).enters(setup())
    assert not is_ended


def test_what_cannot_be_read_is_said_and_asked_again(person, setup):
    typist = person(["high", "1 furlong", "1 mm/m", "nan", "1"])
    entry, _ = typist.enters(setup())
    assert by_station(entry) == {0: 1}
    assert sum("needed" in words for words in typist.said) == 4


def test_pipe_that_sends_nonsense_is_refused_and_what_came_before_is_kept(person, setup):
    pipe = person(["1", "2", "high", "3"], is_person=False)
    with pytest.raises(EntryError, match=r"station 200.*high.*kept"):
        pipe.enters(setup())
    assert [line.words for line in pipe.kept] == ["1", "2"]


SLIPS = [
    ("35", "ten times too large"),
    ("0.35", "ten times too small"),
    ("-3.5", "the sign"),
    ("3.5 thou", "thou are read"),
    ("90", "jumps"),
]


@pytest.mark.parametrize(("slip", "words"), SLIPS)
def test_slip_is_questioned_at_once_and_both_readings_are_kept(person, setup, slip, words):
    before = ["3.4", "3.5", "3.6", "3.5"]
    scale = ["34", "35", "36", "35"] if slip in ("0.35",) else before
    slip = "3.5" if slip == "0.35" else slip
    typist = person([*scale, slip, scale[1], *scale])
    entry, _ = typist.enters(setup())
    assert len(typist.questions) == 1 and words in typist.questions[0]
    assert by_station(entry)[400] == float(scale[1])
    assert entry.table().stations.note[4] == f"first read {slip}"


def test_questioned_reading_can_be_kept_and_casts_no_doubt_on_the_next(person, setup):
    typist = person(["3.4", "3.5", "3.6", "3.5", "35", "k", "3.4", "3.3", "3.2", "3.1"])
    entry, is_ended = typist.enters(setup())
    assert is_ended and by_station(entry)[400] == 35 and len(typist.questions) == 1


def burst(text, after_s=8.0):
    """As an instrument's cable types it, so long after the line before."""
    return Typed(text, True, after_s)


def test_no_burst_answers_a_question(person, setup):
    """Its key pressed by mistake while the question stands: neither kept nor taken for the next station."""
    typist = person(["3.4", "3.5", "3.6", "3.5", burst("35"), burst("35"), burst("3.6"), "k", burst("3.4")])
    entry, _ = typist.enters(setup())
    assert by_station(entry) == {0: 3.4, 100: 3.5, 200: 3.6, 300: 3.5, 400: 35, 500: 3.4}
    assert sum("came while a question stands, and is not taken" in words for words in typist.said) == 2


def test_after_a_the_instruments_next_reading_is_the_answer(person, setup):
    typist = person(["3.4", "3.5", "3.6", "3.5", burst("35"), "a", burst("3.55 um"), burst("3.4")])
    entry, _ = typist.enters(setup())
    assert by_station(entry)[400] == 3.55 and by_station(entry)[500] == 3.4
    assert entry.table().stations.note[4] == "first read 35"


def test_memory_read_out_in_one_burst_goes_on_behind_a_question(person, setup):
    values = ["3.4", "3.5", "3.6", "3.5", "35", "3.4", "3.3", "3.2", "3.1"]
    lines = [burst(value, 0.01) for value in values]
    typist = person([*lines, "k"])
    entry, is_ended = typist.enters(setup())
    assert is_ended and list(by_station(entry).values()) == [float(value) for value in values]


def test_key_pressed_twice_is_one_more_reading_where_it_stands(person, setup):
    typist = person([burst("1.0"), burst("2.0"), burst("2.1", 0.5), burst("3.0"), "q"])
    entry, _ = typist.enters(setup())
    stations = entry.table().stations
    assert stations.station_mm.tolist() == [0, 100, 100, 200]
    assert stations.repeat.tolist() == [1, 1, 2, 1] and stations.reading.tolist() == [1, 2, 2.1, 3]
    assert any("one more reading at 100 mm" in words for words in typist.said)


@pytest.mark.parametrize(
    ("typed", "um"),
    [
        ("+0000.012 mm", 12), ("-0.0005 IN", -12.7), ("−0,012mm", -12), ("12um", 12), ("+  12 µm", 12),
        ("0.5 thou", 12.7), ('-.0005"', -12.7), ("1.2E-02 mm", 12),
    ],
)  # fmt: skip
def test_signs_and_units_as_instruments_type_them(person, setup, typed, um):
    entry, _ = person([burst(typed), "k"]).enters(setup())
    assert by_station(entry)[0] == pytest.approx(um)


def test_ordinary_wear_is_not_questioned(person, setup):
    typist = person([str(n) for n in (0, -6, -14, -21, -26, -22, -13, -5, 1)])
    typist.enters(setup())
    assert typist.questions == []


def test_number_that_the_display_cannot_show_is_questioned_at_the_first_station(person, setup):
    typist = person(["0.004", "4", "5", "6"])
    entry, _ = typist.enters(setup())
    assert typist.questions == [
        "? station 0 mm: 0.004 is finer than dial shows (steps of 1 um): is it 0.004 mm?"
    ]
    assert by_station(entry)[0] == 4


class Survey:
    """A companion that has seen this way before."""

    def profile_lines(self, stations, columns):
        return [f"profile of {len(stations)} readings"]

    def predict(self, stations, station_mm):
        return Prediction(10.0, 0.5, "the reverse run and the cross level")


def test_reading_against_the_rest_of_the_survey_is_questioned_with_the_reason(person, setup):
    typist = person(["10.4", "19", "10.2", "11"])
    entry, _ = typist.enters(setup(), companion=Survey())
    assert typist.questions == [
        "? station 100 mm is 9.0 µm (0.35 thou) off what the reverse run and the cross level say: "
        "wipe, re-seat, read again"
    ]
    assert by_station(entry)[100] == 10.2
    assert "profile of 3 readings" in typist.said


class Witness:
    """A companion that knows nothing and remembers what it was shown."""

    def __init__(self):
        self.shown = []

    def profile_lines(self, stations, columns):
        return []

    def predict(self, stations, station_mm):
        self.shown.append((station_mm, stations.reading.tolist()))


def test_reading_is_never_held_against_itself_or_what_stood_in_its_place(person, setup):
    witness = Witness()
    person(["10", "11", "b", "12", "13", "q"]).enters(setup(), companion=witness)
    assert witness.shown == [(0, []), (100, [10]), (100, [10]), (200, [10, 12])]


def test_closing_reading_shows_the_drift(person, setup):
    entry, _ = person([*map(str, range(9)), "2"]).enters(setup(), closing=True)
    stations = entry.table().stations
    assert stations.station_mm.tolist()[:2] == [0, 0] and stations.repeat.tolist()[:2] == [1, 2]
    assert (
        closing_words(entry)
        == "drift: back at the first station after 9 min it reads 2.0 µm (0.08 thou) more"
    )


def test_entry_goes_on_where_its_lines_stop(person, setup):
    first = person(["1", "2", "r", "2.5", "-"])
    first.enters(setup(), closing=True)
    second = person(["4"])
    entry, _ = second.enters(setup(), closing=True, lines=first.kept)
    assert by_station(entry)[300] == 4 and entry.table().gap_mm == (200.0,)
    assert entry.table().stations.repeat.tolist() == [1, 1, 2, 1]


def test_digits_too_wide_for_the_terminal_stay_small():
    assert large("1500 mm", 12) == "1500 mm"
    assert len(large("1500 mm", 40).splitlines()) == 5


def test_reading_given_in_place_of_a_questioned_one_is_on_disk_too(person, setup):
    """An entry that is cut short right behind it goes on with the mended reading, not with the slip."""
    first = person(["3.4", "3.5", "3.6", "3.5", "35", "3.55"])
    first.enters(setup())
    assert [line.words for line in first.kept][-2:] == ["35", "3.55"]
    entry, _ = person(["3.4", "q"]).enters(setup(), lines=first.kept)
    assert by_station(entry)[400] == 3.55


def test_reading_typed_again_as_it_was_stands(person, setup):
    typist = person(["3.4", "3.5", "3.6", "3.5", "35", "35", "3.4", "q"])
    entry, _ = typist.enters(setup())
    assert by_station(entry)[400] == 35 and len(typist.questions) == 1 and typist.answers == []


def test_slip_against_the_survey_is_named_where_one_explains_it(person, setup):
    typist = person(["10.4", "100", "10.2", "q"])
    typist.enters(setup(), companion=Survey())
    assert "is it" in typist.questions[0] and "wipe" not in typist.questions[0]


def test_feet_of_a_level_are_told_half_a_base_to_either_side(person, setup):
    typist = person(["1", "q"])
    typist.enters(setup("level"))
    assert [words for words in typist.said if "feet at" in words] == [
        "  feet at 0 mm and 200 mm",
        "  feet at 200 mm and 400 mm",
    ]


def test_how_manieth_reading_it_is_is_said_of_a_repeat_and_of_no_other(person, setup):
    typist = person(["1", "2", "r", "3", "q"])
    typist.enters(setup())
    assert [words.strip() for words in typist.said if "at this station" in words] == [
        "reading 2 at this station"
    ]


def test_repeat_is_no_neighbour_of_itself(person, setup):
    """Two readings at one place, far off both: the neighbours beside it speak, not the first of the two."""
    typist = person(["3.4", "3.5", "3.6", "3.5", "35", "k", "r", "35", "k", "q"])
    typist.enters(setup())
    assert len(typist.questions) == 2


class Heard:
    """What sounds, and for what."""

    def __init__(self):
        self.kinds = []

    def __call__(self, kind, words):
        self.kinds.append(kind)


def test_reading_sounds_by_who_typed_it_and_a_question_sounds_wrong(setup):
    heard, answers = Heard(), [burst("3.4"), "3.5", "3.6", "3.5", "35", "k", "q"]
    asker = Asker(lambda _: answers.pop(0), lambda _: None, lambda: 0.0, sound=heard)
    enter_readings(Entry.begun(setup(), (0.0, 100.0, 200.0, 300.0, 400.0)), asker, lambda line: None)
    assert heard.kinds == ["taken", "typed", "typed", "typed", "wrong"]


def test_survey_in_inches_is_asked_and_questioned_in_inches(person, setup):
    inches = setup()
    inches = dataclasses.replace(inches, bed_toml=inches.bed_toml.replace("[bed]", '[bed]\ndisplay = "inch"'))
    typist = person(["3.4", "3.5", "3.6", "3.5", "35", "k", "q"])
    typist.enters(inches)
    assert typist.asked[1].startswith("3.94 in, 2 of 9")
    assert typist.questions and " mm" not in typist.questions[0] and " in" in typist.questions[0]


def test_last_base_of_a_bed_that_they_fill_is_asked_for_whatever_rounding_says(setup):
    """Thirty bases of 1000/30 mm: (1000 − base)/base comes to 28.999999999999996 in a computer."""
    text = setup("level").bed_toml.replace("length_mm = 800", "length_mm = 1000")
    text = text.replace("base_mm = 200", "base_mm = 33.333333333333336")
    assert len(stations_to_read(dataclasses.replace(setup("level"), bed_toml=text))) == 30


def test_back_at_the_first_station_stays_there(person, setup):
    typist = person(["b", "b", "1", "2", "q"])
    entry, _ = typist.enters(setup())
    assert by_station(entry) == {0: 1, 100: 2} and typist.asked[2].startswith("0 mm, 1 of 9")


def test_further_reading_at_a_place_read_twice_is_its_third(person, setup):
    """Back over the second reading, and once more from the first: nothing that was read is replaced."""
    typist = person(["1", "2", "r", "2.1", "b", "r", "2.2", "q"])
    entry, _ = typist.enters(setup())
    stations = entry.table().stations
    assert stations.repeat.tolist() == [1, 1, 2, 3]
    assert sorted(stations.reading.tolist()) == [1, 2, 2.1, 2.2]


def test_gaps_are_no_readings_taken(person, setup):
    entry, _ = person(["1", "-", "−", "3", "q"]).enters(setup())
    assert entry.taken == 2


def test_large_digits_are_all_different():
    assert len({large(f"{digit} mm") for digit in range(10)}) == 10
    assert large("-1 mm") != large("1 mm")
