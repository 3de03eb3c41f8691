"""Which flank of a vee is worn: flank by flank out of the map, and its angles by two rollers.

Angles a₁ (front) and a₂ (rear) are from the vertical.  A roller of radius R in a groove has its centre

    R cos δ/sin σ above the root,  R sin δ/sin σ to the rear,    σ = (a₁ + a₂)/2,  δ = (a₂ − a₁)/2

and touches either flank R/tan σ from the root.  Two rollers tell the angles: with A = ΔTop/ΔR − 1 and
B = ΔSide/ΔR, σ = asin 1/√(A² + B²), δ = atan B/A.  What rides the vee V proud and S to the rear finds its
flanks, along their normals, at

    ridge   front V sin a₁ − S cos a₁,   rear V sin a₂ + S cos a₂    (a groove: S turned)

with the angles taken as sound, where one roller or the carriage alone was read.  Derived for this project;
the height over rollers is that of Machinery's Handbook's formula for V-grooves (31st ed., p. 703).
"""

from dataclasses import dataclass
from math import asin, atan2, cos, degrees, hypot, radians, sin, sqrt, tan

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from acquire.model.bed import Face
from acquire.model.errors import AnalysisError
from analysis.adjust.bed_map import BedMap
from analysis.answers.assumptions import Assumption, assumptions, typed_and
from analysis.answers.face_map import reaches_unworn
from analysis.answers.measured import Measured
from analysis.linear.fact import Fact
from analysis.linear.profile import Profile, standard_uncertainty
from analysis.linear.straight_line import line_rows

ROUNDING = 1e-12


@dataclass(frozen=True)
class VeeAngles:
    """Flank angles by two rollers."""

    front_deg: Measured
    rear_deg: Measured
    included_deg: Measured
    contact_mm: tuple[float, float]
    """Where each roller touches, from the root along the flank."""
    degrees_per_um_of_roller: float
    """By how much the included angle is wrong where one diameter is."""
    assumptions: tuple[Assumption, ...]
    """What the uncertainty takes for granted."""


@dataclass(frozen=True, eq=False)
class VeeFlanks:
    """Both flanks of a vee along the bed, along their normals: + proud, − worn."""

    face: str
    line: str
    station_mm: NDArray[np.float64]
    front_um: NDArray[np.float64]
    rear_um: NDArray[np.float64]
    front_uncertainty_um: NDArray[np.float64]
    rear_uncertainty_um: NDArray[np.float64]
    more_worn: str | None
    """front | rear: worn more where they differ most; None: alike within what could be seen."""
    at_mm: float
    """Where they differ most."""
    difference_um: Measured
    """Front less rear there."""
    warnings: tuple[Fact, ...]
    assumptions: tuple[Assumption, ...]
    """What the uncertainty takes for granted."""


def angles_of_rollers(
    radii_mm: tuple[float, float],
    tops_mm: tuple[float, float],
    sides_mm: tuple[float, float],
    reading_uncertainty_um: float,
    *,
    roller_uncertainty_um: float | None = None,
    flank_mm: tuple[float, float] | None = None,
) -> VeeAngles:
    """Flank angles of a groove from two rollers, read on top and sideways.

    Parameters
    ----------
    radii_mm, tops_mm, sides_mm : pairs
        Radii; heights of their tops; places of their sides or centres, + to the rear.
    reading_uncertainty_um : float
        Standard uncertainty of each reading.
    roller_uncertainty_um : float, optional
        Of each roller's diameter; taken as exact without it.
    flank_mm : (from, to), optional
        Sound stretch of the flanks, from the root: a roller that touches beyond is refused.

    Raises
    ------
    AnalysisError
        If the rollers are alike, no groove gives such readings, or one touches at the root or the edge.

    Examples
    --------
    The rollers' centres, from the root: R cos δ / sin σ above, R sin δ / sin σ to the rear (2 σ the included
    angle, 2 δ what the rear flank is flatter than the front one):

    >>> found = angles_of_rollers((10, 20), (24.088320, 48.176640), (1.232568, 2.465137), 1.0)
    >>> round(found.front_deg.value, 4), round(found.rear_deg.value, 4)
    (40.0, 50.0)
    """
    larger = radii_mm[1] - radii_mm[0]
    if larger == 0 or min(radii_mm) <= 0:
        raise AnalysisError("rollers", f"found radii of {radii_mm[0]:g} and {radii_mm[1]:g} mm", "two sizes")
    a, b = (tops_mm[1] - tops_mm[0]) / larger - 1, (sides_mm[1] - sides_mm[0]) / larger
    far = hypot(a, b)
    if not (a > 0 and far > 1):
        raise AnalysisError(
            "rollers",
            f"found tops {tops_mm[0]:g} and {tops_mm[1]:g} mm",
            "a larger roller that stands higher",
        )
    half, lean = asin(1 / far), atan2(b, a)
    u = 2**0.5 * reading_uncertainty_um / 1000 / abs(larger)
    # half of it for one diameter, √2 of that for two
    u_larger = 0.5**0.5 * (roller_uncertainty_um or 0.0) / 1000 / abs(larger)
    by_half = -1 / (far**2 * sqrt(far**2 - 1)) * np.array([a, b])
    by_lean = np.array([-b, a]) / far**2
    by_larger = np.array([a + 1, b])
    contact = (radii_mm[0] / tan(half), radii_mm[1] / tan(half))
    for radius, at in zip(radii_mm, contact, strict=True):
        if flank_mm is not None and not flank_mm[0] <= at <= flank_mm[1]:
            raise AnalysisError(
                f"roller of radius {radius:g} mm",
                f"found it to touch {at:.1f} mm from the root",
                f"the sound flank, {flank_mm[0]:g} to {flank_mm[1]:g} mm",
                "take another roller: at the root or the edge it tells nothing of the flank",
            )
    angles = [
        Measured(degrees(value), degrees(hypot(u * float(np.linalg.norm(row)), u_larger * row @ by_larger)))
        for value, row in (
            (half - lean, by_half - by_lean),
            (half + lean, by_half + by_lean),
            (2 * half, 2 * by_half),
        )
    ]
    per_roller = degrees(float(abs(2 * by_half @ by_larger)) / 2 / 1000 / abs(larger))
    taken = typed_and(diameters=roller_uncertainty_um)
    return VeeAngles(angles[0], angles[1], angles[2], contact, per_roller, taken)


def flank_components(vee: Face) -> tuple[tuple[float, float], tuple[float, float]]:
    """A rise and a move to the rear of what rides a vee, square to its front and to its rear flank."""
    assert vee.flank_angles_deg is not None
    front, rear = map(radians, vee.flank_angles_deg)
    turned = -1.0 if vee.form == "groove" else 1.0
    return (sin(front), -turned * cos(front)), (sin(rear), turned * cos(rear))


def vee_flanks(bed_map: BedMap, face: str) -> VeeFlanks:
    """Both flanks of a vee out of the map, from the line through its unworn stretches or its ends.

    Raises
    ------
    AnalysisError
        If it is no vee, or its sideways shape is not known: height alone wears both flanks alike.
    """
    described = bed_map.bed.faces.get(face)
    if described is None or not described.is_vee or described.flank_angles_deg is None:
        raise AnalysisError(face, "found no vee", "a face of shape vee with its angles in bed.toml")
    height = bed_map.profile(face)
    try:
        side = bed_map.profile(face, "side")
    except AnalysisError as why:
        raise AnalysisError(
            face,
            "found its sideways shape not known, so that either flank may be the worn one",
            "an indicator that rides the vee along a side face, a taut wire or a straight edge",
            "record one with --reference " + face,
        ) from why
    station = np.intersect1d(height.station_mm.round(6), side.station_mm.round(6))
    line = "unworn" if reaches_unworn(height, described) and reaches_unworn(side, described) else "ends"
    up = _from_line(bed_map, face, "height", height, station, line)
    aside = _from_line(bed_map, face, "side", side, station, line)
    rows = np.vstack([v * up + s * aside for v, s in flank_components(described)])
    found = bed_map.functional(np.vstack([rows, rows[: station.size] - rows[station.size :]]))
    if not found.is_known.all():
        raise AnalysisError(
            face, "found its height or its sideways shape not known all along", "both at the same stations"
        )
    front, rear, difference = np.split(found.value_um, 3)
    u_front, u_rear, u_difference = np.split(standard_uncertainty(found.covariance_um2), 3)
    worst = int(np.abs(difference).argmax())
    most = Measured(float(difference[worst]), float(u_difference[worst]))
    return VeeFlanks(
        face, line, station, front, rear, u_front, u_rear,
        ("rear" if most.value > 0 else "front") if _is_shown(most, station.size) else None,
        float(station[worst]), most, tuple(bed_map.warnings), assumptions(bed_map, {face}),
    )  # fmt: skip


def _is_shown(most: Measured, places: int) -> bool:
    """Whether the largest of so many differences is more than chance makes it once in twenty (Bonferroni)."""
    return abs(most.value) > -ndtri(0.025 / places) * most.standard_uncertainty


def _from_line(
    bed_map: BedMap, face: str, kind: str, profile: Profile, station_mm: NDArray[np.float64], line: str
) -> NDArray[np.float64]:
    """Heights (or sides) at the stations, less their line, as rows over the nodes of the map."""
    x = profile.station_mm
    mean_and_slope = line_rows(line, x, profile.height_um, bed_map.bed.faces[face].unworn_mm)
    arms = np.stack([np.ones_like(x), x - np.mean(x)], axis=1)
    here = np.array([int(np.abs(x - mm).argmin()) for mm in station_mm])
    rows = (np.eye(x.size) - arms @ mean_and_slope)[here]
    rows[np.abs(rows) < ROUNDING] = 0.0  # at an end the line is the height itself: known, and nothing
    return rows @ bed_map.over_nodes(face, x, kind)
