"""How much an instrument drifted over a run: runs there and back tell it, and it is shown.

A steady drift in a single run of a level looks like a bow of the way.  Where the same
face was run both ways without turning the instrument, the adjustment tells the two apart;
where it was run one way only, nothing does.  A drawn run one way only may be told by
stepped runs both ways along the same face.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from acquire.model.quantity import ROLL
from analysis.adjust.bed_map import BedMap
from analysis.adjust.between_runs import drift_stated
from analysis.adjust.there_and_back import APART, UNTOLD
from analysis.observe.drawn_runs import group_of
from analysis.observe.terms import Observations, Unknown

UNSURE = (UNTOLD, APART)
SEEN_FROM = 2.0
"""A drift of less than this many standard uncertainties is not told from none."""


@dataclass(frozen=True)
class Drift:
    """What one instrument drifted over one run, forward or reverse."""

    instrument: str
    over_run: float
    """In the contract's unit of its readings; positive where they grew."""
    expanded: float
    unit: str
    is_seen: bool
    """Whether it stands out of its uncertainty."""
    is_told: bool = True
    """Whether it is no bend of the bed between the runs."""


def drifts(bed_map: BedMap, face: str) -> tuple[Drift, ...]:
    """Drifts that the runs of a face show, one per instrument and kind of run.

    Parameters
    ----------
    bed_map : BedMap
    face : str
        Only runs that say something about it.
    """
    found = []
    solution = bed_map.solution
    untold = {n for each in bed_map.assembly.returns if each.outcome in UNSURE for n in each.traverses}
    for key, column in bed_map.assembly.nuisances.items():
        runs = [o for o in bed_map.observations if face in o.faces and _drifts_by(o, key)]
        if not runs:
            continue
        length = 1.0 if runs[0].bow else float(np.median([np.ptp(each.order) for each in runs]))
        row = np.zeros((1, bed_map.assembly.unknowns))
        row[0, column] = length
        if not solution.is_known(row).all():
            continue
        change = float(length * solution.estimate[column])
        doubt = float(np.sqrt(bed_map.covariance_of(row)[0, 0]))
        is_told = not any(run.traverse in untold for run in runs)
        unit = "µm" if runs[0].measures.is_length else "µm/m"
        found.append(
            Drift(
                _called(runs[0], bed_map), change, 2 * doubt, unit, abs(change) > SEEN_FROM * doubt, is_told
            )
        )
    return (*found, *_drawn(bed_map, face, untold))


def _called(run: Observations, bed_map: BedMap) -> str:
    """The instrument; of one that lies both along and across, how it lay."""
    lies = {o.measures.name for o in bed_map.observations if o.noise_group == run.noise_group}
    return f"{run.noise_group} (across)" if run.measures is ROLL and len(lies) > 1 else run.noise_group


def _drawn(bed_map: BedMap, face: str, untold: set[int]) -> Iterator[Drift]:
    """Drifts of levels drawn there and back."""
    for block in bed_map.observations:
        if block.drawn is None or face not in block.faces:
            continue
        for name, (change, sd) in block.drawn.heights.drifts.items():
            runs = [run for run in block.drawn_runs if group_of(run.sources[0]) == name]
            doubt = float(np.sqrt(bed_map.variance_factor)) * sd
            is_told = not any(run.traverse in untold for run in runs)
            is_seen = abs(change) > SEEN_FROM * doubt
            yield Drift(f"{runs[0].instrument} (drawn)", change, 2 * doubt, "µm/m", is_seen, is_told)


def _drifts_by(each: Observations, key: Unknown) -> bool:
    """Whether the unknown `key` is a drift of these readings."""
    if each.bow is not None:
        return each.bow.key == key
    return key.kind == "drift" and each.drift_group == key.of[:-1]


def only_one_way(bed_map: BedMap, face: str) -> tuple[str, ...]:
    """Levels that ran along a face in one direction only: a drift of theirs would look like a bow.

    None of which bed.toml states how far their zero may drift.

    A stepped run is no return for a drawn one (their times differ, and so does their drift),
    nor is a drawn one over other feet.
    It tells the bow, though, so that the drift of the drawn one was left free.
    """
    directions: dict[tuple[str, str, float | None], set[str]] = {}
    for each in bed_map.observations:
        if face not in each.faces or not (each.measures.has_feet_along or each.drawn):
            continue
        if each.bow is not None and each.bow.key in bed_map.assembly.nuisances:
            continue
        if drift_stated(each) is not None:
            continue
        runs = [(t.setup.instrument, t.instrument.base_mm, t.setup.direction) for t in each.drawn_traverses]
        for name, base_mm, direction in runs or [(each.instrument, None, each.direction)]:
            directions.setdefault((name, each.mode, base_mm), set()).add(direction)
    return tuple(dict.fromkeys(name for (name, *_), seen in directions.items() if len(seen) == 1))
