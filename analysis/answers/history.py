"""Before and after a round of work: did it get better, by how much, and where did the metal come off?"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from acquire.model.bed import Bed
from acquire.model.errors import AnalysisError
from acquire.model.traverse import Traverse
from analysis.answers.assumptions import Assumption, assumptions
from analysis.answers.both_times import BothTimes
from analysis.answers.common_state import check_same_bed, instrument_differences, not_said, state_differences
from analysis.answers.face_change import FaceChange, face_change
from analysis.answers.metal_alone import BedMoved, bed_moved
from analysis.answers.surveys import Survey
from analysis.answers.twist_change import TwistChange, twist_change
from analysis.answers.two_maps import AFTER, BEFORE
from analysis.linear.fact import Fact
from analysis.linear.shown import Shown


@dataclass(frozen=True)
class TakenAsBefore(Fact):
    """Traverses of the present survey that are in the older one too."""

    traverses: tuple[int, ...]


@dataclass(frozen=True)
class PerhapsCutWhereUnworn(Fact):
    """Metal came off a face of which the present bed.toml calls stretches unworn."""

    face: str
    stretches_mm: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class InSurvey(Fact):
    """What is to be minded about one of the two surveys."""

    when: str
    what: Fact


@dataclass(frozen=True, eq=False, repr=False)
class BeforeAndAfter(Shown):
    """Two surveys of one bed, before and after work on it."""

    before: str
    after: str
    is_like_with_like: bool
    """Whether nothing is known to have differed in how the bed stood or what it was measured with."""
    differences: tuple[Fact, ...]
    """What did differ."""
    faces: tuple[FaceChange, ...]
    not_compared: Mapping[str, str]
    """Faces that cannot be held against each other, and why."""
    twist: TwistChange | None
    twist_unknown: str | None
    """Why there is no twist before and after."""
    bed_moved: BedMoved | None
    """By faces that were not scraped; None where fewer than two such were measured both times."""
    warnings: tuple[Fact, ...]
    assumptions: tuple[Assumption, ...]
    """What the uncertainty takes for granted."""


def before_and_after(
    before: Survey, after: Survey, faces: Sequence[str] = (), *, scraped: Sequence[str] = ()
) -> BeforeAndAfter:
    """Hold a survey from before the work against one from after it.

    Traverses that are in both (the present survey was begun as a copy of the older one)
    count as before.

    Parameters
    ----------
    before, after : Survey
        Of one bed, with equal names of its faces.
    faces : sequence of str
        Only these; all by default.
    scraped : sequence of str
        Faces that metal was taken off: the others tell how the bed moved meanwhile. Left out, faces that
        nothing runs on do.

    Raises
    ------
    AnalysisError
        Where the beds are not one, a face asked for is not known, or one of the surveys
        holds no measurement of its own.

    Notes
    -----
    A difference is said where chance explains it in fewer than one survey in a hundred;
    better or worse, where also the straightness differs by more than its expanded
    uncertainty.
    """
    check_same_bed(before.bed, after.bed)
    for face in (*faces, *scraped):
        if face not in before.bed.faces and face not in after.bed.faces:
            raise AnalysisError(face, "found no such face in bed.toml", ", ".join(after.bed.faces))
    after, repeated = only_new(before, after)
    pair = BothTimes(before, after, tuple(scraped))
    changes, reasons = _by_face(pair, faces or tuple(dict.fromkeys([*before.bed.faces, *after.bed.faces])))
    twist, no_twist = _twist(pair)
    differences = (
        *state_differences(before.measuring, after.measuring, after.bed),
        *instrument_differences(before.measuring, after.measuring),
    )
    return BeforeAndAfter(
        before=str(before.folder),
        after=str(after.folder),
        is_like_with_like=not differences,
        differences=differences,
        faces=tuple(changes),
        not_compared=reasons,
        twist=twist,
        twist_unknown=no_twist,
        bed_moved=bed_moved(pair.joint, pair.unscraped) if len(pair.unscraped) > 1 else None,
        warnings=(*warnings_of_both(pair, repeated), *perhaps_cut_where_unworn(changes, after.bed)),
        assumptions=_taken(pair),
    )


def only_new(before: Survey, after: Survey) -> tuple[Survey, tuple[int, ...]]:
    """The survey from after without the traverses that it has from before, and their numbers.

    Raises
    ------
    AnalysisError
        Where one of the two holds no measurement of its own.
    """
    old = {_identity(each) for each in before.traverses}
    repeated = tuple(each.number for each in after.traverses if _identity(each) in old)
    new = tuple(each for each in after.traverses if _identity(each) not in old)
    kept = replace(after, traverses=new) if repeated else after
    for survey, when in ((before, "before"), (kept, "after")):
        if not survey.measuring:
            raise AnalysisError(
                str(survey.folder), f"found no traverse from {when} the work", "one at least",
                "measure again after it, into a new folder with a copy of bed.toml",
            )  # fmt: skip
    return kept, repeated


def taken_as_before(repeated: Sequence[int]) -> tuple[Fact, ...]:
    """What is to be said of traverses that `only_new` left out; nothing where there are none."""
    return (TakenAsBefore(tuple(repeated)),) if repeated else ()


def _identity(each: Traverse) -> tuple[object, ...]:
    """What two copies of one traverse have in common, also where one was derived anew, and no two others."""
    setup, stations = each.setup, each.stations
    raw = tuple(stream.raw for stream in each.streams.values())
    read = raw if any(raw) else (stations.station_mm.tobytes(), stations.reading.tobytes())
    return (setup.created_utc, setup.instrument, setup.subject, setup.direction, *read)


def _by_face(pair: BothTimes, faces: Iterable[str]) -> tuple[list[FaceChange], dict[str, str]]:
    changes, reasons = [], {}
    for face in faces:
        try:
            changes.append(face_change(pair, face))
        except AnalysisError as why:
            reasons[face] = why.found
    return changes, reasons


def _twist(pair: BothTimes) -> tuple[TwistChange | None, str | None]:
    try:
        return twist_change(pair), None
    except AnalysisError as why:
        return None, why.found


def warnings_of_both(pair: BothTimes, repeated: Sequence[int]) -> tuple[Fact, ...]:
    """What to mind about the two surveys, and which traverses are in both."""
    found: list[Fact] = [*taken_as_before(repeated)]
    found += not_said(pair.before.measuring, pair.after.measuring)
    for bed_map, when in zip(pair.maps, (BEFORE, AFTER), strict=True):
        found += [InSurvey(when, each) for each in bed_map.warnings]
    return tuple(dict.fromkeys(found))


def perhaps_cut_where_unworn(changes: Sequence[FaceChange], bed: Bed) -> tuple[Fact, ...]:
    """Faces that lost metal and are called unworn somewhere: which of it was cut, a survey does not show."""
    found = []
    for change in changes:
        unworn = bed.faces[change.face].unworn_mm if change.face in bed.faces else ()
        if unworn and change.came_off:
            found.append(PerhapsCutWhereUnworn(change.face, unworn))
    return tuple(found)


def _taken(pair: BothTimes) -> tuple[Assumption, ...]:
    """What either survey takes for granted, and that both are read on one bed."""
    both = [each for bed_map in pair.maps for each in assumptions(bed_map)]
    names: dict[tuple[str, bool], dict[str, None]] = {}
    for each in both:
        names.setdefault((each.what, each.stated), {}).update(dict.fromkeys(each.of))
    return tuple(Assumption(what, stated, tuple(of)) for (what, stated), of in names.items())
