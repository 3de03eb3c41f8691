"""How much an instrument drifted over a run: the mean of there and back cancels it, and it is shown.

A steady drift in a single run of a level looks like a bow of the way.  Where the same
face was run both ways without turning the instrument, the adjustment tells the two apart;
where it was run one way only, nothing does.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.combination import BedMap

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
    for key, column in bed_map.assembly.nuisances.items():
        runs = [o for o in bed_map.observations if o.drift_group == key[1:-1] and face in o.faces]
        if key[0] != "drift" or not runs:
            continue
        length = float(np.median([np.ptp(each.order) for each in runs]))
        row = np.zeros((1, bed_map.assembly.unknowns))
        row[0, column] = length
        if not solution.is_known(row).all():
            continue
        change = float(length * solution.estimate[column])
        doubt = float(length * np.sqrt(bed_map.enlargement * solution.covariance[column, column]))
        unit = "µm/m" if runs[0].quantity in ("slope", "roll") else "µm"
        found.append(Drift(runs[0].instrument, change, 2 * doubt, unit, abs(change) > SEEN_FROM * doubt))
    return tuple(found)


def only_one_way(bed_map: BedMap, face: str) -> tuple[str, ...]:
    """Levels that ran along a face in one direction only: a drift of theirs would look like a bow.

    A stepped run is no return for a drawn one: their times differ, and so does their drift.
    """
    directions: dict[tuple[str, str], set[str]] = {}
    for each in bed_map.observations:
        if face not in each.faces or each.quantity not in ("slope", "heights"):
            continue
        runs = [(t.setup.instrument, t.setup.direction) for t in each.dense_traverses]
        for name, direction in runs or [(each.instrument, each.direction)]:
            directions.setdefault((name, each.mode), set()).add(direction)
    return tuple(dict.fromkeys(name for (name, _), seen in directions.items() if len(seen) == 1))


def drift_words(found: Sequence[Drift]) -> list[str]:
    """Each drift in one line.

    Examples
    --------
    >>> drift_words([Drift("level", 4.04, 0.61, "µm/m", True), Drift("dial", 0.2, 0.6, "µm", False)])
    ['level drifted by 4.0 ± 0.6 µm/m over a run; there and back cancel it.',
     'dial drifted by less than 0.8 µm over a run.']
    """
    lines = []
    for each in found:
        most = abs(each.over_run) + each.expanded
        seen = (
            f"by {each.over_run:.1f} ± {each.expanded:.1f} {each.unit} over a run; there and back cancel it."
        )
        unseen = f"by less than {most:.1f} {each.unit} over a run."
        lines.append(f"{each.instrument} drifted {seen if each.is_seen else unseen}")
    return lines
