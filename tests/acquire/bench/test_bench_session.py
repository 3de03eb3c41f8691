"""Listening, a bench session with a scripted clock, and what is put on a page."""

import io

import numpy as np
import pytest
from rich.console import Console

from acquire.bench.bench_session import BenchSession
from acquire.bench.listening import Receiver
from acquire.bench.views import PlainView
from acquire.bench.words import blocks_page, meant_words, plain_line, still_words
from acquire.model.errors import AcquireError, PortError

pytestmark = pytest.mark.whole


def lines_at(time_s, values, port="level", prefix=""):
    return [(float(t), port, f"{prefix}{v:+.2f}\r\n".encode()) for t, v in zip(time_s, values, strict=True)]


def receiver_of(bed, script, *names, keeps_all=True):
    chosen = [bed.instruments[name] for name in names]
    return Receiver(chosen, script.clock, script, keeps_all=keeps_all)


def session_of(receiver, inch=False, **options):
    said = []
    return BenchSession(receiver, PlainView(said.append, said.append, inch=inch), **options), said


def test_every_instrument_is_shown_with_rate_age_spread_and_garbled_count(bed, script):
    t = np.arange(0, 10, 0.1)
    both = lines_at(t, 5 + np.sin(t)) + lines_at(t[::5], 0.5 + 0 * t[::5], "dial", "D")
    play = script([*both, (4.05, "level", b"@\n")])
    with receiver_of(bed, play, "level", "dial") as receiver:
        session, said = session_of(receiver, seconds=11.0)
        session.look_on()
        level, dial = receiver.look()
    assert level.health.rate_hz == pytest.approx(10, rel=0.02) and dial.health.rate_hz == pytest.approx(2)
    assert level.health.age_s == pytest.approx(1.1, abs=0.1)
    assert level.health.counts == {"garbled": 1}
    assert level.spread == pytest.approx(np.ptp(np.sin(t[t >= 6.0])), abs=0.06) and dial.spread == 0.0
    per_second = [line for line in said if line.startswith("3 s")]
    assert len(per_second) == 2 and "level" in per_second[0] and "rate 10.0/s" in per_second[0]
    assert play.opened == [], "ports are closed at the end"


def test_missing_port_is_named_and_heard_once_it_is_there(bed, script):
    play = script(lines_at(np.arange(0, 4, 0.1), np.ones(40)))
    play.missing = {"dial"}
    with receiver_of(bed, play, "level", "dial") as receiver:
        session_of(receiver, seconds=1.5)[0].look_on()
        level, dial = receiver.look()
        assert "is not there" in dial.trouble and level.trouble == ""
        play.missing.clear()
        play.add(lines_at([2.6, 2.7], [0.1, 0.2], "dial", "D"))
        session_of(receiver, seconds=3.5)[0].look_on()
        dial = receiver.look()[1]
        assert dial.trouble == "" and dial.health.good == 2


def test_no_port_at_all_is_refused_naming_each(bed, script):
    play = script([])
    play.missing = {"dial", "level"}
    with pytest.raises(PortError, match=r"level.*dial"), receiver_of(bed, play, "level", "dial"):
        pass


def test_reading_is_shown_as_read_and_as_meant(bed, script):
    with receiver_of(bed, script(lines_at([0.1, 0.2], [1.0, 2.0], "dial", "D")), "dial") as receiver:
        session_of(receiver, seconds=0.5)[0].look_on()
        (seen,) = receiver.look()
    assert meant_words(seen) == "counts as -50.8 µm", "two thou the other way round"
    assert "2.00 thou" in plain_line(seen, 0.5)
    assert meant_words(seen, inch=True) == "counts as -2.00 thou"


def test_level_in_a_survey_in_inches_is_shown_as_read_and_as_the_survey_says_it(bed, script):
    with receiver_of(bed, script(lines_at([0.1, 0.2], [10.0, 10.0])), "level") as receiver:
        session, said = session_of(receiver, inch=True, seconds=1.5)
        session.look_on()
        (seen,) = receiver.look()
    assert meant_words(seen) == "", "in mm nothing else is meant than is read"
    assert "10.0 µm/m  counts as 0.120 thou/ft" in said[-1]


@pytest.mark.parametrize("columns", [20, 34, 80, 160])
@pytest.mark.parametrize("rows", [8, 50])
def test_page_fits_the_terminal_and_says_everything(bed, script, columns, rows):
    items = lines_at([0.1, 0.2], [1.0, 12.5]) + lines_at([0.2], [0.5], "dial", "D") + [(0.3, "dial", b"?\n")]
    with receiver_of(bed, script(items), "level", "dial") as receiver:
        session_of(receiver, seconds=0.5)[0].look_on()
        console = Console(width=columns, force_terminal=True, file=io.StringIO())
        page = console.render_lines(blocks_page(receiver.look(), console, rows))
    lines = ["".join(each.text for each in line) for line in page]
    text = "\n".join(lines)
    assert all(len(line) <= columns for line in lines)
    assert "level" in text and "dial" in text and "garbled 1" in " ".join(text.split())
    wrong = " ".join(each.text.strip() for line in page for each in line if "red" in str(each.style))
    assert wrong.startswith("! "), "the words say it, colour or not"
    if columns >= 34 and rows == 50:
        assert "█" in text


def test_still_record_of_a_bench_session(bed, script):
    t = np.arange(0, 300, 0.1)
    rng = np.random.default_rng(1)
    items = lines_at(t, rng.normal(10, 0.5, t.size)) + lines_at([5.0], [0.1], "dial", "D")
    with receiver_of(bed, script(items), "level", "dial") as receiver:
        session, said = session_of(receiver)
        found = session.stand_still(300.0, 3.0)
    level = found["level"]
    assert level.standard_uncertainty == pytest.approx(0.5 / np.sqrt(30), rel=0.25)
    assert level.resolution == 0.01
    assert isinstance(found["dial"], AcquireError) and "dial" in str(found["dial"])
    assert any("hands off" in words for words in said)
    words = "\n".join(still_words(bed.instruments["level"], level))
    assert "one station of 3 s is good to 0.09" in words and "steps of 0.01 µm/m" in words
    assert "a short record" in words, "299.9 s"


def placing_stream(levels, rng, hold_s=8.0):
    time_s, reading = [], []
    now = 0.0
    for level in levels:
        t = np.arange(0, hold_s, 0.05)
        time_s += list(now + t)
        reading += list(level + 30 * np.exp(-t / 0.4) + rng.normal(0, 0.2, t.size))
        now += hold_s
        lift = np.arange(0, 2, 0.05)
        time_s += list(now + lift)
        reading += list(rng.normal(0, 900, lift.size))
        now += 2.0
    return time_s, reading


def test_placings_are_asked_for_and_taken_one_after_the_other(bed, script):
    rng = np.random.default_rng(3)
    levels = 20 + rng.normal(0, 3, 10)
    play = script(lines_at(*placing_stream(levels, rng)))
    with receiver_of(bed, play, "level") as receiver:
        session, said = session_of(receiver)
        found = session.replace(bed.instruments["level"], 10, 3.0, None)
    assert found.placings == 10
    assert found.scatter == pytest.approx(np.std(levels, ddof=1), rel=0.1)
    assert found.seating_um == pytest.approx(found.scatter * 0.2 / np.sqrt(2))
    asked = [line for line in said if "lift it clear" in line]
    taken = [line for line in said if line.startswith("placing ")]
    assert len(asked) == 9 and len(taken) == 10 and "placing 10 of 10" in taken[-1]
    assert taken[-1].endswith(" µm/m")


def test_placings_in_a_survey_in_inches_are_told_in_thou_to_the_foot(bed, script):
    rng = np.random.default_rng(3)
    play = script(lines_at(*placing_stream(20 + rng.normal(0, 3, 4), rng)))
    with receiver_of(bed, play, "level") as receiver:
        session, said = session_of(receiver, inch=True)
        session.replace(bed.instruments["level"], 4, 3.0, None)
    taken = [line for line in said if line.startswith("placing ")]
    assert len(taken) == 4 and all(line.endswith(" thou/ft") for line in taken)
    assert float(taken[0].split()[-2]) == pytest.approx(20 * 0.012, abs=0.1)


def test_reversal_of_a_bench_session_gives_the_zero(bed, script):
    rng = np.random.default_rng(4)
    play = script(lines_at(*placing_stream([400 + 7, -400 + 7, 400 + 7], rng)))
    with receiver_of(bed, play, "level") as receiver:
        found = session_of(receiver)[0].reverse(bed.instruments["level"], 3.0, None)
    assert found.zero == pytest.approx(7, abs=0.3) and found.slope == pytest.approx(400, abs=0.3)


def test_only_a_level_is_turned_end_for_end(bed, script):
    with receiver_of(bed, script([]), "dial") as receiver, pytest.raises(AcquireError, match="gravity"):
        session_of(receiver)[0].reverse(bed.instruments["dial"], 3.0, None)


def test_bench_session_ends_by_key_and_says_what_is_lacking(bed, script):
    play = script(lines_at(*placing_stream([20, 21, 22], np.random.default_rng(5))))
    with receiver_of(bed, play, "level") as receiver:
        session, _ = session_of(receiver, key=lambda: "q" if receiver.now_s() > 24 else "")
        with pytest.raises(AcquireError, match=r"found [23] placings"):
            session.replace(bed.instruments["level"], 10, 3.0, None)
