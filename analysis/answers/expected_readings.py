"""A run that has not been taken, as the map expects it to read.

    r = A h,    A the forms of its readings, h the heights as known

Its zero is left out, and so is all that the readings so far leave free: what nothing tells is
taken as none.  Places between known heights are on the cubic through them.  Errors of scale
act on what is read, so a run that read nothing would look as if it had none.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from acquire.model.traverse import Events, Setup, Stations, Traverse
from analysis.adjust.bed_map import BedMap
from analysis.observe import Form, observe
from analysis.observe.interpolating import interpolation_rows
from analysis.observe.slope import slope_forms

FREE = 1e-9
"""Of the largest movement: what moves by less is known."""


def as_expected(bed_map: BedMap, setup: Setup, mode: str, station_mm: np.ndarray) -> Traverse:
    """A run at these stations with the readings that the map expects.

    Parameters
    ----------
    bed_map : BedMap
    setup : Setup
        How it would be taken.
    mode : str
        stepped | continuous.
    station_mm : array, shape (n,)
        Rising.
    """
    count = len(station_mm)
    own = np.full(count, max(setup.bed.instruments[setup.instrument].uncertainty, _step(bed_map, setup)))
    ones = np.ones(count, int)
    stations = Stations(station_mm, np.zeros(count), own, np.zeros(count), ones, ones, np.full(count, np.nan))
    run = Traverse(setup, {}, stations, Events.none(), mode, True)
    is_drawn = mode == "continuous"
    forms = slope_forms(run, bed_map.bed, station_mm) if is_drawn else observe(run, bed_map.bed).forms
    return replace(run, stations=replace(stations, reading=expected_readings(bed_map, forms)))


def expected_readings(bed_map: BedMap, forms: Sequence[Form]) -> np.ndarray:
    """Forms of the heights as known; shape (n,), in the unit of the reading."""
    rows = np.zeros((len(forms), len(bed_map.nodes)))
    for (kind, owner), line in bed_map.lines.items():
        known = line.parts[0] if line.parts else np.arange(len(line.station_mm))
        parts = [
            (row, place.station_mm, weight)
            for row, form in enumerate(forms)
            for place, weight in form.items()
            if (place.kind, place.owner) == (kind, owner)
        ]
        if parts:
            row, at_mm, weight = (np.array(column) for column in zip(*parts, strict=True))
            weights = weight[:, None] * interpolation_rows(line.station_mm[known], at_mm)
            np.add.at(rows, (row[:, None], bed_map.indices(owner, kind)[known][None, :]), weights)
    free = rows @ bed_map.solution.null_space[: len(bed_map.nodes)]
    reading = rows @ bed_map.solution.estimate[: len(bed_map.nodes)]
    return np.asarray(reading - free @ np.linalg.lstsq(free, reading, rcond=FREE)[0])


def _step(bed_map: BedMap, setup: Setup) -> float:
    """The coarsest steps that runs of the same instrument were written in, as an uncertainty."""
    runs = [each for each in bed_map.observations if each.instrument == setup.instrument]
    return max((each.step_variance for each in runs), default=0.0) ** 0.5
