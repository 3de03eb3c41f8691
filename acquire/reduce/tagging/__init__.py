"""From readings and positions in time to readings at stations; pure numbers, no clock."""

from acquire.reduce.tagging.acceleration import tilt_without_acceleration
from acquire.reduce.tagging.binning import Bins, binned, passes
from acquire.reduce.tagging.dwells import (
    Dwell,
    dwells_by_marks,
    dwells_by_position,
    dwells_by_reading,
    worth_keeping,
)
from acquire.reduce.tagging.faults import Step, frozen, step_at_rest
from acquire.reduce.tagging.lumps import Lumps, lumps_of
from acquire.reduce.tagging.positions import (
    candidate_places,
    longest_gap_of,
    places_of,
    positions_at,
    positions_by_feed,
    snapped,
)
from acquire.reduce.tagging.sample_times import sample_times
from acquire.reduce.tagging.scatter import autocorrelation_time, standard_error
from acquire.reduce.tagging.settled import SettledStation, SettledStations, settled_stations
from acquire.reduce.tagging.settling import DwellSamples, Settling, fit_settling

__all__ = [
    "Bins",
    "Dwell",
    "DwellSamples",
    "Lumps",
    "SettledStation",
    "SettledStations",
    "Settling",
    "Step",
    "autocorrelation_time",
    "binned",
    "candidate_places",
    "dwells_by_marks",
    "dwells_by_position",
    "dwells_by_reading",
    "fit_settling",
    "frozen",
    "longest_gap_of",
    "lumps_of",
    "passes",
    "places_of",
    "positions_at",
    "positions_by_feed",
    "sample_times",
    "settled_stations",
    "snapped",
    "standard_error",
    "step_at_rest",
    "tilt_without_acceleration",
    "worth_keeping",
]
