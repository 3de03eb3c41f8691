"""Which further traverse would help most: the uncertainty with it and without it.

Every instrument of bed.toml is tried on every face (or pair) that it can read.  What it
would bring is computed, not guessed: the same adjustment, with its rows added, as if it read
what the map expects (`expected_readings`).  What is told is what
`map` and `twist` print, by their own functions: the ± of the straightness, for the shape as it is
known now, and the ± of the wind.
"""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace

import numpy as np

from acquire.model.errors import AnalysisError
from analysis.adjust.bed_map import BedMap
from analysis.adjust.hypothetical import covariance_with
from analysis.adjust.run_slips import RunSlip
from analysis.answers.assumptions import Assumption, assumptions
from analysis.answers.face_map import judged_straightness
from analysis.answers.further_runs import Candidate, Run, as_expected, candidates, command_words
from analysis.answers.known_roll import Ways, known_roll, ways_of, wind_expanded
from analysis.linear.fact import Fact
from analysis.linear.profile import Profile
from analysis.linear.reference_lines import STRAIGHT, remove_line
from analysis.linear.shown import KEPT_INSIDE
from analysis.observe import observe
from analysis.observe.continuous import with_run

LEAST_GAIN = 1.1
"""A traverse that narrows nothing by a tenth is not worth the walk."""
MOST_OF_ONE_KIND = 2
CLEARLY_HOLLOW = 100.0
"""How hollow a face of unknown shape is taken to be, in standard uncertainties."""


@dataclass(frozen=True)
class FurtherTraverse(Fact):
    """What one further traverse would do."""

    run: Run
    what: str
    """straightness of FACE | wind from end to end"""
    now: float | None
    then: float
    unit: str
    removes_mm: tuple[float, ...]
    """Ripples that cannot be seen so far, and could be with it."""
    checks: str | None = None
    """A face on which an error in the readings would show with it, and does not so far."""


@dataclass(frozen=True)
class Advice:
    """One further traverse and what it would do."""

    instrument: str
    face: str
    """FACE, or FRONT/REAR."""
    what: str
    """What becomes better known."""
    now: float | None
    """Expanded uncertainty now; None: not known at all."""
    then: float
    """Expanded uncertainty with the traverse."""
    unit: str
    words: FurtherTraverse
    command: str
    """What to type, with SURVEY for the folder."""
    checks: str | None
    """A face that nothing checks so far, and this would."""
    rank: tuple[int, float] = field(metadata=KEPT_INSIDE)


@dataclass(frozen=True)
class NextTraverse:
    """All that would help, best first."""

    advice: tuple[Advice, ...]
    best_known: Mapping[str, float]
    """Expanded uncertainty, as it is, of everything that is known (µm; roll in µm/m)."""
    assumptions: tuple[Assumption, ...]
    """What the uncertainty takes for granted."""
    slips: tuple[RunSlip, ...] = ()
    """Whole runs that look wrong as they were written: these come first, and nothing else is advised."""


@dataclass(frozen=True, eq=False)
class _Shape:
    """The shape that a face is taken to have when it has been read once more."""

    profile: Profile | None
    """As known now; None: not known, and taken as hollow in its middle by far more than the noise."""
    is_noise: bool = False
    """Whether it is straight within what can be seen now, so that better readings would show less of it."""

    def under(self, then: Profile) -> np.ndarray:
        """Heights at the stations of a better map."""
        x, doubt = then.station_mm, then.standard_uncertainty_um.max()
        if self.profile is None:
            share = (x - x[0]) / (x[-1] - x[0])
            return np.asarray(-CLEARLY_HOLLOW * max(doubt, 1e-9) * 4 * share * (1 - share))
        level = remove_line(self.profile, "ends")
        height = np.interp(x, level.station_mm, level.height_um)
        return np.asarray(height * (self._less_noise(then) if self.is_noise else 1.0))

    def _less_noise(self, then: Profile) -> float:
        assert self.profile is not None
        spread = [remove_line(each, "ends").standard_uncertainty_um.max() for each in (self.profile, then)]
        return min(float(spread[1] / spread[0]), 1.0) if spread[0] > 0 else 1.0


_HOLLOW = _Shape(None)


@dataclass(frozen=True)
class _Promise:
    """What a candidate would bring."""

    uncertainty: Mapping[str, float]
    """Expanded, of every target that would be known."""
    checks: tuple[str, ...] = ()
    """Faces that nothing checks so far, and it would."""


def next_traverse(bed_map: BedMap, wanted: str = "all") -> NextTraverse:
    """Rank further traverses by what they would bring.

    First what is not known at all, then what checks a face whose readings nothing checks (an error in
    them would not show, and no plan of it may be cut), then by how much the ± shrinks.

    Parameters
    ----------
    bed_map : BedMap
        Of the survey so far.
    wanted : str
        all | twist | the id of a face whose straightness matters.

    Raises
    ------
    AnalysisError
        If `wanted` is none of these.
    """
    bed = bed_map.bed
    if wanted not in ("all", "twist", *bed.faces):
        raise AnalysisError(
            f"'{wanted}'", "is nothing to improve", "all, twist or a face", ", ".join(bed.faces)
        )
    targets = _Targets.of(bed_map, wanted)
    now, shapes = targets.uncertainties(bed_map), _shapes(bed_map)
    if bed_map.slips:
        return NextTraverse((), now, assumptions(bed_map), bed_map.slips)
    taken = (n for each in bed_map.observations for n in (each.traverse, *each.with_traverses))
    number = 1 + max(taken, default=0)
    unchecked = [face for face in now if face in bed.faces and not bed_map.is_checked(face)]
    found: list[Advice] = []
    for candidate in candidates(bed, bed_map):
        then = _promised(bed_map, candidate, number, targets, shapes, unchecked)
        found += _gains(candidate, now, then)
    found.sort(key=lambda advice: advice.rank)
    return NextTraverse(tuple(found), now, assumptions(bed_map))


def varied(advice: Sequence[Advice]) -> list[Advice]:
    """The same order, with no more than two ways of learning the same thing.

    An indicator carried on either of two faces reads the same difference: the better one stands for both.
    """
    kept: list[Advice] = []
    for each in advice:
        alike = [other.words.run for other in kept if other.what == each.what]
        if len(alike) < MOST_OF_ONE_KIND and not any(each.words.run.is_mirrored(run) for run in alike):
            kept.append(each)
    return kept


@dataclass(frozen=True, eq=False)
class _Targets:
    """What is wanted to be known better: straightness of faces, and wind."""

    faces: tuple[str, ...]
    ways: Ways | None
    """None: wind is not asked for, or cannot be known."""
    is_roll_told: bool
    """Whether the readings so far tell the change of roll, no carrier's rolling taken for nothing."""

    @classmethod
    def of(cls, bed_map: BedMap, wanted: str) -> "_Targets":
        bed, ways = bed_map.bed, None
        if wanted in ("all", "twist") and None not in bed.carriage_ways():
            with suppress(AnalysisError):  # ways without a distance across have no roll to know
                ways = ways_of(bed)
        known = None if ways is None else known_roll(bed_map, ways)
        is_told = known is not None and known.known_up_to != "a line"
        return cls(tuple(bed.faces) if wanted == "all" else (wanted,), ways, is_told)

    def of_candidate(self, candidate: Candidate) -> "_Targets":
        """Those that may be advised of a candidate."""
        # an indicator's carrier rolls with the way it rides, which nothing measures: no word on twist from it
        has_no_say = candidate.setup.measures.is_carried or candidate.removes_mm
        return replace(self, ways=None) if has_no_say else self

    def uncertainties(self, bed_map: BedMap, shapes: Mapping[str, _Shape] | None = None) -> dict[str, float]:
        """Expanded uncertainty of every target that is known.

        `shapes` are the faces as known now, for a map whose heights mean nothing.
        """
        known = {}
        for face in self.faces:
            profile = _profile(bed_map, face)
            if profile is None:
                continue
            if shapes is not None:
                profile = replace(profile, height_um=shapes.get(face, _HOLLOW).under(profile))
            known[face] = judged_straightness(profile, bed_map.bed.faces[face]).expanded_um
        if self.ways is not None:
            # what is told without carriers is told with further readings all the more
            wind = wind_expanded(known_roll(bed_map, self.ways, by_indicators=self.is_roll_told))
            known |= {} if wind is None else {"twist": wind}
        return known


def _profile(bed_map: BedMap, face: str) -> Profile | None:
    try:
        return bed_map.profile(face) if face in bed_map.bed.faces else None
    except AnalysisError:
        return None


def _shapes(bed_map: BedMap) -> dict[str, _Shape]:
    """The shape of every face whose shape is known."""
    found = {}
    for name, face in bed_map.bed.faces.items():
        profile = _profile(bed_map, name)
        if profile is not None:
            is_noise = judged_straightness(profile, face).sense == STRAIGHT
            found[name] = _Shape(profile, is_noise)
    return found


def _promised(
    bed_map: BedMap,
    candidate: Candidate,
    number: int,
    targets: _Targets,
    shapes: Mapping[str, _Shape],
    unchecked: Sequence[str],
) -> _Promise:
    block, setup = candidate.drawn_with, candidate.setup.with_number(number)
    mode = "stepped" if block is None else "continuous"
    try:
        traverse = as_expected(bed_map, setup, mode, candidate.station_mm)
        further = with_run(block, traverse, bed_map.bed) if block else observe(traverse, bed_map.bed)
        then = covariance_with(bed_map, further)
        known = targets.of_candidate(candidate).uncertainties(then, shapes)
    except AnalysisError:
        return _Promise({})
    return _Promise(known, tuple(face for face in unchecked if then.is_checked(face)))


def _gains(candidate: Candidate, now: Mapping[str, float], promise: _Promise) -> Iterator[Advice]:
    """The face that a candidate helps most, and the twist, if it helps them at all."""
    then = promise.uncertainty
    gains = {target: now.get(target, np.inf) / after for target, after in then.items() if after > 0}
    faces = {target: gain for target, gain in gains.items() if target != "twist"}
    best = max(faces, key=lambda name: (name in promise.checks, faces[name], -then[name]), default=None)
    targets = (best, "twist") if "twist" in then else (best,)
    if candidate.removes_mm:
        targets = (str(candidate.setup.face),)
    for target in targets:
        checks = target if target in promise.checks else None
        is_worth_it = gains.get(str(target), 0.0) >= LEAST_GAIN or candidate.removes_mm or checks
        if target in gains and is_worth_it:
            yield _advice(candidate, str(target), now.get(str(target)), then[str(target)], checks)


def _advice(
    candidate: Candidate, target: str, before: float | None, after: float, checks: str | None
) -> Advice:
    unit = "µm/m" if target == "twist" else "µm"
    what = "twist" if target == "twist" else f"straightness of {target}"
    called = "wind from end to end" if target == "twist" else what
    return Advice(
        instrument=candidate.setup.instrument,
        face=candidate.setup.subject,
        what=what,
        now=before,
        then=after,
        unit=unit,
        words=FurtherTraverse(candidate.run, called, before, after, unit, candidate.removes_mm, checks),
        command=command_words(candidate),
        checks=checks,
        # among things not known at all, what becomes known best comes first
        rank=(0, after) if before is None else (1 if checks else 2, -before / after),
    )
