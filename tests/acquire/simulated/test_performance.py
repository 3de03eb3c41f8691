import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest

from acquire.model.bed_toml.reading import parse_bed
from acquire.simulated.catalogue import (
    SPEAKING,
    cross_level,
    description,
    indicator,
    long_level,
    scale,
    vial,
)
from acquire.simulated.instruments import read_by_eye
from acquire.simulated.motion import Hold, fed, stepped
from acquire.simulated.performance import perform
from acquire.simulated.truth import InventedBed, InventedFace, Shape

BED = InventedBed(1)
STATIONS_MM = np.arange(100.0, 901.0, 200.0)


def without_faults(instrument):
    """Perfect: nothing between the truth and the display but its steps."""
    faults = ("lag_s", "white", "flicker", "drift_per_hour", "zero", "seating_um", "in_the_hand")
    return replace(instrument, **dict.fromkeys((*faults, "garbled_chance"), 0.0))


def played(seed, instrument=None, script=None):
    script = script or stepped(STATIONS_MM, np.random.default_rng(4))
    return perform(BED, {"level": instrument or long_level("front-vee"), "scale": scale()}, script, seed)


def test_same_seed_gives_the_same_bytes_at_the_same_times():
    assert list(played(3).ticks()) == list(played(3).ticks())


def test_another_seed_gives_other_bytes():
    assert played(3).sent["level"].data != played(4).sent["level"].data


def test_perfect_level_at_rest_shows_the_slope_between_its_feet():
    perfect = without_faults(long_level("front-vee"))
    sent = played(1, perfect, (500.0, [Hold(3.0)])).sent["level"]
    rise = BED.height_um("front-vee", 600.0) - BED.height_um("front-vee", 400.0)
    assert sent.shown == pytest.approx(rise / 0.2, abs=0.05)


def test_perfect_cross_level_at_rest_shows_the_roll_in_arcseconds():
    sent = played(1, without_faults(cross_level()), (500.0, [Hold(3.0)])).sent["level"]
    roll = float(BED.roll_um_per_m("front-vee", "rear-flat", 500.0))
    # 1 arcsecond is 4.84813681109536 µm/m.
    assert sent.shown == pytest.approx(roll / 4.84813681109536, abs=0.025)


def test_perfect_indicator_shows_rear_minus_front_in_mm():
    sent = played(1, without_faults(indicator()), (500.0, [Hold(2.0)])).sent["level"]
    difference = float(BED.height_um("rear-flat", 500.0) - BED.height_um("front-vee", 500.0))
    assert sent.shown == pytest.approx(difference / 1000, abs=0.0001)


def test_mean_of_an_early_dwell_is_wrong_and_the_settled_end_is_right():
    """Damping and a lively move leave a tail in each dwell."""
    performance = played(8)
    motion, sent = performance.motion, performance.sent["level"]
    station = np.interp(sent.time_s, motion.time_s, motion.station_mm)
    here = np.flatnonzero((np.abs(station - 500) < 1.0) & (np.gradient(station) == 0))
    early, settled = sent.shown[here[:10]].mean(), sent.shown[here[-40:]].mean()
    assert abs(early - settled) > 5


def test_share_of_garbled_lines_is_as_asked():
    noisy = perform(BED, {"scale": scale()}, (0.0, [Hold(4000.0)]), 5).sent["scale"]
    lines = noisy.data.split(b"\r\n")
    whole = sum(len(line) == 9 and line[1:5].isdigit() and line[6:].isdigit() for line in lines)
    assert noisy.is_garbled.mean() == pytest.approx(0.001, abs=0.0005)
    assert 0 < len(noisy.frames) - whole <= 2 * noisy.is_garbled.sum()


def test_each_placing_seats_anew_and_a_feed_keeps_its_seat():
    seated = without_faults(long_level("front-vee"))
    seated = type(seated)(**{**vars(seated), "seating_um": 2.0})
    straight = InventedBed(faces={"front-vee": InventedFace("up", 0.0, Shape())})
    lifted = perform(straight, {"level": seated}, stepped(STATIONS_MM, np.random.default_rng(1)), 2)
    slid = perform(straight, {"level": seated}, fed(100.0, 300.0, 10.0), 2)
    rests = [lifted.motion.placing == p for p in range(int(lifted.motion.placing[-1]) + 1)]
    shown = np.interp(lifted.motion.time_s, lifted.sent["level"].time_s, lifted.sent["level"].shown)
    assert len({round(float(shown[rest][-5]), 1) for rest in rests}) > 3
    start = slid.sent["level"].shown[0]
    assert np.median(slid.sent["level"].shown) == pytest.approx(start, abs=0.5)


def test_bytes_arrive_after_their_time_on_the_line():
    sent = played(1).sent["scale"]
    # Eleven bytes of ten bits at 9600 bits a second.
    assert sent.time_s[0] == pytest.approx(1 / 20 + 110 / 9600)


def test_description_of_the_invented_bed_is_one_that_can_be_read_and_says_that_it_is_invented():
    text = description(BED, {name: f"/dev/pts/{number}" for number, name in enumerate(SPEAKING)})
    bed = parse_bed(text)
    assert "invented" in bed.name and text.startswith("# INVENTED")
    assert set(bed.faces) == set(BED.faces)
    assert all(bed.instruments[name].speaks for name in SPEAKING)
    assert bed.carriage_ways() == ("front-vee", "rear-flat")


def test_simulation_shares_nothing_with_what_reads_it_back():
    code = "import sys, acquire.simulated.catalogue, acquire.simulated.bench; print(*sys.modules)"
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    shared = (
        "acquire.receive.wire",
        "acquire.receive.ports",
        "acquire.store.journal",
        "analysis",
        "termios",
        "serial",
        "scipy",
    )
    assert not [name for name in loaded.split() if name.startswith(shared)]


def test_readings_by_eye_are_whole_steps_near_the_truth():
    places = np.arange(100.0, 1501.0, 200.0)
    shown = read_by_eye(vial("tail-flat"), BED, places, np.random.default_rng(3))
    # A division is 20 µm/m and its zero 8 µm/m; seat and eye add some 3 µm/m.
    rise = BED.height_um("tail-flat", places + 100) - BED.height_um("tail-flat", places - 100)
    assert shown * 20 - 8 == pytest.approx(rise / 0.2, abs=15)
    assert shown * 5 == pytest.approx(np.round(shown * 5))
