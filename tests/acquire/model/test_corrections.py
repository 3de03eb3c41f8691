"""Corrections of single readings: the last for each counts, and one taken back does not."""

from acquire.model.corrections import AS_READ, CORRECTION, Correction, corrections_in_force
from acquire.model.recorded import Event


def event(now, station_mm=450.0):
    return Event(0.0, CORRECTION, Correction(station_mm, 1, now, "+125 um", "a zero too many").as_text())


def test_last_correction_of_a_reading_counts_and_one_taken_back_does_not():
    first, second, back = event("+12.5 um"), event("+13 um"), event(AS_READ)
    assert [each.now for each in corrections_in_force([first, second])] == ["+13 um"]
    assert corrections_in_force([first, back]) == ()
    assert [each.now for each in corrections_in_force([first, back, second])] == ["+13 um"]
