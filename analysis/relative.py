"""Like held against like: what an indicator read, and what a map makes of that same reading.

An indicator carried along one face and reading another shows neither by itself. Its
readings, freed of zero and drift, are a profile of their own; the map's counterpart is
the same combination of heights, carrier and all, at the same stations.
"""

from collections.abc import Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np

from acquire.bed import Bed
from acquire.errors import AnalysisError
from analysis.assembly import rows_for
from analysis.combination import BedMap, adjusted
from analysis.observations import Observations, Place
from analysis.profile import Profile
from analysis.reliability import Residuals

OWNER = "what was read"


def measured_profile(observations: Sequence[Observations], bed: Bed) -> Profile:
    """The readings of one or more runs of the same kind as a profile, up to a line.

    Zeros, drift, repeats and shared scale errors are treated as in the map; the forms of
    the runs (face, carrier, reference) must be the same.

    Raises
    ------
    AnalysisError
        If no run is given, runs differ in what they read, or fewer than three stations are there.
    """
    if not observations or len({each.drift_group[1:] for each in observations}) != 1:
        raise AnalysisError(
            "readings", f"found {len(observations)} runs", "runs of one face along one reference", ""
        )
    alone = [
        replace(
            each,
            forms=tuple({Place("height", OWNER, float(x), "touched"): 1.0} for x in each.station_mm),
            plain_forms=None,
            carriers=(),
            faces=(OWNER,),
            edges=(),
        )
        for each in observations
    ]
    found = adjusted(alone, bed).profile(OWNER)
    return replace(found, face=observations[0].subject)


def predicted_profile(bed_map: BedMap, observations: Observations) -> Profile:
    """What a map makes of the readings of one run, up to a line, with the map's covariance.

    Raises
    ------
    AnalysisError
        Where the map does not determine it at three stations.
    """
    rows, _ = rows_for(bed_map.assembly, observations)
    known = [
        all(bed_map.assembly.layout.weights(place) for place in form if place.kind != "edge")
        for form in observations.forms
    ]
    _, first = np.unique(observations.station_mm, return_index=True)
    used = np.array([index for index in first if known[index]], int)
    if len(used) < 3:
        raise AnalysisError(
            f"traverse {observations.traverse:03d}",
            "the map does not reach its stations",
            "three at least",
            "",
        )
    matrix = rows[used][:, : len(bed_map.nodes)].toarray()
    return bed_map.combined(observations.subject, observations.station_mm[used], matrix)


def readings_held_against(bed_map: BedMap, observations: Observations) -> Residuals:
    """Each reading of a run, finished or not, against what everything else makes of it.

    The survey so far and the other readings of the run (which give it its zero) predict
    each reading; a normalised residual beyond `analysis.reliability.alarm_level` of their
    number asks for another look while the instrument is still on the bed. NaN where
    nothing predicts a reading yet.
    """
    table = adjusted([*bed_map.as_observed, observations], bed_map.bed).residuals
    mine = np.flatnonzero(table.traverse == observations.traverse)
    chosen: dict[str, Any] = {}
    for item in fields(table):
        column = getattr(table, item.name)
        chosen[item.name] = tuple(column[i] for i in mine) if isinstance(column, tuple) else column[mine]
    return replace(table, **chosen)
