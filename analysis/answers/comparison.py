"""Two maps of the same thing held against each other.

Both sides go into one adjustment as heights of their own, sharing only what they share
in truth (an instrument's scale): the covariance of the difference is then that of the
difference.  Only estimates of the same thing are compared: an indicator carried on A
and reading B gives B − A, and is held against level(B) − level(A).
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from acquire.model.bed import Bed
from acquire.model.errors import AnalysisError
from acquire.model.places import ROUNDING_MM
from acquire.model.traverse import Traverse
from analysis.adjust.bed_map import BedMap
from analysis.adjust.combination import adjusted
from analysis.adjust.further import rows_for
from analysis.answers.assumptions import Assumption, assumptions
from analysis.answers.comparison_sides import AS_READ, Side, same_thing, side_of, subject_text, um_per_reading
from analysis.answers.two_maps import (
    LEAST_STATIONS,
    apart,
    common_rows,
    doubled_faces,
    own,
    rows_by_station,
    through_the_coarser_base,
)
from analysis.linear.agreement import agreement
from analysis.linear.fact import Fact
from analysis.linear.profile import Profile
from analysis.linear.reference_lines import remove_line
from analysis.linear.shown import KEPT_INSIDE, Shown
from analysis.observe import Observations, Place, state_warnings

A_SCRAPING_PASS_UM = 10.0
"""A pass takes about 2 to 10 µm (common practice, no source): seeing less than that is of use anyway."""


@dataclass(frozen=True, eq=False, repr=False)
class Comparison(Shown):
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
    warnings: tuple[Fact, ...]
    assumptions: tuple[Assumption, ...]
    """What the uncertainty takes for granted."""
    profile_a: Profile = field(metadata=KEPT_INSIDE)
    profile_b: Profile = field(metadata=KEPT_INSIDE)
    joints_mm: tuple[float, ...] = field(metadata=KEPT_INSIDE, default=())
    """Where pieces of the bed meet: nothing is drawn over them."""


def compare(traverses: Sequence[Traverse], bed: Bed, a: str, b: str) -> Comparison:
    """Hold two maps of the same thing against each other.

    Parameters
    ----------
    traverses : sequence of Traverse
        Of the whole survey.
    bed : Bed
    a, b : str
        Each a traverse number, FACE:level, FACE:indicator, or FACE:GUIDE by what guided the indicator:
        straightedge, straightedge:NAME, wire, line, carriage, a face or two faces A+B.

    Raises
    ------
    AnalysisError
        Where the two are not estimates of the same thing, share a traverse, or one of
        them does not tell the shape.
    """
    sides = (side_of(traverses, bed, a), side_of(traverses, bed, b))
    shared = {t.number for t in sides[0].traverses} & {t.number for t in sides[1].traverses}
    if shared:
        raise AnalysisError(
            f"{a} and {b}", f"traverse {min(shared)} is in both", "two maps that share no reading"
        )
    subject = same_thing(*sides)
    factor = um_per_reading(bed, sides)
    bed_map = adjusted(
        [
            side.as_read(o, factor) if side.is_readings else apart(o, side.name)
            for side in sides
            for o in side.observations
        ],
        replace(bed, faces=doubled_faces(bed, [side.name for side in sides])),
    )
    bed_map = bed_map.reaching(_places_read(sides))
    station, first, second = _rows(bed_map, sides, subject, factor)
    if len(station) < LEAST_STATIONS:
        raise AnalysisError(
            f"{a} and {b}",
            f"{len(station)} common stations",
            "three or more",
            "measure both at the same stations",
        )
    base_mm, station, first, second = through_the_coarser_base(
        [side.observations for side in sides], station, first, second
    )
    text = subject_text(subject)
    difference = bed_map.combined(text, station, first - second)
    profiles = [bed_map.combined(text, station, each) for each in (first, second)]
    left_out = (fact for side in sides for fact in side.warnings)
    together = [t for side in sides for t in side.traverses]
    warnings = (*left_out, *bed_map.warnings, *state_warnings(together))
    read = [each for side in sides for each in side.observations]
    return replace(
        _judged(sides, text, difference, profiles, base_mm, warnings),
        assumptions=assumptions(bed_map, subject, read=read),
        joints_mm=bed.joints_mm,
    )


def _rows(
    bed_map: BedMap, sides: tuple[Side, Side], subject: Mapping[str, int], um_per_reading: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Common stations, and each side's combination of heights there."""
    readings = [side for side in sides if side.is_readings]
    tables = []
    for side in sides:
        if side.is_readings:
            tables.append(rows_by_station(bed_map, {own(AS_READ, side.name): 1}))
        elif readings:
            tables.append(_through_the_carrier(bed_map, side, readings[0], um_per_reading))
        else:
            tables.append(
                rows_by_station(bed_map, {own(face, side.name): sign for face, sign in subject.items()})
            )
    return common_rows(bed_map, tables[0], tables[1])


def _through_the_carrier(
    bed_map: BedMap, maps: Side, readings: Side, um_per_reading: float
) -> dict[float, np.ndarray]:
    """What the other instrument would have read on these maps, in µm, by its carrier's feet and arms."""
    read = _read_on(maps, readings)
    rows, expressible = rows_for(bed_map.assembly, read)
    heights = rows[:, : bed_map.assembly.layout.heights].toarray() * um_per_reading
    return {
        round(float(station), 3): row
        for station, row, form, can in zip(read.station_mm, heights, read.forms, expressible, strict=True)
        if can and all(_is_told(bed_map, place) for place in form if place.kind != "edge")
    }


def _places_read(sides: tuple[Side, Side]) -> Iterator[Place]:
    """The heights of one side's maps that the readings of the other depend on."""
    for maps, readings in (sides, sides[::-1]):
        if readings.is_readings and not maps.is_readings:
            yield from (place for form in _read_on(maps, readings).forms for place in form)


def _read_on(maps: Side, readings: Side) -> Observations:
    """What the instrument read, of the heights that the maps have."""
    return apart(readings.observations[0], maps.name)


def _is_told(bed_map: BedMap, place: Place) -> bool:
    """Whether a height is a node, or lies between nodes no further apart than the bed's stations.

    Across a wider gap, such as a level's base, a dip may lie between the nodes and show in neither.
    """
    line = bed_map.assembly.layout.lines.get((place.kind, place.owner))
    if line is None:
        return False
    away = line.station_mm - place.station_mm
    if np.abs(away).min() <= ROUNDING_MM:
        return True
    pitch_mm = float(np.median(np.diff(bed_map.bed.station_mm)))
    below, above = away[away < 0], away[away > 0]
    return len(below) > 0 and len(above) > 0 and float(above.min() - below.max()) <= pitch_mm + ROUNDING_MM


def _judged(
    sides: Sequence[Side],
    subject: str,
    difference: Profile,
    profiles: Sequence[Profile],
    base_mm: float | None,
    warnings: tuple[Fact, ...],
) -> Comparison:
    level = remove_line(difference, "least-squares")
    verdict = agreement(level.height_um, level.covariance_um2, level.station_mm)
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
        smoothed_over_mm=base_mm,
        warnings=warnings,
        assumptions=(),
        profile_a=remove_line(profiles[0], "least-squares"),
        profile_b=remove_line(profiles[1], "least-squares"),
    )
