"""Two maps of the same thing held against each other.

Both sides go into one adjustment as heights of their own, sharing only what they share
in truth (an instrument's scale): the covariance of the difference is then that of the
difference.  Only estimates of the same thing are compared: an indicator carried on A
and reading B gives B − A, and is held against level(B) − level(A).
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from acquire.bed import Bed
from acquire.bed.model import NORMALS
from acquire.errors import AnalysisError
from acquire.traverse_file import Traverse
from analysis.agreement import agreement
from analysis.combination import BY, adjusted
from analysis.observations import Form, Observations, observe, observe_all
from analysis.profile import Profile
from analysis.reference_lines import remove_line

A_SCRAPING_PASS_UM = 10.0
"""A pass takes about 2 to 10 µm (common practice, no source): seeing less than that is of use anyway."""
_INSIDE: Mapping[str, Any] = {"kept_inside": True}


@dataclass(frozen=True, eq=False)
class Comparison:
    """The difference of two maps, and whether chance explains it."""

    a: str
    b: str
    subject: str
    """What both are estimates of."""
    station_mm: np.ndarray
    difference_um: np.ndarray
    """a − b, the least-squares line removed."""
    expanded_uncertainty_um: np.ndarray
    normalised_error: np.ndarray
    largest_normalised_error: float
    largest_by_chance: float
    rms_um: float
    chi_square: float
    degrees: int
    p_value: float
    smallest_detectable_um: float
    agree: bool | None
    """None: cannot tell, since no difference of any use could have been seen."""
    worst: Mapping[str, float]
    smoothed_over_mm: float | None
    """Both maps were passed through this base, which one of them cannot see below."""
    warnings: tuple[str, ...]
    profile_a: Profile = field(metadata=_INSIDE)
    profile_b: Profile = field(metadata=_INSIDE)


@dataclass(frozen=True, eq=False)
class _Side:
    """One of the two estimates: which traverses, and of what combination of faces."""

    name: str
    traverses: tuple[Traverse, ...]
    subject: Mapping[str, int]
    """Face to +1 or −1."""
    adapts: bool
    """FACE:level: whatever combination of level maps the other side needs."""


def compare(traverses: Sequence[Traverse], bed: Bed, a: str, b: str) -> Comparison:
    """Hold two maps of the same thing against each other.

    Parameters
    ----------
    traverses : sequence of Traverse
        Of the whole survey.
    bed : Bed
    a, b : str
        Each a traverse number, FACE:level or FACE:indicator.

    Raises
    ------
    AnalysisError
        Where the two are not estimates of the same thing, share a traverse, or one of
        them does not tell the shape.
    """
    sides = [_side(traverses, bed, name) for name in (a, b)]
    shared = {t.number for t in sides[0].traverses} & {t.number for t in sides[1].traverses}
    if shared:
        raise AnalysisError(
            f"{a} and {b}", f"traverse {min(shared)} is in both", "two maps that share no reading"
        )
    subject = _same_thing(sides[0], sides[1])
    doubled = replace(
        bed, faces=dict(bed.faces) | {_own(n, t): face for n, face in bed.faces.items() for t in (0, 1)}
    )
    observed = [_renamed(o, tag) for tag, side in enumerate(sides) for o in observe_all(side.traverses, bed)]
    bed_map = adjusted(observed, doubled)
    nodes = {(n.owner, round(n.station_mm, 3)): i for i, n in enumerate(bed_map.nodes) if n.kind == "height"}
    station, rows = _rows(nodes, subject, len(bed_map.nodes))
    if len(station) < 3:
        raise AnalysisError(
            f"{a} and {b}",
            f"{len(station)} common stations",
            "three or more",
            "measure both at the same stations",
        )
    text = _subject_text(subject)
    difference = bed_map.combined(text, station, rows[0] - rows[1])
    profiles = [bed_map.combined(text, station, each) for each in rows]
    return _judged(sides, text, difference, profiles, bed_map.warnings)


def _side(traverses: Sequence[Traverse], bed: Bed, name: str) -> _Side:
    if re.fullmatch(r"\d+", name):
        chosen = tuple(t for t in traverses if t.number == int(name))
        if not chosen:
            numbers = ", ".join(str(t.number) for t in traverses) or "none"
            raise AnalysisError(f"traverse {name}", "found no such traverse", f"one of {numbers}")
        return _Side(f"traverse {int(name)}", chosen, _subject(chosen[0], bed), adapts=False)
    face, _, by = name.rpartition(":")
    if face not in bed.faces or by not in ("level", "indicator"):
        raise AnalysisError(
            f"'{name}'", "cannot be compared", "a traverse number, FACE:level or FACE:indicator",
            f"the faces are {', '.join(bed.faces)}",
        )  # fmt: skip
    chosen = tuple(t for t in traverses if t.setup.quantity in BY[by])
    own = [t for t in chosen if t.setup.face in ((face, "carriage") if by == "level" else (face,))]
    if not own:
        raise AnalysisError(f"{face}:{by}", f"no {by} was used on it", "one traverse at least", "record one")
    if by == "level":
        return _Side(f"{face} by level", chosen, {face: 1}, adapts=True)
    subject = _subject(own[0], bed)
    same = tuple(t for t in own if _subject(t, bed) == subject)
    return _Side(f"{face} by indicator", same, subject, adapts=False)


def _subject(traverse: Traverse, bed: Bed) -> dict[str, int]:
    """What combination of faces one traverse's readings are of, apart from a line."""
    setup = traverse.setup
    if setup.quantity == "roll" and setup.front and setup.rear:
        return {setup.rear: 1, setup.front: -1}
    if setup.quantity == "slope" and setup.face in bed.faces:
        return {str(setup.face): 1}
    faces = [face for face in observe(traverse, bed).faces if face in bed.faces]
    if setup.face in faces and len(faces) <= 2:
        others = [face for face in faces if face != setup.face]
        if setup.quantity == "span":
            return {setup.face: 1} | dict.fromkeys(others, 1)
        sense = {o: _alike(bed, setup.face, o) for o in others}
        return {setup.face: 1} | {other: -sense[other] for other in others if sense[other]}
    raise AnalysisError(
        f"traverse {traverse.number}",
        f"is of {' and '.join(faces) or setup.subject} together",
        "a traverse of one face, or of one face against another",
        "use FACE:level or FACE:indicator, or `waylog combine`",
    )


def _alike(bed: Bed, face: str, other: str) -> int:
    """+1 where two faces look the same way, −1 opposite, 0 at right angles."""
    return int(np.dot(NORMALS[bed.faces[face].normal], NORMALS[bed.faces[other].normal]))


def _same_thing(a: _Side, b: _Side) -> Mapping[str, int]:
    """The one combination of faces that both are estimates of, or a refusal that says why not."""
    for one, other in ((a, b), (b, a)):
        if one.adapts and one.subject.keys() <= other.subject.keys():
            return other.subject
    if dict(a.subject) == dict(b.subject):
        return a.subject
    raise AnalysisError(
        f"{a.name} and {b.name}",
        f"the first is of {_subject_text(a.subject)}, the second of {_subject_text(b.subject)}",
        "two estimates of the same thing",
        "an indicator carried on A and reading B gives B − A: hold it against B:level",
    )


def _subject_text(subject: Mapping[str, int]) -> str:
    words = " ".join(f"{'+' if sign > 0 else '−'} {face}" for face, sign in subject.items())
    return words.removeprefix("+ ")


def _own(face: str, tag: int) -> str:
    return f"{face} ({'ab'[tag]})"


def _renamed(observations: Observations, tag: int) -> Observations:
    """The same readings, of heights that belong to one side alone."""

    def own(forms: tuple[Form, ...]) -> tuple[Form, ...]:
        return tuple(
            {(p if p.kind == "edge" else p._replace(owner=_own(p.owner, tag))): w for p, w in form.items()}
            for form in forms
        )

    return replace(
        observations,
        forms=own(observations.forms),
        plain_forms=None if observations.plain_forms is None else own(observations.plain_forms),
        faces=tuple(_own(face, tag) for face in observations.faces),
        carriers=tuple(_own(face, tag) for face in observations.carriers),
        drift_group=(*observations.drift_group, str(tag)) if observations.drift_group else (),
    )


def _rows(
    nodes: Mapping[tuple[str, float], int], subject: Mapping[str, int], count: int
) -> tuple[np.ndarray, tuple[np.ndarray, np.ndarray]]:
    """Common stations of all faces concerned, and each side's combination of heights there."""
    needed = [_own(face, tag) for face in subject for tag in (0, 1)]
    common = set.intersection(*({s for owner, s in nodes if owner == name} for name in needed))
    station = np.array(sorted(common))
    rows = (np.zeros((len(station), count)), np.zeros((len(station), count)))
    for tag, matrix in enumerate(rows):
        for face, sign in subject.items():
            for row, at in zip(matrix, station, strict=True):
                row[nodes[(_own(face, tag), at)]] = sign
    return station, rows


def _judged(
    sides: Sequence[_Side],
    subject: str,
    difference: Profile,
    profiles: Sequence[Profile],
    warnings: tuple[str, ...],
) -> Comparison:
    level = remove_line(difference, "least-squares")
    verdict = agreement(level.height_um, level.covariance_um2)
    worst = int(np.nanargmax(np.abs(verdict.normalised_error))) if verdict.degrees else 0
    # the noisier map's range is mostly noise: what there is to see is in the other
    shape = min(float(np.ptp(remove_line(each, "least-squares").height_um)) for each in profiles)
    of_use = max(shape, A_SCRAPING_PASS_UM)
    can_tell = verdict.smallest_detectable <= of_use or not verdict.agree
    return Comparison(
        a=sides[0].name,
        b=sides[1].name,
        subject=subject,
        station_mm=level.station_mm,
        difference_um=level.height_um,
        expanded_uncertainty_um=verdict.expanded_uncertainty,
        normalised_error=verdict.normalised_error,
        largest_normalised_error=verdict.largest_normalised_error,
        largest_by_chance=verdict.largest_by_chance,
        rms_um=float(np.sqrt(np.mean(level.height_um**2))),
        chi_square=verdict.chi_square,
        degrees=verdict.degrees,
        p_value=verdict.p_value,
        smallest_detectable_um=verdict.smallest_detectable,
        agree=verdict.agree if can_tell else None,
        worst={"station_mm": float(level.station_mm[worst]), "difference_um": float(level.height_um[worst])},
        smoothed_over_mm=None,
        warnings=warnings,
        profile_a=remove_line(profiles[0], "least-squares"),
        profile_b=remove_line(profiles[1], "least-squares"),
    )
