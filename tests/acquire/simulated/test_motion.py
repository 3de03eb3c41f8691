import numpy as np
import pytest

from acquire.simulated.motion import Feed, Hold, Mark, Move, fed, motion_of, stepped


def test_feed_covers_its_distance_at_its_speed():
    motion = motion_of(100, [Hold(2.0), Feed(1100.0, 10.0), Hold(2.0)])
    assert motion.station_mm[-1] == pytest.approx(1100.0)
    assert motion.seconds == pytest.approx(2 + 100.5 + 2, abs=0.02)
    middle = (motion.time_s > 10) & (motion.time_s < 90)
    speed = np.diff(motion.station_mm[middle]) / np.diff(motion.time_s[middle])
    assert np.mean(speed) == pytest.approx(10.0, rel=0.002)
    assert np.ptp(speed) == pytest.approx(0.1, rel=0.05)
    assert motion.placing[-1] == 0


def test_reverse_feed_goes_back():
    motion = motion_of(1100, [Feed(100.0, 20.0)])
    assert np.all(np.diff(motion.station_mm) <= 1e-9)
    assert motion.station_mm[-1] == pytest.approx(100.0)


def test_move_is_a_new_placing_and_ends_at_rest():
    motion = motion_of(0, [Hold(1.0), Move(200.0, 3.0), Hold(2.0)])
    assert list(np.unique(motion.placing)) == [0, 1]
    still = motion.time_s > 4.05
    assert np.ptp(motion.station_mm[still]) == 0
    assert np.abs(motion.acceleration_mm_s2[still]).max() < 1e-6
    assert not motion.is_handled[still].any()


def test_marks_fall_where_the_script_has_them():
    motion = motion_of(0, [Hold(1.5), Mark("first"), Hold(2.0), Mark("second")])
    assert motion.marks == ((pytest.approx(1.5), "first"), (pytest.approx(3.5), "second"))


def test_stepped_script_stands_at_every_station_long_enough():
    stations = np.arange(100, 1501, 200.0)
    motion = motion_of(*stepped(stations, np.random.default_rng(3), dwell_s=(5.5, 7.0)))
    for station in stations:
        here = np.abs(motion.station_mm - station) < 1.5
        assert here.sum() * 0.01 >= 5.5


def test_fed_script_marks_both_ends_of_the_feed():
    motion = motion_of(*fed(100.0, 300.0, 10.0))
    (begins, _), (ends, _) = motion.marks
    assert np.interp([begins, ends], motion.time_s, motion.station_mm) == pytest.approx([100.0, 300.0])
