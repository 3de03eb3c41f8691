"""What an indicator read against what the level map makes of it."""

import numpy as np
import pytest

from acquire.errors import AnalysisError
from analysis.combination import combine
from analysis.observations import observe
from analysis.reference_lines import remove_line
from analysis.relative import measured_profile, predicted_profile, readings_held_against

STATION = np.arange(0.0, 1001.0, 50.0)
DIAL = 'quantity = "offset"\nunit = "um"\nstandard_uncertainty = 0.5\nseating_um = 0\ncarrier_feet_mm = 100'
LEVEL = 'quantity = "slope"\nunit = "um/m"\nbase_mm = 50\nstandard_uncertainty = 0.5\nseating_um = 0'


def front(x):
    return -40 * np.exp(-(((x - 500) / 120) ** 2))


def rear(x):
    return 10 * np.sin(x / 250)


@pytest.fixture
def survey(invented_bed, make_traverse):
    bed = invented_bed(pitch_mm=50, instruments={"dial": DIAL, "level": LEVEL})
    middle = np.arange(25.0, 1000, 50)
    levels = [
        make_traverse(bed, "level", middle, (h(middle + 25) - h(middle - 25)) * 20, face=face)
        for face, h in (("front-flat", front), ("rear-flat", rear))
    ]
    read = rear(STATION) - (front(STATION + 50) + front(STATION - 50)) / 2
    inner = slice(1, -1)
    dials = [
        make_traverse(
            bed, "dial", STATION[inner], read[inner] + zero, face="rear-flat", reference="front-flat"
        )
        for zero in (3.0, -8.0)
    ]
    return levels, dials, bed


def test_reading_of_a_stand_on_feet_is_what_the_map_makes_of_it(survey):
    """A stand on feet 100 mm apart rides over a dip: the plain difference of the maps would be 4 µm off."""
    levels, dials, bed = survey
    observed = [observe(run, bed) for run in dials]
    measured = remove_line(measured_profile(observed, bed), "least-squares")
    predicted = remove_line(predicted_profile(combine(levels, bed), observed[0]), "least-squares")
    assert measured.station_mm == pytest.approx(predicted.station_mm)
    assert measured.height_um == pytest.approx(predicted.height_um, abs=1e-6)
    plain = combine(levels, bed).difference("rear-flat", "front-flat")
    at = np.isin(plain.station_mm, measured.station_mm)
    off = plain.height_um[at] - measured.height_um
    assert np.ptp(off - np.polyval(np.polyfit(measured.station_mm, off, 1), measured.station_mm)) > 4


def test_two_runs_are_surer_than_one(survey):
    _, dials, bed = survey
    observed = [observe(run, bed) for run in dials]
    both = remove_line(measured_profile(observed, bed), "least-squares").standard_uncertainty_um
    one = remove_line(measured_profile(observed[:1], bed), "least-squares").standard_uncertainty_um
    assert both == pytest.approx(one / 2**0.5)


def test_runs_of_different_things_are_refused(survey):
    levels, dials, bed = survey
    with pytest.raises(AnalysisError, match="runs of one face along one reference"):
        measured_profile([observe(dials[0], bed), observe(levels[0], bed)], bed)


def test_reading_that_cannot_be_is_seen_while_the_run_is_under_way(survey, make_traverse):
    """Five readings of a second dial run, the last 9 µm off what maps and the run itself predict."""
    levels, dials, bed = survey
    bed_map = combine([*levels, dials[0]], bed)
    begun = dials[1].stations
    reading = begun.reading[:5].copy()
    reading[4] += 9.0
    run = make_traverse(
        bed, "dial", begun.station_mm[:5], reading, face="rear-flat", reference="front-flat", number=9
    )
    found = readings_held_against(bed_map, observe(run, bed))
    assert found.station_mm.tolist() == begun.station_mm[:5].tolist()
    assert found.reading[4] - found.predicted[4] == pytest.approx(9.0, abs=1e-6)
    assert abs(found.normalised[4]) > 4
    first = make_traverse(bed, "dial", [100.0], [3.0], face="rear-flat", reference="front-flat", number=9)
    assert np.isnan(readings_held_against(bed_map, observe(first, bed)).predicted).all()
