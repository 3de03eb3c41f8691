"""The two estimates that are held against each other: of which traverses, and of what."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from acquire.model.bed import Bed
from acquire.model.errors import AnalysisError
from acquire.model.quantity import BY
from acquire.model.reference import CARRIAGE, Reference
from acquire.model.traverse import Setup, Traverse
from acquire.model.units import MM_PER_M
from analysis.answers.two_maps import own, own_drift
from analysis.linear.fact import Fact
from analysis.observe import Observations, Place, observe, observe_all

AS_READ = "what was read"


@dataclass(frozen=True)
class AlsoReadAlong(Fact):
    """A face that was also read along something else, which is another comparison."""

    name: str
    traverses: tuple[int, ...]
    along: str
    other: str


@dataclass(frozen=True, eq=False)
class Side:
    """One of the two estimates: which traverses, and of what combination of faces."""

    name: str
    """What it is called, in words; a face of its map alone is told apart by it too."""
    traverses: tuple[Traverse, ...]
    subject: Mapping[str, int]
    """Face to +1 or −1."""
    adapts: bool
    """FACE:level: whatever combination of level maps the other side needs."""
    observations: tuple[Observations, ...]
    warnings: tuple[Fact, ...] = ()

    @property
    def is_readings(self) -> bool:
        """Whether it is what an instrument read, carrier and all, and no map of heights."""
        ways = {edge for each in self.observations for edge in each.edges}
        reversed_edges = {name for name, _ in ways if {(name, True), (name, False)} <= ways}
        return not self.traverses[0].setup.measures.has_feet_along and not reversed_edges

    def as_read(self, each: Observations, um_per_reading: float) -> Observations:
        """The same readings, of one unknown at each station: what was read there, in µm."""
        weight = 1.0 / um_per_reading
        owner = own(AS_READ, self.name)
        return replace(
            each,
            forms=tuple({Place("height", owner, float(x), "touched"): weight} for x in each.station_mm),
            plain_forms=None,
            faces=(owner,),
            carriers=(),
            drift_group=own_drift(each, self.name),
        )


def side_of(traverses: Sequence[Traverse], bed: Bed, name: str) -> Side:
    if re.fullmatch(r"\d+", name):
        chosen = tuple(t for t in traverses if t.number == int(name))
        if not chosen:
            numbers = ", ".join(str(t.number) for t in traverses) or "none"
            raise AnalysisError(f"traverse {name}", "found no such traverse", f"one of {numbers}")
        return _of(f"traverse {int(name)}", chosen, bed)
    face, _, by = name.partition(":")
    if face not in bed.faces or not by:
        raise AnalysisError(
            f"'{name}'", "cannot be compared", "a traverse number, FACE:level, FACE:indicator or FACE:GUIDE",
            f"the faces are {', '.join(bed.faces)}; a guide is straightedge, wire, line, carriage or a face",
        )  # fmt: skip
    if by == "level":
        chosen = tuple(t for t in traverses if t.setup.measures.is_by(by))
        if any(t.setup.face in (face, CARRIAGE) for t in chosen):
            observed = tuple(observe_all(chosen, bed))
            return Side(f"{face} by level", chosen, {face: 1}, True, observed)
    used = [t for t in traverses if _is_by(t.setup, face, by)]
    if not used:
        ways = dict.fromkeys(_way_of(t.setup, face) for t in traverses)
        needed = "one of " + " | ".join(f"{face}:{way}" for way in ways if way)
        raise AnalysisError(name, "no traverse was taken so", needed if any(ways) else "one", "record one")
    alike = _along(used[0].setup, face)
    same = tuple(t for t in used if _along(t.setup, face) == alike)
    others = sorted({_along(t.setup, face) for t in used} - {alike})
    side = _of(f"{face} by {by}" if by in BY else f"{face} along {by}", same, bed)
    taken = tuple(each.number for each in same)
    return replace(side, warnings=(AlsoReadAlong(side.name, taken, alike, others[0]),) if others else ())


def _is_by(setup: Setup, face: str, by: str) -> bool:
    """Whether that is how a traverse read the face: `indicator`, or by what guided it."""
    if not setup.measures.is_length:
        return False
    if by == "indicator":
        return setup.face == face
    along = _along(setup, face)
    return bool(along) and by in (along, Reference.parse(along).kind)


def _along(setup: Setup, face: str) -> str:
    """What an indicator was guided by, or touched while it rode the face; empty where neither is of it."""
    if setup.face == face:
        return setup.reference or setup.other or ""
    rides = setup.reference == face and setup.touched is not None and setup.touched.is_straight
    return str(setup.face) if rides else ""


def _way_of(setup: Setup, face: str) -> str:
    if setup.measures.has_feet_along:
        return "level" if setup.face in (face, CARRIAGE) else ""
    return _along(setup, face) if setup.measures.is_length else ""


def _of(name: str, traverses: tuple[Traverse, ...], bed: Bed) -> Side:
    observations = tuple(observe_all(traverses, bed))
    return Side(name, traverses, _subject(traverses[0], bed), False, observations)


def um_per_reading(bed: Bed, sides: Sequence[Side]) -> float:
    """What one unit of the readings is in µm of height difference: µm/m across the gauge, or µm."""
    for side in sides:
        setup = side.traverses[0].setup
        if setup.measures.is_across and setup.front and setup.rear:
            return abs(bed.gauge_mm(setup.front, setup.rear) or MM_PER_M) / MM_PER_M
    return 1.0


def _subject(traverse: Traverse, bed: Bed) -> dict[str, int]:
    """What combination of faces one traverse's readings are of, apart from a line."""
    setup = traverse.setup
    if setup.measures.is_across and setup.front and setup.rear:
        return {setup.rear: 1, setup.front: -1}
    if setup.measures.has_feet_along and setup.face in bed.faces:
        return {str(setup.face): 1}
    faces = [face for face in observe(traverse, bed).faces if face in bed.faces]
    if setup.face in faces and len(faces) <= 2:
        others = [face for face in faces if face != setup.face]
        if setup.measures.is_between:
            return {setup.face: 1} | dict.fromkeys(others, 1)
        sense = {o: bed.sense(setup.face, o) for o in others}
        return {setup.face: 1} | {other: -sense[other] for other in others if sense[other]}
    if setup.touched is not None and setup.touched.is_straight and len(faces) == 1:
        return {faces[0]: -1}
    raise AnalysisError(
        f"traverse {traverse.number}",
        f"is of {' and '.join(faces) or setup.subject} together",
        "a traverse of one face, or of one face against another",
        "use FACE:level or FACE:indicator, or `waylog combine`",
    )


def same_thing(a: Side, b: Side) -> Mapping[str, int]:
    """The one combination of faces that both are estimates of, or a refusal that says why not."""
    for one, other in ((a, b), (b, a)):
        if one.adapts and one.subject.keys() <= other.subject.keys():
            return other.subject
    if dict(a.subject) == dict(b.subject):
        return a.subject
    raise AnalysisError(
        f"{a.name} and {b.name}",
        f"the first is of {subject_text(a.subject)}, the second of {subject_text(b.subject)}",
        "two estimates of the same thing",
        "an indicator carried on A and reading B gives B − A: hold it against B:level",
    )


def subject_text(subject: Mapping[str, int]) -> str:
    words = " ".join(f"{'+' if sign > 0 else '−'} {face}" for face, sign in subject.items())
    return words.removeprefix("+ ")
