"""One way in for every kind of traverse: `observe`."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from acquire.model.bed import Bed
from acquire.model.errors import AnalysisError
from acquire.model.traverse import Stations, Traverse
from analysis.linear.fact import Fact
from analysis.observe.differences import description_warnings
from analysis.observe.offset import offset_model
from analysis.observe.reduction import at_stations
from analysis.observe.roll import roll_forms, roll_seating, rolled_over
from analysis.observe.slope import slope_forms, slope_seating, stood_on
from analysis.observe.span import span_forms, spanned
from analysis.observe.stations import at_their_stations, is_timed, order_of_reading, usable
from analysis.observe.terms import Form, LineCounts, Nuisance, Observations
from analysis.observe.uncertainty import reading_covariance, scale_nuisances, step_uncertainty


@dataclass(frozen=True, eq=False)
class _Kind:
    """What is particular to one quantity."""

    forms: tuple[Form, ...]
    faces: tuple[str, ...]
    seating: float
    plain_forms: tuple[Form, ...] | None = None
    carriers: tuple[str, ...] = ()
    correction: np.ndarray | None = None
    nuisances: tuple[Nuisance, ...] = ()
    line_counts: LineCounts | None = None
    edges: tuple[tuple[str, bool], ...] = ()
    warnings: tuple[Fact, ...] = field(default=())


def _slope(traverse: Traverse, bed: Bed, station_mm: np.ndarray) -> _Kind:
    forms = slope_forms(traverse, bed, station_mm)
    return _Kind(forms, tuple(stood_on(traverse, bed)), slope_seating(traverse.instrument))


def _roll(traverse: Traverse, bed: Bed, station_mm: np.ndarray) -> _Kind:
    faces = tuple(face.id for face in rolled_over(traverse, bed))
    is_long = traverse.setup.is_on_carriage or traverse.instrument.carrier_feet_mm is not None
    return _Kind(
        roll_forms(traverse, bed, station_mm),
        faces,
        roll_seating(traverse, bed),
        roll_forms(traverse, bed, station_mm, is_point=True) if is_long else None,
        faces if is_long else (),
    )


def _offset(traverse: Traverse, bed: Bed, station_mm: np.ndarray) -> _Kind:
    model = offset_model(traverse, bed, station_mm)
    return _Kind(
        model.forms,
        model.faces,
        traverse.instrument.seating_um or 0.0,
        model.plain_forms,
        model.carriers,
        model.correction_um,
        model.nuisances,
        model.line_counts,
        model.edges,
        model.warnings,
    )


def _span(traverse: Traverse, bed: Bed, station_mm: np.ndarray) -> _Kind:
    faces = tuple(face.id for face in spanned(traverse, bed))
    return _Kind(span_forms(traverse, bed, station_mm), faces, traverse.instrument.seating_um or 0.0)


KINDS: dict[str, Callable[[Traverse, Bed, np.ndarray], _Kind]] = {
    "slope": _slope,
    "roll": _roll,
    "offset": _offset,
    "span": _span,
}


def is_drawn_level(traverse: Traverse) -> bool:
    """Whether it needs the estimator for drawn levels: one drawn along a face itself."""
    setup = traverse.setup
    return setup.foot_base_mm is not None and traverse.mode == "continuous"


def observe(traverse: Traverse, bed: Bed) -> Observations:
    """What one traverse says about the heights of the present bed.

    Parameters
    ----------
    traverse : Traverse
        Its own description of the instrument stands.
    bed : Bed
        The present bed: faces and stations as they are described now.

    Raises
    ------
    AnalysisError
        Where the instrument cannot see what it was used on, a face is not there, or
        there is no reading.
    """
    where = f"traverse {traverse.number:03d}"
    setup, instrument = traverse.setup, traverse.instrument
    if is_drawn_level(traverse):
        from analysis.observe.continuous import observe_continuous

        return observe_continuous([traverse], bed)
    if setup.quantity not in KINDS:
        raise AnalysisError(where, f"found readings of {setup.quantity}", " | ".join(KINDS), "")
    stations = _stations_read(traverse, bed, where)
    kind = KINDS[setup.quantity](traverse, bed, stations.station_mm)
    is_continuous = traverse.mode == "continuous"
    # an instrument drawn along is placed once: its seating goes into its zero
    seating = 0.0 if is_continuous else kind.seating
    step = step_uncertainty(instrument, None if is_continuous else stations.reading, setup.unit)
    return Observations(
        traverse=traverse.number,
        instrument=instrument.name,
        quantity=setup.quantity,
        mode=traverse.mode,
        subject=setup.subject,
        faces=tuple(dict.fromkeys(kind.faces)),
        station_mm=stations.station_mm,
        reading=stations.reading,
        correction=np.zeros(len(stations)) if kind.correction is None else kind.correction,
        forms=kind.forms,
        covariance=reading_covariance(stations, seating, step),
        step_variance=step**2,
        nuisances=(*scale_nuisances(instrument, stations.reading), *kind.nuisances),
        plain_forms=kind.plain_forms,
        carriers=kind.carriers,
        zero=traverse.number if setup.same_zero_as is None else setup.same_zero_as,
        zero_instrument=instrument.name,
        line_counts=kind.line_counts,
        direction=setup.direction,
        order=order_of_reading(stations, setup.direction),
        is_timed=is_timed(stations),
        drift_group=(instrument.name, setup.subject, setup.reference or "", setup.other or ""),
        turned=setup.turned,
        edges=kind.edges,
        source=traverse,
        created_utc=setup.created_utc,
        warnings=(*description_warnings(traverse, bed), *kind.warnings),
    )


def _stations_read(traverse: Traverse, bed: Bed, where: str) -> Stations:
    """The stations of a traverse that say something of the bed; of one drawn along, those of the bed."""
    stations = usable(traverse.stations, where, bed.length_mm)
    if traverse.mode == "continuous":
        stations = at_stations(stations, np.array(bed.station_mm), traverse.instrument.uncertainty)
    elif traverse.setup.foot_base_mm is None:
        stations = at_their_stations(stations, np.array(bed.station_mm))
    if not len(stations):
        raise AnalysisError(
            where, "found no reading near a station of the bed", "one at least", "withdraw it"
        )
    return stations


def observe_all(traverses: Sequence[Traverse], bed: Bed) -> list[Observations]:
    """Observations of all traverses; drawn levels of each face are taken together."""
    drawn = [traverse for traverse in traverses if is_drawn_level(traverse)]
    singles = [observe(traverse, bed) for traverse in traverses if not is_drawn_level(traverse)]
    return _with_blocks(singles, drawn, bed)


def joined(observations: Sequence[Observations], bed: Bed) -> list[Observations]:
    """The same with one block for all drawn levels of each face.

    Runs solved one by one would each bring the smoothness of the way again.
    """
    singles = [each for each in observations if each.drawn is None]
    blocks = [each for each in observations if each.drawn is not None]
    if len({each.faces for each in blocks}) == len(blocks) and not (blocks and singles):
        return list(observations)
    return _with_blocks(singles, [one for each in blocks for one in each.drawn_traverses], bed, blocks)


def _with_blocks(
    singles: list[Observations], drawn: Sequence[Traverse], bed: Bed, solved: Sequence[Observations] = ()
) -> list[Observations]:
    """All together, one block per face; a block of the very same runs stays as it is."""
    if not drawn:
        return sorted(singles, key=lambda each: each.traverse)
    # many surveys have none, and need not load what solves them
    from analysis.observe.continuous import observe_continuous, tied

    groups: dict[str | None, list[Traverse]] = {}
    for traverse in drawn:
        groups.setdefault(traverse.setup.face, []).append(traverse)
    blocks = []
    for face, group in groups.items():
        anchored = any(face in each.faces and each.measures.is_length for each in singles)
        zero_of = _shared_zero(group, drawn, singles)
        same = [
            tied(b, anchored)
            for b in solved
            if b.drawn and b.drawn.traverses == tuple(group) and b.drawn.zero_of == zero_of
        ]
        blocks.append(same[0] if same else observe_continuous(group, bed, anchored=anchored, zero_of=zero_of))
    return sorted([*singles, *blocks], key=lambda each: each.traverse)


def _shared_zero(
    group: Sequence[Traverse], drawn: Sequence[Traverse], singles: Sequence[Observations]
) -> int | None:
    """The traverse of a face whose zero a traverse of another face shares, if there is one."""
    mine = {each.number for each in group}
    links = [(each.number, each.setup.same_zero_as) for each in drawn]
    links += [(each.traverse, each.zero) for each in singles]
    for each in group:
        linked = {one for one, other in links if other == each.number} | {each.setup.same_zero_as}
        if linked - mine - {None}:
            return each.number
    return None
