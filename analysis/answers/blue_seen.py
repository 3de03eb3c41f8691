"""The blue that was seen against the blue that the map predicts: which stretches cannot both be right."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from acquire.model.errors import AnalysisError
from acquire.model.marks import Mark, Marks
from acquire.model.places import MISSED_MM, SAME_STATION_MM
from analysis.linear.profile import COVERAGE_FACTOR, Profile

FALSE_ALARM = 0.05


@dataclass(frozen=True)
class Contradiction:
    """A stretch whose marks and map cannot both be right."""

    from_mm: float
    to_mm: float
    seen: str
    predicted: str
    at_mm: float
    """Where it shows most."""
    gap_um: float
    expanded_gap_um: float
    sure: float
    """By how many standard uncertainties gap and film are apart there."""


@dataclass(frozen=True)
class Film:
    """The film of blue and its standard uncertainty."""

    um: float
    uncertainty_um: float


def contradicted(
    gap: Profile, marks: Sequence[Mark], film: Film, gap_is_known: bool
) -> tuple[Contradiction, ...]:
    """Marks that the map's gap rules out, each where it shows most."""
    judged = [mark for mark in marks if mark.seen == "bare" or (mark.seen == "full" and gap_is_known)]
    places = [_under_mark(mark, gap) for mark in judged]
    looked_at = sum(each.size for each in places)
    found = []
    for mark, here in zip(judged, places, strict=True):
        doubt = np.hypot(gap.standard_uncertainty_um[here], film.uncertainty_um)
        sign = 1.0 if mark.seen == "full" else -1.0
        sure = sign * (gap.height_um[here] - film.um) / np.maximum(doubt, 1e-9)
        most = int(sure.argmax())
        if sure[most] > -ndtri(FALSE_ALARM / looked_at):
            found.append(_contradiction(mark, gap, int(here[most]), float(sure[most])))
    return tuple(found)


def _contradiction(mark: Mark, gap: Profile, at: int, sure: float) -> Contradiction:
    return Contradiction(
        from_mm=mark.from_mm,
        to_mm=mark.to_mm,
        seen=mark.seen,
        predicted="bare" if mark.seen == "full" else "blue",
        at_mm=float(gap.station_mm[at]),
        gap_um=float(gap.height_um[at]),
        expanded_gap_um=COVERAGE_FACTOR * float(gap.standard_uncertainty_um[at]),
        sure=sure,
    )


def check_mark(mark: Mark, start: float, end: float) -> None:
    if not start - SAME_STATION_MM <= mark.from_mm < mark.to_mm <= end + SAME_STATION_MM:
        raise AnalysisError(
            "mark",
            f"{mark.from_mm:g} to {mark.to_mm:g} mm",
            f"a stretch under the edge, {start:g} to {end:g} mm",
        )


def _under_mark(mark: Mark, gap: Profile) -> NDArray[np.intp]:
    """The stations of a stretch, or the one nearest to its middle where none lies in it."""
    x = gap.station_mm
    inside = np.flatnonzero((x >= mark.from_mm - SAME_STATION_MM) & (x <= mark.to_mm + SAME_STATION_MM))
    return inside if inside.size else np.array([np.abs(x - (mark.from_mm + mark.to_mm) / 2).argmin()])


def marks_that_fit(
    kept: Sequence[Marks], face: str, edge: str | None, lies: tuple[float | None, float | None]
) -> Marks | None:
    """The latest marks of a face, of that edge and place where these are named; None where there are none."""
    fitting = [
        each
        for each in kept
        if each.face == face
        and edge in (None, each.edge)
        and all(
            said is None or abs(said - was) < MISSED_MM
            for said, was in zip(lies, (each.from_mm, each.to_mm), strict=True)
        )
    ]
    return fitting[-1] if fitting else None
