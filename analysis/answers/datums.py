"""Which faces can be trusted to start from: straight, known to be, and checked; and where a fixture can ride.

A face can be trusted where it is straight, known to be so well enough for what is to be
found from it (`good_enough`), and some reading on it is checked by another.  A worn face
with stretches that the carriage never reached can still lend these; how far the wear goes
below the line through them is told.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from acquire.model.errors import AnalysisError
from analysis.adjust.bed_map import BedMap
from analysis.answers.assumptions import Assumption, assumptions
from analysis.answers.bed_or_wear import ROUNDING_UM, proud_beyond
from analysis.answers.face_map import FaceMap, map_face, reaches_unworn
from analysis.answers.fixture_path import Arm, FixturePath, fixture_path
from analysis.answers.good_enough import (
    GoodTo,
    Relief,
    Stretch,
    good_stretch,
    good_to,
    known_too_coarsely,
    relief,
    serves,
)
from analysis.answers.standing import Parallel, Ranked, parallels, ranking
from analysis.linear.fact import Fact
from analysis.linear.profile import COVERAGE_FACTOR
from analysis.linear.reference_lines import STRAIGHT, Place, remove_line, straightness
from analysis.linear.shown import KEPT_INSIDE, Shown


@dataclass(frozen=True)
class FaceNotKnown(Fact):
    """A face whose own shape is not known."""

    face: str
    why: str


@dataclass(frozen=True)
class TooFewBases(Fact):
    """A face whose level was drawn over too few bases."""

    face: str


@dataclass(frozen=True)
class NothingChecks(Fact):
    """A face of which no reading checks another."""

    face: str


@dataclass(frozen=True)
class NoFaceLooks(Fact):
    """No known face looks this way, and a fixture that rides on three faces needs one."""

    normals: tuple[str, ...]


@dataclass(frozen=True)
class Wear:
    """How far a face lies below the line through its unworn stretches."""

    deepest: Place
    expanded_um: float
    proud: Place | None = None
    """Where it stands above that line by more than chance: a bed that is twisted or bent, or a stretch that
    is worn after all. The line does not tell its wear then."""

    @property
    def is_seen(self) -> bool:
        """Whether it exceeds its own uncertainty."""
        return -self.deepest.height_um > self.expanded_um


@dataclass(frozen=True, eq=False, repr=False)
class Datum(Shown):
    """What one face is worth as a place to start from."""

    face: str
    can_be_trusted: bool
    is_straight: bool | None
    """Straight within what could be seen; None where its own shape is not known."""
    is_checked: bool
    """Whether some reading on it is checked by another."""
    at_most_um: float | None
    """How far from straight it may be: what was found and its expanded uncertainty."""
    wear: Wear | None
    """From the line through its unworn stretches, where bed.toml names them."""
    why_not_known: str | None
    shape: FaceMap | None = field(metadata=KEPT_INSIDE)
    departs_um: float = 0.0
    """From straight, as found."""
    good_to: GoodTo | None = None
    """What it is to be good to; None where its shape is not known."""
    cannot_tell: Fact | None = None
    """That it shows no departure, and is known too coarsely to start from."""

    @property
    def is_to_be_read(self) -> bool:
        """Whether another run would tell more: nothing checks it, or it is known too coarsely."""
        if self.shape is None or not self.is_checked:
            return self.shape is not None
        return self.cannot_tell is not None and not self.is_unasked

    @property
    def is_unasked(self) -> bool:
        """Whether it is straight as far as could be seen, and nothing says what it is to be good to."""
        return bool(self.is_straight) and self.good_to is not None and self.good_to.um is None


@dataclass(frozen=True)
class Fixture:
    """The three faces that a correction fixture can ride on: one under, one at the side, one on top."""

    under: str
    side: str
    top: str


@dataclass(frozen=True, eq=False, repr=False)
class Datums(Shown):
    """All faces, the best to start from first."""

    faces: tuple[Datum, ...]
    ranking: tuple[Ranked, ...]
    parallel: tuple[Parallel, ...]
    within_um: float | None
    good: tuple[Stretch, ...]
    """Of each face the longest stretch that is straight within that, its uncertainty counted."""
    relief: Mapping[str, Relief]
    """Of a face that is not good all along: the least to take off for it to be."""
    fixture: Fixture | None
    fixture_path: tuple[FixturePath, ...]
    """Up and sideways, where the distance of its pads was given."""
    missing: tuple[Fact, ...]
    """What is still to be measured before faces can be trusted."""
    assumptions: tuple[Assumption, ...]
    """What the uncertainty takes for granted."""
    far_end: str = field(metadata=KEPT_INSIDE, default="far end")
    """What the survey calls it."""

    @property
    def trusted(self) -> tuple[Datum, ...]:
        """Faces that can be started from; empty where none can be trusted yet."""
        return tuple(each for each in self.faces if each.can_be_trusted)

    @property
    def unasked(self) -> tuple[Datum, ...]:
        """Checked faces that show no departure, where nothing says what they are to be good to."""
        return tuple(each for each in self.faces if each.is_unasked and each.is_checked)


def datums(
    bed_map: BedMap,
    within_um: float | None = None,
    *,
    pads_mm: float | None = None,
    overhang_mm: float = 0.0,
    tool_across_mm: float | None = None,
    tool_above_mm: float | None = None,
) -> Datums:
    """Judge and rank every face of the bed.

    Trusted ones first, those known straightest before the others; then those that have
    unworn stretches to lend; then the rest; last those whose shape is not known.

    Parameters
    ----------
    bed_map : BedMap
    within_um : float, optional
        What a datum is to be good to; limit for the stretches that are good, and for what would make a
        face so.
    pads_mm, overhang_mm : float, optional
        Of a fixture that rides on the three faces: its path is then worked out.
    tool_across_mm, tool_above_mm : float, optional
        Where its tool is, from the line of the top pads (+ to the rear) and above that of the side pads: with
        one of them the fixture's roll is in its path.
    """
    found = sorted(_judged(bed_map, within_um), key=_rank)
    shapes = [each.shape for each in found if each.shape is not None and each.shape.curve_is_sure]
    known = [shape.face for shape in shapes]
    order = ranking(bed_map, shapes)
    good, off = _good(shapes, within_um)
    fixture = _fixture(bed_map, [each.face for each in order])
    return Datums(
        faces=tuple(found),
        ranking=order,
        parallel=parallels(bed_map, known),
        within_um=within_um,
        good=good,
        relief=off,
        fixture=fixture,
        fixture_path=()
        if fixture is None or pads_mm is None
        else _paths(bed_map, fixture, pads_mm, overhang_mm, tool_across_mm, tool_above_mm),
        missing=tuple(what_is_missing(bed_map, found)),
        assumptions=assumptions(bed_map),
        far_end=bed_map.bed.called.far_end,
    )


def _good(
    shapes: Sequence[FaceMap], within_um: float | None
) -> tuple[tuple[Stretch, ...], dict[str, Relief]]:
    if within_um is None:
        return (), {}
    good, off = [], {}
    for shape in shapes:
        stretch = good_stretch(shape.profile, within_um)
        ends = float(shape.profile.station_mm[0]), float(shape.profile.station_mm[-1])
        if stretch is not None:
            good.append(stretch)
        if stretch is None or (stretch.from_mm, stretch.to_mm) != ends:
            off[shape.face] = relief(shape.profile, within_um)
    return tuple(good), off


def _fixture(bed_map: BedMap, ranked: Sequence[str]) -> Fixture | None:
    """The straightest face that looks down, sideways and up; None where one kind is not known."""

    def best(*normals: str) -> str | None:
        return next((face for face in ranked if bed_map.bed.faces[face].normal in normals), None)

    under, side, top = best("down"), best("front", "rear"), best("up")
    return None if under is None or side is None or top is None else Fixture(under, side, top)


def _paths(
    bed_map: BedMap,
    fixture: Fixture,
    pads_mm: float,
    overhang_mm: float,
    across_mm: float | None,
    above_mm: float | None,
) -> tuple[FixturePath, ...]:
    """Up and sideways, the roll of the fixture in both where it was said where its tool is."""
    arms: dict[str, float | None] = {fixture.top: None, fixture.side: None}
    if across_mm is not None or above_mm is not None:
        arms = {fixture.top: across_mm or 0.0, fixture.side: -(above_mm or 0.0)}
    return tuple(
        fixture_path(
            bed_map, face, pads_mm, overhang_mm, None if not arm else Arm(fixture.top, fixture.under, arm)
        )
        for face, arm in arms.items()
    )


def what_is_missing(bed_map: BedMap, found: Sequence[Datum]) -> Iterator[Fact]:
    """What keeps a face from being judged, and the ways of looking that no known face has."""
    for each in found:
        if each.shape is None:
            yield FaceNotKnown(each.face, each.why_not_known or "not measured")
        elif not each.shape.curve_is_sure:
            yield TooFewBases(each.face)
        elif not each.is_checked:
            yield NothingChecks(each.face)
        elif each.cannot_tell is not None:
            yield each.cannot_tell
    for normals in (("down",), ("front", "rear"), ("up",)):
        if not any(bed_map.bed.faces[d.face].normal in normals and d.shape is not None for d in found):
            yield NoFaceLooks(normals)


def _rank(each: Datum) -> tuple[int, float]:
    if each.at_most_um is None:
        return 3, 0.0
    return (0 if each.can_be_trusted else 1 if each.wear is not None else 2), each.at_most_um


def _judged(bed_map: BedMap, within_um: float | None) -> list[Datum]:
    """Every face for itself, then against what a datum of this bed is to be good to."""
    found = [_datum(bed_map, face) for face in bed_map.bed.faces]
    seen = max((each.departs_um for each in found if each.is_straight is False), default=0.0)
    limits = bed_map.bed.limits.straightness_um
    return [_held_against(each, within_um, limits.get(each.face), seen) for each in found]


def _held_against(each: Datum, within_um: float | None, limit_um: float | None, seen_um: float) -> Datum:
    if each.shape is None or each.at_most_um is None:
        return each
    wanted = good_to(within_um, limit_um, seen_um)
    is_good = serves(each.shape, each.at_most_um, bool(each.is_straight), wanted)
    coarse = (
        None if is_good or not each.is_straight else known_too_coarsely(each.shape, each.at_most_um, wanted)
    )
    return replace(each, can_be_trusted=is_good and each.is_checked, good_to=wanted, cannot_tell=coarse)


def _datum(bed_map: BedMap, face: str) -> Datum:
    """What is known of one face; whether that is enough is judged with the others."""
    try:
        found = map_face(bed_map, face)
    except AnalysisError as why:
        return Datum(face, False, None, False, None, None, why.found, None)
    checked = bed_map.is_checked(face)
    if found.relative_to is not None:
        why_not = f"known only relative to {found.relative_to}"
        return Datum(face, False, None, checked, None, None, why_not, None)
    sense, range_um, expanded = _straightness(found)
    # a line carried over from afar hides a shape that the ends show: such a face is no datum
    is_straight = sense == STRAIGHT and straightness(found.profile, "ends").sense == STRAIGHT
    return Datum(
        face=face,
        can_be_trusted=False,
        is_straight=is_straight,
        is_checked=checked,
        at_most_um=expanded if is_straight else range_um + expanded,
        wear=_wear(bed_map, face, found),
        why_not_known=None,
        shape=found,
        departs_um=range_um,
    )


def _straightness(found: FaceMap) -> tuple[str, float, float]:
    """Sense, range and expanded uncertainty: of the curve, or of stations one base apart where that leads."""
    apart = found.base_lag
    if apart is not None and not found.curve_is_sure:
        return apart.sense, apart.straightness_um, apart.straightness_expanded_um
    return found.sense, found.straightness_um[found.line.replace("-", "_")], found.straightness_expanded_um


def _wear(bed_map: BedMap, face: str, found: FaceMap) -> Wear | None:
    described = bed_map.bed.faces[face]
    if not reaches_unworn(found.profile, described):
        return None
    level = remove_line(found.profile, "unworn", described.unworn_mm)
    limit = proud_beyond(level.station_mm.size)
    lowest = int(level.height_um.argmin())
    highest = int((level.height_um - limit * level.standard_uncertainty_um).argmax())
    is_proud = level.height_um[highest] > limit * level.standard_uncertainty_um[highest] + ROUNDING_UM
    return Wear(
        Place(float(level.station_mm[lowest]), float(level.height_um[lowest])),
        COVERAGE_FACTOR * float(level.standard_uncertainty_um[lowest]),
        Place(float(level.station_mm[highest]), float(level.height_um[highest])) if is_proud else None,
    )
