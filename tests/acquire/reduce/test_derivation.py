"""From raw bytes to stations: recordings made up here as the bytes that instruments would send."""

from dataclasses import replace

import numpy as np
import pytest

from acquire.model.recorded import Event
from acquire.model.traverse import FLAGS, HAND_PORT, Setup
from acquire.reduce import contents_of, derive
from acquire.store.journal import Chunks, JournalContents
from tests.invented import NUMBER, bed_toml, dial, flat, level, scale, speaks

BED = bed_toml(
    800,
    faces={"front": flat(0), "rear": flat(300)},
    instruments={
        "level": level(0.5, sign=-1, **speaks("socket://level:1", NUMBER)),
        "floor-level": level(0.5, **speaks("socket://floor:1", NUMBER)),
        "dial": dial(0.001, unit="mm", resolution=0.001, **speaks("socket://dial:1", NUMBER)),
        "scale": scale(offset_mm=50, **speaks("socket://scale:1", NUMBER)),
    },
)

LEVEL = Setup("level", "slope", BED, number=1, face="front", position="scale:scale")
DIAL = Setup("dial", "offset", BED, number=2, face="rear", reference="front", position="scale:scale")


def sent(time_s, values, digits=3):
    """The chunks of an instrument that sends one line for each value."""
    return Chunks.of((float(t), f"{v:+.{digits}f}\r\n".encode()) for t, v in zip(time_s, values, strict=True))


def steps(places_mm, stand_s=6.0, move_s=2.0):
    """Times and positions of a carriage that stands at each place in turn."""
    corners = [(0.0, places_mm[0])]
    for before, place in zip([places_mm[0], *places_mm], places_mm, strict=False):
        start = corners[-1][0] + (move_s if place != before else 0)
        corners += [(start, place), (start + stand_s, place)]
    t = np.arange(0, corners[-1][0], 0.05)
    return t, np.interp(t, *np.transpose(corners))


def contents(setup, events=(), complete=True, **chunks):
    named = {name.replace("_", "-"): c for name, c in chunks.items()}
    return JournalContents(setup, named, [Event(*e) for e in events], complete)


def shape(x_mm):
    return 30 * np.sin(np.asarray(x_mm) / 150.0)


def test_stepped_level_is_placed_on_its_stations_with_the_instruments_sign():
    t, x = steps([100.4, 300.0, 500.0, 700.0])
    noise = np.random.default_rng(1).normal(0, 0.3, t.size)
    traverse = derive(contents(LEVEL, level=sent(t, -(shape(x) + noise)), scale=sent(t, x - 50)))
    assert traverse.mode == "stepped" and traverse.complete
    assert traverse.stations.station_mm.tolist() == [100.0, 300.0, 500.0, 700.0]
    assert traverse.stations.reading == pytest.approx(shape([100.4, 300, 500, 700]), abs=0.15)
    assert traverse.stations.repeat.tolist() == [1, 1, 1, 1]
    u = np.hypot(traverse.stations.scatter, 0.5)
    assert traverse.stations.standard_uncertainty == pytest.approx(u, rel=1e-12)
    assert traverse.readings == t.size


def test_corrected_reading_is_as_sure_as_one_that_was_typed():
    """Its own samples were misread: neither their scatter nor the ± that it made counts any longer."""
    t, x = steps([100.4, 300.0, 500.0])
    noise = np.random.default_rng(1).normal(0, 3.0, t.size)
    events = [(t[-1], "correction", "station 300 mm, reading 1: +5 um/m instead of +50 um/m: misread")]
    found = derive(
        contents(LEVEL, events, level=sent(t, -(shape(x) + noise)), scale=sent(t, x - 50))
    ).stations
    assert (found.reading[1], found.scatter[1], found.standard_uncertainty[1]) == (-5.0, 0.0, 0.5)
    assert np.all(found.standard_uncertainty[[0, 2]] > 0.51)


def test_readings_are_placed_by_time_and_not_by_count():
    """The level speaks at 7 Hz and the scale at 20 Hz: counting would put readings far off."""
    t, x = steps([100.0, 300.0, 500.0])
    slow = np.arange(0, t[-1], 1 / 7)
    reading = shape(np.interp(slow, t, x))
    traverse = derive(contents(LEVEL, level=sent(slow, -reading), scale=sent(t, x - 50)))
    assert traverse.stations.station_mm.tolist() == [100.0, 300.0, 500.0]
    assert traverse.stations.reading == pytest.approx(shape([100, 300, 500]), abs=0.05)


def test_continuous_run_is_kept_as_means_of_a_millimetre():
    t = np.arange(0, 80, 0.02)
    x = np.interp(t, [0, 5, 75, 80], [100, 100, 700, 700])
    noise = np.random.default_rng(2).normal(0, 0.2, t.size)
    setup = replace(LEVEL, acceleration_corrected=False)
    traverse = derive(contents(setup, level=sent(t, -(shape(x) + noise)), scale=sent(t, x - 50)))
    assert traverse.mode == "continuous"
    inner = (traverse.stations.station_mm > 110) & (traverse.stations.station_mm < 690)
    spacing = np.diff(traverse.stations.station_mm[inner])
    assert spacing.mean() == pytest.approx(1.0, abs=0.01)
    error = traverse.stations.reading - shape(traverse.stations.station_mm)
    assert np.sqrt(np.mean(error[inner] ** 2)) < 0.2
    assert "left in" in " ".join(traverse.events.text)


def test_run_that_begins_at_once_and_ends_at_rest_is_continuous():
    t = np.arange(0, 40, 0.05)
    x = np.interp(t, [0, 35, 40], [100, 700, 700])
    traverse = derive(contents(LEVEL, level=sent(t, -shape(x)), scale=sent(t, x - 50)))
    assert traverse.mode == "continuous" and len(traverse.stations) > 300


def test_rests_on_a_run_by_hand_do_not_make_it_stepped():
    # Rests of five seconds at no place in particular, a third of the time.
    corners = [(0, 100), (12, 247), (17, 247), (22, 318), (27, 318), (48, 700)]
    t = np.arange(0, 48, 0.05)
    x = np.interp(t, *np.transpose(corners))
    traverse = derive(contents(LEVEL, level=sent(t, -shape(x)), scale=sent(t, x - 50)))
    assert traverse.mode == "continuous" and len(traverse.stations) > 300


@pytest.mark.parametrize("last_mm", [300.0, 380.0])
def test_stepping_that_was_ended_after_two_stations_is_still_stepped(last_mm):
    """The key that ends it may come while the carriage is on its way to the next."""
    t, x = steps([20.0, 100.0, 300.0, last_mm], stand_s=6.0)
    begun, ended = t > 5.9, t < (20.2 if last_mm != 300.0 else 21.0)
    t, x = t[begun & ended], x[begun & ended]
    traverse = derive(contents(LEVEL, level=sent(t, -shape(x)), scale=sent(t, x - 50)))
    assert traverse.mode == "stepped"
    assert set(traverse.stations.station_mm[-2:]) == {100.0, 300.0}


def test_steps_off_the_marked_stations_but_even_are_stepped():
    t, x = steps([117.0, 317.0, 517.0, 677.0], stand_s=4.0, move_s=6.0)
    traverse = derive(contents(LEVEL, level=sent(t, -shape(x)), scale=sent(t, x - 50)))
    assert traverse.mode == "stepped" and len(traverse.stations) == 4


def test_tilt_from_acceleration_is_taken_out_and_said():
    t = np.arange(0, 100, 0.02)
    speed, sway, omega = 5.0, 2 / np.pi, np.pi
    x = 150 + speed * t + sway * np.sin(omega * t)
    # 1 mm/s² reads as 101.97 µm/m (standard gravity 9.80665 m/s², exact by definition).
    noise = np.random.default_rng(9).normal(0, 1.0, t.size)
    reading = shape(x) + noise - sway * omega**2 * np.sin(omega * t) * 1e3 / 9.80665
    setup = replace(LEVEL, mode_asked="continuous")
    chunks = {"level": sent(t, -reading), "scale": sent(t, x - 50)}
    corrected = derive(contents(setup, **chunks))
    left_in = derive(contents(replace(setup, acceleration_corrected=False), **chunks))

    def rms(traverse):
        s = traverse.stations
        return float(np.sqrt(np.mean((s.reading - shape(s.station_mm)) ** 2)))

    assert rms(left_in) > 50 and rms(corrected) < 1.0
    # The scatter stated is that of the smoothed readings, not of their smoothness.
    assert corrected.stations.scatter.mean() == pytest.approx(rms(corrected), rel=0.5)
    assert "taken out" in corrected.events.text[corrected.events.kind.index("acceleration")]


def test_indicator_stopped_closely_stays_stepped_and_its_unit_is_converted():
    t, x = steps([0.0, 100.0, 200.0], stand_s=5)
    traverse = derive(contents(DIAL, dial=sent(t, shape(x) / 1000, 4), scale=sent(t, x - 50)))
    assert traverse.mode == "stepped"
    assert traverse.stations.reading == pytest.approx(shape([0, 100, 200]), abs=0.05)
    assert traverse.streams["dial"].unit == "mm"


def test_level_stepped_closer_than_half_its_base_is_continuous_with_its_true_positions():
    t, x = steps([100.4, 150.0, 200.0, 250.0, 300.0])
    traverse = derive(contents(LEVEL, level=sent(t, -shape(x)), scale=sent(t, x - 50)))
    assert traverse.mode == "continuous"
    assert traverse.stations.station_mm == pytest.approx([100.4, 150, 200, 250, 300], abs=0.01)


def test_return_to_the_first_station_is_a_repeat():
    t, x = steps([100.0, 300.0, 500.0, 100.0])
    traverse = derive(contents(LEVEL, level=sent(t, -shape(x)), scale=sent(t, x - 50)))
    assert traverse.stations.station_mm.tolist() == [100.0, 100.0, 300.0, 500.0]
    assert traverse.stations.repeat.tolist() == [1, 2, 1, 1]
    assert traverse.stations.time_s[1] > traverse.stations.time_s[3] > traverse.stations.time_s[0]


def test_places_off_the_bed_never_become_stations():
    t, x = steps([100.0, 300.0, 500.0])
    shifted = derive(contents(LEVEL, level=sent(t, -shape(x)), scale=sent(t, x + 400 - 50)))
    assert shifted.stations.station_mm.tolist() == [500.0, 700.0]
    assert "900.0 mm are off the bed" in shifted.events.text[shifted.events.kind.index("off_bed")]
    assert shifted.readings == t.size


def test_readings_in_a_pause_of_the_positions_have_none():
    t, x = steps([100.0, 300.0, 500.0])
    heard = (t < 9) | (t > 13)
    traverse = derive(contents(LEVEL, level=sent(t, -shape(x)), scale=sent(t[heard], x[heard] - 50)))
    stream = traverse.streams["level"]
    lost = stream.flag == FLAGS["no_position"]
    assert ((stream.time_s > 9.1) & (stream.time_s < 12.9) <= lost).all()
    assert any("stopped for" in text for text in traverse.events.text)


def test_positions_that_stop_for_good_are_said():
    t, x = steps([100.0, 300.0, 500.0])
    heard = t < 12
    traverse = derive(contents(LEVEL, level=sent(t, -shape(x)), scale=sent(t[heard], x[heard] - 50)))
    assert any("for good" in text for text in traverse.events.text)
    assert traverse.stations.station_mm.tolist() == [100.0, 300.0]


def test_readings_just_outside_the_positions_are_no_fault():
    t, x = steps([100.0, 300.0])
    heard = (t > 0.4) & (t < t[-1] - 0.4)
    traverse = derive(contents(LEVEL, level=sent(t, -shape(x)), scale=sent(t[heard], x[heard] - 50)))
    assert "unplaced" in traverse.events.kind and "no_position" not in traverse.events.kind


def test_scale_that_says_nothing_places_nothing_and_loses_nothing():
    t, x = steps([100.0, 300.0])
    traverse = derive(contents(LEVEL, level=sent(t, -shape(x))))
    assert traverse.readings == t.size
    assert (traverse.streams["level"].flag == FLAGS["no_position"]).all()


def test_garbled_lines_are_counted_with_their_reason():
    t, x = steps([100.0, 300.0])
    chunks = list(sent(t, -shape(x)))
    chunks[10] = (chunks[10][0], b"\xff\xfe@@\r\n")
    chunks[40] = (chunks[40][0], b"+12.\r\n")
    traverse = derive(contents(LEVEL, level=Chunks.of(chunks), scale=sent(t, x - 50)))
    assert (traverse.streams["level"].flag == FLAGS["garbled"]).sum() == 2
    assert "garbled" in traverse.events.kind


def test_feed_between_its_first_mark_and_its_last_places_the_readings():
    t = np.arange(0, 70, 0.05)
    x = 100 + 10 * np.clip(t - 4, 0, 60)
    setup = replace(LEVEL, position="feed:10", acceleration_corrected=False)
    events = [(4.0, "mark", "station 100"), (30.0, "mark", ""), (64.0, "mark", "")]
    traverse = derive(contents(setup, events, level=sent(t, -shape(x))))
    assert traverse.mode == "continuous"
    s = traverse.stations
    assert s.station_mm[0] == pytest.approx(100, abs=1) and s.station_mm[-1] == pytest.approx(700, abs=1)
    assert s.reading == pytest.approx(shape(s.station_mm), abs=0.2)


def test_feed_without_marks_starts_where_was_said_beforehand():
    t = np.arange(0, 30, 0.05)
    setup = replace(LEVEL, position="feed:10", acceleration_corrected=False)
    events = [(0.0, "feed_from", "200")]
    first, last = derive(contents(setup, events, level=sent(t, -t))).stations.station_mm[[0, -1]]
    assert (first, last) == (pytest.approx(200, abs=1), pytest.approx(500, abs=1))
    named = derive(contents(setup, [*events, (0.0, "mark", "station 150")], level=sent(t, -t)))
    assert named.stations.station_mm[0] == pytest.approx(150, abs=1)
    broken = derive(contents(setup, [(0.0, "feed_from", "nan")], level=sent(t, -t)))
    assert broken.stations.station_mm[0] == pytest.approx(100, abs=1)


def test_reverse_feed_runs_towards_the_headstock():
    t = np.arange(0, 60, 0.05)
    setup = replace(LEVEL, position="feed:10", direction="reverse", acceleration_corrected=False)
    traverse = derive(contents(setup, [(0.0, "mark", ""), (60.0, "mark", "")], level=sent(t, -t)))
    s = traverse.stations
    assert s.reading[0] > s.reading[-1]  # read last nearest the headstock
    assert s.station_mm.max() == pytest.approx(700, abs=1)


def stepping_by_hand(levels, stand_s=6.0, seed=3):
    """A level lifted from place to place: wild while it is in the hand."""
    random = np.random.default_rng(seed)
    parts = []
    for tilt in levels:
        parts.append(random.normal(0, 400, 30))
        parts.append(tilt + random.normal(0, 0.2, int(stand_s / 0.05)))
    y = np.concatenate(parts)
    return np.arange(len(y)) * 0.05, y


def test_stations_without_a_scale_are_the_quiet_stretches_in_turn():
    t, y = stepping_by_hand([10.0, 12.0, -4.0, 7.0])
    setup = replace(LEVEL, position="stations")
    traverse = derive(contents(setup, level=sent(t, -y)))
    assert traverse.stations.station_mm.tolist() == [100.0, 300.0, 500.0, 700.0]
    assert traverse.stations.reading == pytest.approx([10, 12, -4, 7], abs=0.3)
    assert "places" not in traverse.events.kind


def test_too_few_quiet_stretches_are_said():
    t, y = stepping_by_hand([10.0, 12.0, -4.0])
    traverse = derive(contents(replace(LEVEL, position="stations"), level=sent(t, -y)))
    assert "places" in traverse.events.kind


def test_one_rest_too_many_is_not_guessed_away_but_taken_once_it_is_said_which_is_none():
    """The first rest was before the traverse began: taken in turn, every station would be one off."""
    t, y = stepping_by_hand([55.0, 10.0, 12.0, -4.0, 7.0])
    setup = replace(LEVEL, position="stations")
    unsaid = derive(contents(setup, level=sent(t, -y)))
    assert len(unsaid.stations) == 0
    (words,) = [w for k, w in zip(unsaid.events.kind, unsaid.events.text, strict=True) if k == "too_many"]
    assert "5 stretches of rest for 4 stations" in words and "1: 2 s" in words
    said = derive(contents(setup, [(40.0, "no_station", "rest at 4.00 s")], level=sent(t, -y)))
    assert said.stations.station_mm.tolist() == [100.0, 300.0, 500.0, 700.0]
    assert said.stations.reading == pytest.approx([10, 12, -4, 7], abs=0.3)
    assert "too_many" not in said.events.kind


@pytest.mark.parametrize("parked_mm", [37.0, 500.0])
def test_rest_before_the_traverse_begins_is_no_station(parked_mm):
    """Parked at no station, or at one from which it first goes back to the beginning."""
    t, x = steps([parked_mm, 100.0, 300.0, 500.0, 700.0])
    traverse = derive(contents(LEVEL, level=sent(t, -shape(x)), scale=sent(t, x - 50)))
    assert traverse.stations.station_mm.tolist() == [100, 300, 500, 700]
    (words,) = [
        w for k, w in zip(traverse.events.kind, traverse.events.text, strict=True) if k == "before_begin"
    ]
    assert f"the rest at {parked_mm:.1f} mm, before the traverse began" in words


def test_places_of_ones_own_keep_their_first_and_a_second_visit_is_a_repeat():
    t, x = steps([130.0, 330.0, 530.0, 630.0, 530.6])
    traverse = derive(contents(LEVEL, level=sent(t, -shape(x)), scale=sent(t, x - 50)))
    assert traverse.stations.station_mm.tolist() == pytest.approx([130, 330, 530, 530, 630], abs=0.01)
    assert traverse.stations.repeat.tolist() == [1, 1, 1, 2, 1]
    assert traverse.stations.note[3] == "stood at 530.60 mm"


def test_mark_that_was_taken_back_is_no_station():
    t, y = stepping_by_hand([10.0, 12.0, -4.0])
    marks = [(3.0, "mark", "station 100"), (10.5, "mark", "station 300"), (12.25, "mark", "station 500")]
    setup = replace(LEVEL, position="stations")
    said = [*marks, (13.0, "no_station", "mark at 12.25 s"), (18.0, "mark", "station 500")]
    traverse = derive(contents(setup, said, level=sent(t, -y)))
    assert traverse.stations.station_mm.tolist() == [100.0, 300.0, 500.0]
    assert traverse.stations.reading == pytest.approx([10, 12, -4], abs=0.3)


def test_marks_of_two_stations_in_one_rest_are_told():
    t, y = stepping_by_hand([10.0, 12.0, -4.0, 7.0])
    marks = [(3.0, "mark", "station 100"), (10.5, "mark", "station 300"), (12.25, "mark", "station 500")]
    marks += [(18.0, "mark", "station 700")]
    traverse = derive(contents(replace(LEVEL, position="stations"), marks, level=sent(t, -y)))
    (words,) = [w for k, w in zip(traverse.events.kind, traverse.events.text, strict=True) if k == "one_rest"]
    assert "between the marks of 300 and 500 mm the reading shows no move" in words


def test_key_pressed_twice_at_one_station_gives_a_repeat_and_shifts_no_other():
    t = np.array([4.0, 11.0, 11.4, 23.0, 30.0, 38.0, 46.0, 50.0, 58.0, 66.0])
    values = np.array([0, 1, 1, 2, 3, 4, 5, 6, 7, 8]) / 1000
    traverse = derive(contents(replace(DIAL, position="stations"), dial=sent(t, values)))
    assert traverse.stations.station_mm.tolist() == [0, 100, 100, *range(200, 900, 100)]
    assert traverse.stations.repeat.tolist() == [1, 1, 2, 1, 1, 1, 1, 1, 1, 1]
    assert traverse.stations.reading == pytest.approx(values * 1000)


def test_marks_name_the_stations_even_out_of_turn():
    t, y = stepping_by_hand([10.0, 12.0, -4.0, 7.0])
    marks = [
        (3.0, "mark", "station 700"),
        (10.5, "mark", ""),
        (18.0, "mark", "station 100"),
        (25.5, "mark", ""),
    ]
    traverse = derive(contents(replace(LEVEL, position="stations"), marks, level=sent(t, -y)))
    assert traverse.stations.station_mm.tolist() == [100.0, 300.0, 700.0]
    assert traverse.stations.reading == pytest.approx([-4, 7, 10], abs=0.3)
    assert "not_taken" in traverse.events.kind  # after the last place in turn no other is left


def test_reverse_stations_run_from_the_far_end():
    t, y = stepping_by_hand([1.0, 2.0, 3.0, 4.0])
    setup = replace(LEVEL, position="stations", direction="reverse")
    traverse = derive(contents(setup, level=sent(t, -y)))
    assert traverse.stations.reading == pytest.approx([4, 3, 2, 1], abs=0.3)


def test_readings_sent_at_the_press_of_a_key_are_taken_one_by_one():
    t = np.array([4.0, 11.0, 16.5, 23.0, 30.0, 38.0, 46.0, 50.0, 58.0])
    setup = replace(DIAL, position="stations")
    traverse = derive(contents(setup, dial=sent(t, np.arange(9) / 1000)))
    assert traverse.stations.station_mm.tolist() == list(range(0, 900, 100))
    assert traverse.stations.reading == pytest.approx(np.arange(9.0))
    assert traverse.stations.samples.tolist() == [1] * 9


def test_moving_floor_is_taken_out_by_the_level_that_stands_still():
    t, x = steps([100.0, 300.0, 500.0])
    floor = 20 * np.sin(t / 3.0)
    setup = replace(LEVEL, standing="floor-level")
    traverse = derive(
        contents(setup, level=sent(t, -(shape(x) + floor)), scale=sent(t, x - 50), floor_level=sent(t, floor))
    )
    difference = traverse.stations.reading - shape([100, 300, 500])
    assert np.ptp(difference) < 0.1
    assert "standing" in traverse.events.kind


def test_bumped_indicator_is_flagged_with_its_station():
    t, x = steps([0.0, 100.0, 200.0], stand_s=8)
    bump = np.where(t > 13.0, 25.0, 0.0)  # while it stands at 100
    noise = np.random.default_rng(4).normal(0, 0.3, t.size)
    traverse = derive(
        contents(DIAL, dial=sent(t, (shape(x) + bump + noise) / 1000, 4), scale=sent(t, x - 50))
    )
    assert (traverse.streams["dial"].flag == FLAGS["bumped"]).sum() == 1
    assert traverse.stations.note[1].startswith("bumped")
    assert traverse.stations.note[0] == traverse.stations.note[2] == ""
    assert traverse.stations.reading[1] == pytest.approx(shape(100), abs=0.5)


def test_unbumped_indicator_is_not_called_bumped():
    t, x = steps([0.0, 100.0, 200.0], stand_s=8)
    noise = np.random.default_rng(4).normal(0, 0.3, t.size)
    traverse = derive(contents(DIAL, dial=sent(t, (shape(x) + noise) / 1000, 4), scale=sent(t, x - 50)))
    assert "bumped" not in traverse.events.kind


def test_frozen_readings_are_flagged_while_the_position_moves():
    t = np.arange(0, 80, 0.05)
    x = np.interp(t, [0, 5, 75, 80], [100, 100, 700, 700])
    y = shape(x) + np.random.default_rng(5).normal(0, 0.1, t.size)
    y[600:900] = y[600]
    setup = replace(LEVEL, acceleration_corrected=False)
    traverse = derive(contents(setup, level=sent(t, -y), scale=sent(t, x - 50)))
    assert (traverse.streams["level"].flag == FLAGS["frozen"]).sum() == 300
    assert "frozen" in traverse.events.kind


def test_derived_again_from_its_own_contents_it_is_the_same():
    t, x = steps([100.0, 300.0, 500.0])
    first = derive(
        contents(LEVEL, [(0.0, "opened", "level: x")], level=sent(t, -shape(x)), scale=sent(t, x - 50))
    )
    again = derive(contents_of(first))
    assert again.events.kind == first.events.kind and again.events.text == first.events.text
    assert np.array_equal(again.stations.reading, first.stations.reading)
    assert again.streams["scale"].raw == first.streams["scale"].raw


def test_instruments_on_one_port_each_get_their_stream():
    t, x = steps([100.0, 300.0])
    both = BED.replace('socket://scale:1"', 'socket://level:1"').replace(
        "(?P<value>[-+]?\\d+\\.\\d+)", "(?P<value>[-+]?\\d+\\.\\d+) .*", 1
    )
    both = both[: both.rindex("(?P<value>")] + ".* (?P<value>[-+]?\\d+\\.\\d+)'\n"
    lines = Chunks.of(
        (float(a), f"{-shape(b):+.3f} {b - 50:+.3f}\r\n".encode()) for a, b in zip(t, x, strict=True)
    )
    traverse = derive(contents(replace(LEVEL, bed_toml=both), level=lines))
    assert traverse.stations.reading == pytest.approx(shape([100, 300]), abs=0.01)
    assert traverse.streams["scale"].raw == b"" and len(traverse.streams["scale"].value) == t.size


def test_incomplete_recording_stays_incomplete():
    t, x = steps([100.0, 300.0])
    assert not derive(contents(LEVEL, complete=False, level=sent(t, -shape(x)), scale=sent(t, x))).complete


def test_recording_without_a_reading_is_an_empty_traverse():
    traverse = derive(contents(LEVEL))
    assert len(traverse.stations) == 0 and traverse.readings == 0


def test_imported_bytes_are_kept_and_read():
    setup = replace(LEVEL, source="import", position="file")
    raw = b"station_mm,reading\n100,1.5\n300,2\n"
    traverse = derive(contents(setup, **{HAND_PORT: Chunks.of([(0.0, raw)])}))
    assert traverse.streams[HAND_PORT].raw == raw
    assert traverse.stations.reading.tolist() == [-1.5, -2.0]
    assert derive(contents_of(traverse)).stations.reading.tolist() == [-1.5, -2.0]
