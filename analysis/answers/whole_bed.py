"""The whole bed as an answer: every face, what disagrees, what nothing checks, what cannot be told."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from acquire.model.errors import AnalysisError
from analysis.adjust.bed_map import BedMap
from analysis.adjust.reliability import Suspect, Unchecked
from analysis.adjust.run_slips import RunSlip
from analysis.adjust.variance_components import VarianceComponent
from analysis.answers.assumptions import Assumption, assumptions
from analysis.answers.face_map import FaceMap, map_face
from analysis.answers.feet import untied_feet
from analysis.linear.fact import Fact
from analysis.linear.shown import KEPT_INSIDE, Shown


@dataclass(frozen=True, eq=False, repr=False)
class FaceHeights(Shown):
    """Heights of one face from its line of reference, as `map` gives them; NaN where they are not known."""

    station_mm: np.ndarray
    height_um: np.ndarray
    standard_uncertainty_um: np.ndarray


@dataclass(frozen=True, eq=False, repr=False)
class WholeBed(Shown):
    """All that the traverses of a survey say together."""

    faces: Mapping[str, FaceHeights]
    redundancy: float
    chi_square: float
    p_value: float | None
    slips: tuple[RunSlip, ...]
    """Whole runs that look wrong as they were written; single suspects are then not looked for."""
    suspects: tuple[Suspect, ...]
    unchecked: tuple[Unchecked, ...]
    cannot_tell: tuple[Fact, ...]
    noise: tuple[VarianceComponent, ...]
    """Per instrument, how much it scatters of what it claims; where the readings show it."""
    warnings: tuple[Fact, ...]
    assumptions: tuple[Assumption, ...]
    """What the uncertainty takes for granted."""
    maps: Mapping[str, FaceMap] = field(metadata=KEPT_INSIDE)
    """Faces whose own shape is known."""
    unknown: Mapping[str, str] = field(metadata=KEPT_INSIDE)
    """Faces whose shape is not known, and why, where `cannot_tell` does not say it."""


def whole_bed(
    bed_map: BedMap, noise: tuple[VarianceComponent, ...] = (), left_out: tuple[Fact, ...] = ()
) -> WholeBed:
    """Gather the answer out of a bed map; `left_out` are traverses that play no part."""
    maps, unknown, faces = {}, {}, {}
    for face in bed_map.bed.faces:
        try:
            found = map_face(bed_map, face)
        except AnalysisError as why:
            line = bed_map.lines.get(("height", face))
            if line is None or line.parts:
                unknown[face] = why.found
            station = bed_map.stations_mm(face)
            faces[face] = FaceHeights(station, np.full(station.size, np.nan), np.full(station.size, np.nan))
            continue
        if found.relative_to is not None:
            unknown[face] = f"known only relative to {found.relative_to}"
            nothing = np.full(found.station_mm.size, np.nan)
            faces[face] = FaceHeights(found.station_mm, nothing, nothing)
            continue
        maps[face] = found
        faces[face] = FaceHeights(found.station_mm, found.height_um, found.standard_uncertainty_um)
    return WholeBed(
        faces={name: each for name, each in faces.items() if each.station_mm.size},
        redundancy=bed_map.redundancy,
        chi_square=bed_map.chi_square,
        p_value=bed_map.p_value,
        slips=bed_map.slips,
        suspects=bed_map.suspects,
        unchecked=bed_map.unchecked,
        cannot_tell=bed_map.cannot_tell,
        noise=noise,
        warnings=_warnings(bed_map, left_out),
        assumptions=assumptions(bed_map),
        maps=maps,
        unknown=unknown,
    )


def _warnings(bed_map: BedMap, left_out: tuple[Fact, ...]) -> tuple[Fact, ...]:
    own = [fact for each in bed_map.observations for fact in each.warnings]
    untied = [fact for face in bed_map.faces for fact in untied_feet(bed_map, face)]
    return tuple(dict.fromkeys([*left_out, *untied, *bed_map.warnings, *own]))
