"""What an answer takes for granted beside its ±: facts about the readings in use, no sentences.

Readings cannot show an error of scale or base, of the places where they were taken, or a bed
that bent between runs.  What bed.toml states of these goes into the uncertainty; what it
does not state is taken as exact.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from acquire.model.bed import Bed, Straightedge
from acquire.model.traverse import Traverse
from analysis.adjust.bed_map import BedMap
from analysis.adjust.between_runs import drift_stated, rate_key
from analysis.adjust.nuisances import drift_told, zero_roots
from analysis.adjust.signs_shown import signs_shown
from analysis.adjust.there_and_back import DRIFT, Return
from analysis.observe import Observations
from analysis.observe.differences import straightedge_of
from analysis.observe.sag import bend_of_a_kelvin_um, straightedge_sag_um
from analysis.observe.slope import is_placed
from analysis.observe.states import warmer_by_k

SCALE, BASE, SEATING, FEET, CARRIAGE = "scale", "base", "seating", "feet", "carriage length"
POSITIONS, DRIFT_STEADY, NO_DRIFT, BED = "positions exact", "drift steady", "no drift", "bed unchanged"
SIGNS, AHEAD, ARM = "signs", "plunger over the middle", "plunger level with carrier"
ANGLE, DIAMETERS, SQUARE, VEES = "angle", "diameters", "level square across", "vees worn evenly across"
TURNED_WITH = "level turned with its parallels"
EDGE_RESTS, EDGE_WARMTH, EDGE_TURNED = (
    "edge resting as stated",
    "edge evenly warm",
    "edge turned over in place",
)


@dataclass(frozen=True)
class Assumption:
    """One thing that the ± takes for granted.

    Examples
    --------
    >>> Assumption(SCALE, False, ("level",))
    Assumption(what='scale', stated=False, of=('level',), size_um=None)
    """

    what: str
    """scale | base | seating | feet | carriage length | positions exact | drift steady | no drift |
    bed unchanged | signs | plunger over the middle | plunger level with carrier (of a reading sideways) |
    angle (of a dovetail) | diameters (of its pins, or of rollers in a vee) | edge resting as stated |
    edge evenly warm | edge turned over in place | level square across |
    vees worn evenly across | level turned with its parallels."""
    stated: bool
    """Whether the description says how sure it is (of drift: whether the readings themselves do); what is
    not stated is taken as exact, feet that are not stated as a point, seating as none."""
    of: tuple[str, ...] = ()
    """Instruments, of feet with what they ride, straightedges; empty where it is of all readings."""
    size_um: float | None = None
    """Of a straightedge its sag as it rests, or its bend for 1 °C from side to side; None where not known."""


TYPED = (Assumption(SCALE, False), Assumption(POSITIONS, False))
"""What an answer from typed figures alone takes for granted."""


def typed_and(**stated: float | None) -> tuple[Assumption, ...]:
    """`TYPED`, and what else is taken as exact unless its uncertainty is stated.

    Examples
    --------
    >>> [(each.what, each.stated) for each in typed_and(angle=0.1, diameters=None)[2:]]
    [('angle', True), ('diameters', False)]
    """
    return (*TYPED, *(Assumption(what, value is not None) for what, value in stated.items()))


def assumptions(
    bed_map: BedMap, faces: Iterable[str] | None = None, *, read: Sequence[Observations] | None = None
) -> tuple[Assumption, ...]:
    """What a map takes for granted.

    Parameters
    ----------
    bed_map : BedMap
    faces : iterable of str, optional
        Only what bears on these: readings of them, and of faces that readings link them to.
    read : sequence of Observations, optional
        The readings in use, where the map holds them in another form.
    """
    used = bed_map.observations if read is None else read
    used = used if faces is None else _linked(used, set(faces))
    sources = [source for each in used for source in each.sources]
    if not sources:
        return ()
    found = [*_of_instruments(sources), *_of_carriers(sources, bed_map.bed)]
    found += _of_straightedges(sources, bed_map.bed)
    found += _of_vees(used, bed_map.bed)
    found += _of_levels_turned_across(used, bed_map)
    found.append(Assumption(POSITIONS, False))
    found += _of_signs(used, bed_map)
    found += _of_drift(used, bed_map)
    if len({each.number for each in sources}) > 1:
        found.append(Assumption(BED, all(warmer_by_k(each) is not None for each in sources)))
    return tuple(found)


def _linked(observations: Sequence[Observations], faces: set[str]) -> list[Observations]:
    """Readings of the faces, and of faces that further readings link them to."""
    kept: list[Observations] = []
    left = list(observations)
    while new := [each for each in left if faces & set(each.faces)]:
        kept += new
        left = [each for each in left if not faces & set(each.faces)]
        faces = faces | {face for each in new for face in each.faces}
    return kept


def _of_instruments(sources: Sequence[Traverse]) -> Iterator[Assumption]:
    placed = [each for each in sources if is_placed(each)]
    on_feet = [each for each in sources if each.setup.foot_base_mm is not None]
    yield from _by_stated(SCALE, {t.instrument.name: t.instrument.scale_uncertainty for t in sources})
    yield from _by_stated(BASE, {t.instrument.name: t.instrument.base_uncertainty_mm for t in on_feet})
    yield from _by_stated(SEATING, {t.instrument.name: t.instrument.seating_um for t in placed})
    if across := dict.fromkeys(t.instrument.name for t in sources if t.setup.measures.is_across):
        yield Assumption(SQUARE, False, tuple(across))


def _of_carriers(sources: Sequence[Traverse], bed: Bed) -> Iterator[Assumption]:
    """Feet of what carries an indicator or bridges ways, length of the carriage, where a plunger stands."""
    feet, carriage, ahead, arm = {}, {}, {}, {}
    for each in sources:
        carried_by, described = each.setup.carried_by, each.instrument
        if _is_carried(each):
            carriage[f"{described.name} on the carriage"] = bed.carriage_length_mm
        elif carried_by is not None and carried_by.kind in ("face", "faces"):
            feet[f"{described.name} on {' and '.join(carried_by.names)}"] = described.carrier_feet_mm
        elif each.setup.measures.is_across:
            ways = f"{each.setup.front} and {each.setup.rear}"
            feet[f"{described.name} across {ways}"] = described.carrier_feet_mm
        else:
            continue
        if each.setup.measures.is_length:
            ahead[described.name] = described.overhang_along_mm
            if _reads_roll(each, bed):
                arm[described.name] = described.arm_height_mm
    yield from _by_stated(FEET, feet)
    yield from _by_stated(CARRIAGE, carriage)
    yield from _by_stated(AHEAD, ahead)
    yield from _by_stated(ARM, arm)


def _of_straightedges(sources: Sequence[Traverse], bed: Bed) -> Iterator[Assumption]:
    """That edges rest as described, are as warm on one side as on the other, and keep their ends in place."""
    runs = [(name, each) for each in sources if (name := straightedge_of(each)) is not None]
    edges = {name: bed.straightedges[name] for name, _ in runs}
    sags = {name: _range_um(straightedge_sag_um, edge) for name, edge in edges.items()}
    bends = {
        name: _range_um(bend_of_a_kelvin_um, edge)
        for name, edge in edges.items()
        if edge.warmth_uncertainty_k is None
    }
    for what, sizes in (
        (EDGE_RESTS, {name: um for name, um in sags.items() if um is not None}),
        (EDGE_WARMTH, bends),
    ):
        if sizes:
            largest = max((um for um in sizes.values() if um is not None), default=None)
            yield Assumption(what, False, tuple(sizes), largest)
    if turned := {name: None for name, each in runs if each.setup.turned_over}:
        yield Assumption(EDGE_TURNED, False, tuple(turned))


def _of_vees(used: Sequence[Observations], bed: Bed) -> Iterator[Assumption]:
    """That flanks are worn alike where a roller or a foot touched and where the carriage bears.

    Where wear is 50 µm at the edge of a flank and none at its root a roller near the root reads little of it.
    """
    touched = [face for each in used for face in each.faces if not all(map(_is_carried, each.sources))]
    vees = dict.fromkeys(face for face in touched if face in bed.faces and bed.faces[face].is_vee)
    if vees:
        yield Assumption(VEES, False, tuple(vees))


def _of_levels_turned_across(used: Sequence[Observations], bed_map: BedMap) -> Iterator[Assumption]:
    """Where turning a level across tells its zero: parallels that stayed as they lay look like a roll.

    Parallels that differ by 5 µm on a gauge of 300 mm are 17 µm/m all along, if the level alone was turned.
    """
    roots = zero_roots(bed_map.observations)
    ways: dict[tuple[int, str], set[bool]] = {}
    for each in used:
        if each.measures.is_across:
            ways.setdefault((roots.get(each.traverse, each.traverse), each.instrument), set()).add(
                each.turned
            )
    if names := dict.fromkeys(name for (_, name), turned in ways.items() if len(turned) == 2):
        yield Assumption(TURNED_WITH, False, tuple(names))


def _is_carried(traverse: Traverse) -> bool:
    """Whether the carriage itself felt the ways."""
    carried_by = traverse.setup.carried_by
    return traverse.setup.is_on_carriage or (carried_by is not None and carried_by.is_carriage)


def _range_um(shape_um: Callable[..., np.ndarray | None], edge: Straightedge) -> float | None:
    """Largest less smallest along an edge."""
    found = shape_um(edge, edge.start_mm + np.linspace(0.0, edge.length_mm, 21))
    return None if found is None else float(np.ptp(found))


def _reads_roll(each: Traverse, bed: Bed) -> bool:
    """Whether it touches sideways and stands on something whose roll the map tells."""
    carried_by, face = each.setup.carried_by, bed.faces.get(each.setup.face or "")
    return face is not None and not face.upward and carried_by is not None and carried_by.kind != "face"


def _by_stated(what: str, values: Mapping[str, float | None]) -> Iterator[Assumption]:
    """One for those of which it is stated, one for the others."""
    for is_stated in (True, False):
        names = tuple(name for name, value in values.items() if (value is not None) is is_stated)
        if names:
            yield Assumption(what, is_stated, names)


def _of_signs(used: Sequence[Observations], bed_map: BedMap) -> Iterator[Assumption]:
    """Of what the other readings would not contradict if plus were minus; a distance has no other sign."""
    shown = signs_shown(bed_map.solution, bed_map.observations)
    signed = dict.fromkeys(each.instrument for each in used if not each.measures.is_between)
    names = tuple(name for name in signed if name not in shown)
    if names:
        yield Assumption(SIGNS, False, names)


def _of_drift(used: Sequence[Observations], bed_map: BedMap) -> Iterator[Assumption]:
    """Taken off as steady where runs there and back tell it; taken as none where nothing does.

    Where a bow between runs may be a bent bed, or a zero that runs share may have drifted, it is in the ±
    and nothing is taken for granted.
    """
    roots = zero_roots(bed_map.observations)
    returns = {number: each for each in bed_map.assembly.returns for number in each.traverses}
    names: dict[tuple[str, bool], dict[str, None]] = {}
    for each in used:
        found = returns.get(each.traverse)
        if found is not None and found.bow_sd_um > 0.0:
            continue
        if rate_key(roots.get(each.traverse, each.traverse)) in bed_map.assembly.nuisances:
            continue
        what = DRIFT_STEADY if _is_taken_off(each, roots, bed_map) else NO_DRIFT
        is_stated = _is_shown(found) or (what == NO_DRIFT and drift_stated(each) is not None)
        names.setdefault((what, is_stated), {})[each.instrument] = None
    for (what, is_shown), of in sorted(names.items(), reverse=True):
        yield Assumption(what, is_shown, tuple(of))


def _is_shown(found: Return | None) -> bool:
    """Whether the readings show a steady drift and no bent bed."""
    return found is not None and found.outcome == DRIFT


def _is_taken_off(each: Observations, roots: Mapping[int, int], bed_map: BedMap) -> bool:
    if each.drawn is None:
        return drift_told(each, bed_map.observations, roots) is not None
    return bool(each.drawn.heights.drifts) or (
        each.bow is not None and each.bow.key in bed_map.assembly.nuisances
    )
