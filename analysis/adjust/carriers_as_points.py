"""Carriers on ways whose shape nothing tells, taken as points.

Such a carrier is taken as a point, reading by reading: what was measured then is the face against what
carried the indicator.  How the way bends under the carrier's feet is unknown and enters as an error,
taken to be as large as if the way were so rough that the difference would be read through those feet.  A
carrier whose feet stand farther apart than the stations does not see a wave about twice as long as
itself.  Its error is then no less than all that the difference departs from a smooth curve.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from acquire.model.places import PLACED_MM
from analysis.adjust.assembly import UNDER_CARRIER, bend_station
from analysis.adjust.between_nodes import Roughness, judged_through_feet, well_apart
from analysis.adjust.judge import Judge, judged_by_heights
from analysis.adjust.nodes import ON_THE_BED, Key, Layout
from analysis.linear.fact import Fact
from analysis.observe import Form, Nuisance, Observations, Unknown

LEAST_BEND = 1e-9
"""In the unit of the reading: an error of nothing at all cannot be weighed."""
SAME_WEIGHT = 1e-12
LONG_ENOUGH = 2.0
"""Waves that a carrier does not see, from the first reading to the last, for a cubic to have none of them."""
OF_READINGS: Key = ("difference", "")
"""Stands for the line of what an indicator read, which is no line of heights."""


@dataclass(frozen=True)
class PointCarrier:
    """An instrument whose carrier was taken as a point."""

    traverse: int
    instrument: str
    carriers: tuple[str, ...]
    """Faces that it rode."""
    is_described: bool
    """Whether bed.toml gives its feet or bearing length: it is a point because the shape of what it rode
    is not known; otherwise because nothing says how long it is."""
    readings: int
    """How many of its readings are taken so."""


@dataclass(frozen=True)
class ShapeUnderCarrierUnknown(Fact):
    """A carrier that was taken as a point because nothing tells the shape of what it rode."""

    instrument: str
    carriers: tuple[str, ...]
    readings: int


def point_by_point(
    each: Observations, layout: Layout, told: frozenset[int], judge: Judge, joints_mm: Sequence[float]
) -> Observations:
    """Readings whose carrier stands on heights that nothing tells, with the carrier as a point there."""
    if each.plain_forms is None:
        return each
    forms = tuple(
        _point_where_untold(full, plain, layout, told)
        for full, plain in zip(each.forms, each.plain_forms, strict=True)
    )
    changed = [index for index, form in enumerate(forms) if form != each.forms[index]]
    if not changed:
        return each
    bends = _bends(each, forms, changed, judge, joints_mm)
    return replace(each, forms=forms, nuisances=(*each.nuisances, *bends))


def _point_where_untold(full: Form, plain: Form, layout: Layout, told: frozenset[int]) -> Form:
    """A carrier as a point on the lines of heights that nothing tells, and as it is on all others."""
    untold = {
        (place.kind, place.owner)
        for place in full
        if place.role == "carried" and layout.column(place) not in told
    }
    kept = {place: weight for place, weight in full.items() if (place.kind, place.owner) not in untold}
    point = {place: weight for place, weight in plain.items() if (place.kind, place.owner) in untold}
    mixed = kept | point
    left_out = _difference(full, mixed).values()
    is_same = all(abs(weight) < SAME_WEIGHT for line in left_out for weight in line.values())
    return full if is_same else mixed


def _bends(
    each: Observations,
    forms: Sequence[Form],
    changed: Sequence[int],
    judge: Judge,
    joints_mm: Sequence[float],
) -> list[Nuisance]:
    """What the unknown way adds to each reading whose carrier is taken as a point.

    The error is that of the sum (heights under the feet, less the height under the middle),
    on a way as rough as the difference read; with too few stations to judge that, and where the
    carrier stands on two pieces of the bed, it is taken to be as large as the whole range of
    the difference.

    Feet a apart read (h(x − a/2) + h(x + a/2)) / 2, and nothing of a wave 2a long.  Stations a or
    more apart could not have shown such a wave either way; where they are closer, the difference
    looks smoother than the way.  How rough the way is must then be judged through the feet, and
    the wave of 2a not even so: a hollow of any length still shows in the range of the difference off
    a smooth curve, by half its depth or more.
    """
    assert each.plain_forms is not None
    # what rides a face and reads it would read nothing as a point: all that it reads is what its feet leave
    weighed = each.plain_forms if any(each.plain_forms) else each.forms
    per_um = max((abs(weight) for form in weighed for weight in form.values()), default=1.0)
    way = _as_rough_as_read(each, per_um, judge)
    gaps_mm = np.diff(np.unique(each.station_mm))
    apart_mm = float(np.median(gaps_mm)) if len(gaps_mm) else np.inf
    found = []
    for index in changed:
        left_out = _difference(each.forms[index], forms[index])
        if way is None or _stands_over(joints_mm, left_out):
            size = float(np.ptp(each.reading) + np.sqrt(each.variance.max()))
        else:
            size = _size(left_out, way)
            if (reach_mm := _reach_mm(left_out)) > apart_mm + PLACED_MM:
                size = max(size, _off_a_curve(each, reach_mm))
        column = np.zeros(len(each))
        column[index] = -1.0 if each.turned else 1.0
        key = Unknown(UNDER_CARRIER, (each.instrument, *each.carriers, bend_station(each.station_mm[index])))
        found.append(Nuisance(key, column, max(size, LEAST_BEND)))
    return found


def _stands_over(joints_mm: Sequence[float], left_out: Mapping[Key, Mapping[float, float]]) -> bool:
    """Whether a carrier bears on both sides of a joint of the bed."""
    stands = [
        (min(weights), max(weights))
        for (kind, _), weights in left_out.items()
        if kind in ON_THE_BED and weights
    ]
    return any(low <= joint < high for low, high in stands for joint in joints_mm)


def _reach_mm(left_out: Mapping[Key, Mapping[float, float]]) -> float:
    """How far apart the feet of a carrier stand."""
    return max((max(weights) - min(weights) for weights in left_out.values() if weights), default=0.0)


def _off_a_curve(each: Observations, reach_mm: float) -> float:
    """By how much readings differ once a line is taken off them; their unit.

    A cubic where they go on for twice the wave of 2a that feet a apart do not see: no such wave is in it.
    """
    span = float(np.ptp(each.station_mm))
    degree = 3 if span >= LONG_ENOUGH * 2 * reach_mm else 1
    away = (each.station_mm - each.station_mm.mean()) / max(span, PLACED_MM)
    return float(np.ptp(each.reading - np.polyval(np.polyfit(away, each.reading, degree), away)))


def _as_rough_as_read(each: Observations, per_um: float, judge: Judge) -> Roughness | None:
    at_mm, first = np.unique(each.station_mm, return_index=True)
    spread = np.diag(each.covariance) if each.covariance.ndim == 1 else each.covariance
    chosen = first[well_apart(at_mm, np.ones(len(at_mm), bool))]
    station, reading = each.station_mm[chosen], each.reading[chosen] / per_um
    covariance = spread[np.ix_(chosen, chosen)] / per_um**2
    if judge is not judged_by_heights:
        return judge(OF_READINGS, station, reading, covariance, ())
    return judged_through_feet(station, reading, covariance, _feet([each.forms[k] for k in chosen], per_um))


def _feet(forms: Sequence[Form], per_um: float) -> list[tuple[np.ndarray, np.ndarray]]:
    """Of each way that readings are carried on, the places under the feet and their weights in µm."""
    carried = [{place: w for place, w in form.items() if place.role == "carried"} for form in forms]
    found = []
    for key in dict.fromkeys((place.kind, place.owner) for form in carried for place in form):
        mine = [{p.station_mm: w for p, w in form.items() if (p.kind, p.owner) == key} for form in carried]
        at_mm = sorted({at for weights in mine for at in weights})
        rows = np.array([[weights.get(at, 0.0) for at in at_mm] for weights in mine]) / per_um
        found.append((np.array(at_mm), rows))
    return found


def _difference(form: Form, other: Form) -> dict[Key, dict[float, float]]:
    """What one form has more than another, by line and place."""
    parts: dict[Key, dict[float, float]] = {}
    for sign, each in ((1.0, form), (-1.0, other)):
        for place, weight in each.items():
            line = parts.setdefault((place.kind, place.owner), {})
            line[place.station_mm] = line.get(place.station_mm, 0.0) + sign * weight
    return parts


def _size(left_out: Mapping[Key, Mapping[float, float]], way: Roughness) -> float:
    """Standard deviation of sums of heights that vanish on straight lines, all lines together."""
    variance = 0.0
    for weights in left_out.values():
        at_mm, here = np.array(list(weights)), np.array([list(weights.values())])
        nothing = np.zeros((1, len(way.node_mm)))
        variance += float(way.covariance_of(at_mm, here, nothing)[0, 0])
    return max(variance, 0.0) ** 0.5


def points_of(kept: Sequence[Observations], observations: Sequence[Observations]) -> list[PointCarrier]:
    """Which carriers were taken as points, by their readings as kept and as they were."""
    found = []
    for now, before in zip(kept, observations, strict=True):
        if now is not before:
            count = len(now.nuisances) - len(before.nuisances)
        elif before.carriers and before.plain_forms is None:
            count = len(before)
        else:
            continue
        found.append(PointCarrier(now.traverse, now.instrument, now.carriers, now is not before, count))
    return found


def shapes_missed(points: Sequence[PointCarrier]) -> tuple[Fact, ...]:
    """Carriers taken as points because the shape under them is not known.

    Examples
    --------
    >>> shapes_missed([PointCarrier(3, "dial", ("way",), True, 11)])
    (ShapeUnderCarrierUnknown(instrument='dial', carriers=('way',), readings=11),)
    """
    found = (
        ShapeUnderCarrierUnknown(each.instrument, each.carriers, each.readings)
        for each in points
        if each.is_described
    )
    return tuple(dict.fromkeys(found))
