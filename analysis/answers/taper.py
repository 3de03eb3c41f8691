"""How two faces taper along the bed, also where the shape of neither can be known.

Of faces that look opposite ways, measured across by caliper, micrometer or over pins, the sum of the two
heights is known up to the constant of the readings:

    d(x) = h_b - (n n') h_a,    taper = slope of the least-squares line of d

thicker towards the far end where it is above 0; of faces that look at each other the gap grows narrower.
What d departs from its line by is how unevenly the pair is worn, of both together.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from acquire.model.errors import AnalysisError
from analysis.adjust.bed_map import BedMap
from analysis.answers.assumptions import Assumption, assumptions
from analysis.linear.fact import Fact
from analysis.linear.profile import COVERAGE_FACTOR, Profile, standard_uncertainty
from analysis.linear.reference_lines import STRAIGHT, Place, remove_line, straightness
from analysis.linear.shown import KEPT_INSIDE, Shown

LEAST = 3


@dataclass(frozen=True, eq=False, repr=False)
class Taper(Shown):
    """One pair of faces."""

    a: str
    b: str
    look_opposite: bool
    is_gap: bool
    """Whether they look at each other, so that what lies between is a gap."""
    taper_um_per_m: float
    """Slope of b against a; of faces that look opposite ways, what the thickness grows or gap shrinks."""
    taper_expanded_um_per_m: float
    over_um: float
    """From the first station to the last, along that line."""
    over_expanded_um: float
    station_mm: NDArray[np.float64]
    departure_um: NDArray[np.float64]
    """From the least-squares line."""
    standard_uncertainty_um: NDArray[np.float64]
    departure_range_um: float
    departure_expanded_um: float
    is_even: bool
    """Whether no departure from the line was seen."""
    highest: Place
    lowest: Place
    shapes_known: tuple[str, ...]
    """Of the two, those whose own shape is known as well."""
    traverses: tuple[int, ...]
    profile: Profile = field(metadata=KEPT_INSIDE)
    far_end: str = field(metadata=KEPT_INSIDE, default="far end")
    """What the survey calls it."""
    joints_mm: tuple[float, ...] = field(metadata=KEPT_INSIDE, default=())
    """Where pieces of the bed meet: nothing is drawn over them."""

    @property
    def is_seen(self) -> bool:
        """Whether the taper exceeds its uncertainty."""
        return abs(self.taper_um_per_m) > self.taper_expanded_um_per_m


@dataclass(frozen=True, eq=False, repr=False)
class Tapers(Shown):
    """The pairs asked for, or all that were measured across."""

    pairs: tuple[Taper, ...]
    warnings: tuple[Fact, ...]
    assumptions: tuple[Assumption, ...]


def tapers(bed_map: BedMap, faces: Sequence[str] = ()) -> Tapers:
    """Taper of one pair of faces, or of every pair that was measured across.

    Parameters
    ----------
    bed_map : BedMap
    faces : sequence of str
        Two of them, or none for all pairs of span traverses.

    Raises
    ------
    AnalysisError
        Where a face is not known, no pair was measured across, or the readings leave the taper open.
    """
    for face in faces:
        bed_map.bed.described(face)
    pairs = [(faces[0], faces[1])] if faces else _measured_across(bed_map)
    if not pairs:
        raise AnalysisError(
            bed_map.bed.name, "no pair of faces was measured across", "a span traverse, or two faces named",
            "record a caliper or micrometer with --face A --other B, or name two faces",
        )  # fmt: skip
    return Tapers(
        tuple(_taper(bed_map, a, b) for a, b in pairs),
        tuple(bed_map.warnings),
        assumptions(bed_map, {face for pair in pairs for face in pair}),
    )


def taper_between(bed_map: BedMap, a: str, b: str) -> tuple[float, float] | None:
    """Taper in µm/m and its expanded uncertainty; None where the readings leave it open.

    Along the stations where the difference is known, those of the profile beside it: over others as well,
    known only up to a height of their own, the slope may be known by chance and is that of something else.
    """
    if not {a, b} <= set(bed_map.faces):
        return None
    station, rows = bed_map.difference_rows(b, a)
    if station.size < LEAST:
        return None
    try:
        known = np.isin(station, bed_map.combined(f"taper of {a} and {b}", station, rows).station_mm)
    except AnalysisError:
        return None
    away = (station[known] - station[known].mean()) / 1000
    found = bed_map.functional((away / (away @ away))[None, :] @ rows[known])
    if not found.is_known.all():
        return None
    doubt = COVERAGE_FACTOR * float(standard_uncertainty(found.covariance_um2)[0])
    return float(found.value_um[0]), doubt


def _measured_across(bed_map: BedMap) -> list[tuple[str, str]]:
    found = [
        each.faces[:2] for each in bed_map.observations if each.measures.is_between and len(each.faces) > 1
    ]
    return [(a, b) for a, b in dict.fromkeys(found)]


def _taper(bed_map: BedMap, a: str, b: str) -> Taper:
    where = f"taper of {a} and {b}"
    sense = 0 if a == b else bed_map.bed.sense(a, b)
    if sense == 0:
        raise AnalysisError(where, "one face, or two at right angles", "two that look alike or opposite")
    found = taper_between(bed_map, a, b)
    if found is None:
        raise AnalysisError(
            where, "the readings leave open how they taper",
            "a caliper across both, an indicator from one to the other, or levels with one zero on both",
            "record one of these at three stations or more",
        )  # fmt: skip
    station, rows = bed_map.difference_rows(b, a)
    profile = bed_map.combined(where, station, rows)
    level = remove_line(profile, "least-squares")
    judged = straightness(profile, "least-squares")
    length_m = float(np.ptp(profile.station_mm)) / 1000
    numbers = [set(bed_map.read(face).traverses) for face in (a, b)]
    return Taper(
        a=a,
        b=b,
        look_opposite=sense < 0,
        is_gap=sense < 0 and _is_gap(bed_map, a, b),
        taper_um_per_m=found[0],
        taper_expanded_um_per_m=found[1],
        over_um=found[0] * length_m,
        over_expanded_um=found[1] * length_m,
        station_mm=level.station_mm,
        departure_um=level.height_um,
        standard_uncertainty_um=level.standard_uncertainty_um,
        departure_range_um=judged.range_um,
        departure_expanded_um=judged.expanded_um,
        is_even=judged.sense == STRAIGHT,
        highest=judged.highest,
        lowest=judged.lowest,
        shapes_known=tuple(face for face in (a, b) if _is_shape_known(bed_map, face)),
        traverses=tuple(sorted(numbers[0] | numbers[1])),
        profile=profile,
        far_end=bed_map.bed.called.far_end,
        joints_mm=bed_map.bed.joints_mm,
    )


def _is_shape_known(bed_map: BedMap, face: str) -> bool:
    return bool(bed_map.lines[("height", face)].parts)


def _is_gap(bed_map: BedMap, a: str, b: str) -> bool:
    """Whether the two look at each other: as they were measured across, else as they lie across the bed."""
    inside = [
        source.setup.inside
        for each in bed_map.observations
        if each.measures.is_between and {a, b} <= set(each.faces)
        for source in each.sources
    ]
    if inside:
        return any(inside)
    described = [bed_map.bed.faces[face] for face in (a, b)]
    rear = next((face for face in described if face.normal == "rear"), None)
    front = next((face for face in described if face.normal == "front"), None)
    if rear is None or front is None or rear.across_mm is None or front.across_mm is None:
        return False
    return rear.across_mm < front.across_mm
