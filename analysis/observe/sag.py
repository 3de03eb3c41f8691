"""How far a straightedge or a taut wire hangs under its own weight, or an edge bends with warmth, in µm.

The straightedge is a uniform beam on two supports; its deflection is integrated
exactly from the bending moment.  In units of w·L⁴/(E·I) the centre of a beam supported
at its ends sags 5/384, at the Airy spacing L/√3 it sags 5.16e-4 (checked in the tests).
"""

import numpy as np

from acquire.model.bed import Straightedge, TautWire
from acquire.model.errors import AnalysisError

STANDARD_GRAVITY = 9.80665
MATERIALS: dict[str, tuple[float, float]] = {
    "steel": (7850.0, 205e9),
    "cast iron": (7200.0, 110e9),
    "granite": (2900.0, 60e9),
    "aluminium": (2700.0, 70e9),
    "ceramic": (3900.0, 370e9),
}
"""Density in kg/m³ and modulus of elasticity in Pa, handbook values, good to some 10 %."""
EXPANSION_PER_K = {
    "steel": 11.5e-6, "cast iron": 10.5e-6, "granite": 8e-6, "aluminium": 23.5e-6, "ceramic": 8e-6,
}  # fmt: skip
"""Handbook values; granite and ceramics vary by a third."""
SECTION_UNCERTAINTY = 0.10
"""Relative, of a sag from handbook constants and a plain rectangular section."""


def beam_sag(position: np.ndarray, supports: tuple[float, float]) -> np.ndarray:
    """Sag of a uniform beam of length 1 in units of w·L⁴/(E·I), positive downwards.

    Parameters
    ----------
    position : array
        Places along the beam, 0 to 1.
    supports : (float, float)
        The two supports, first below second, within 0 to 1. The sag is 0 at both.

    Examples
    --------
    >>> float(beam_sag(np.array([0.5]), (0.0, 1.0))[0] * 384)
    5.0
    """
    first, second = supports
    if not 0.0 <= first < second <= 1.0:
        raise ValueError(f"supports {supports}: needed two places within 0 to 1, rising")
    at = np.asarray(position, float)
    load_second = (0.5 - first) / (second - first)
    load_first = 1.0 - load_second

    def bent(x: np.ndarray) -> np.ndarray:
        # twice integrated moment, M = -x²/2 + reactions; upward deflection has curvature M
        return (
            -(x**4) / 24
            + load_first * np.maximum(x - first, 0.0) ** 3 / 6
            + load_second * np.maximum(x - second, 0.0) ** 3 / 6
        )

    ends = bent(np.array([first, second]))
    line = ends[0] + (ends[1] - ends[0]) * (at - first) / (second - first)
    return np.asarray(line - bent(at))


def straightedge_sag_um(edge: Straightedge, station_mm: np.ndarray) -> np.ndarray | None:
    """Downward sag of a straightedge at bed stations; None where too little is described.

    A rectangular section is assumed, for which the width falls out: w/(E·I) = 12·ρ·g/(E·depth²).
    """
    if edge.depth_mm is None or edge.material is None or edge.supports_mm is None:
        return None
    along_mm = np.asarray(station_mm, float) - edge.start_mm
    length_m, depth_m = edge.length_mm / 1000, edge.depth_mm / 1000
    density, modulus = MATERIALS[edge.material]
    unit_m = 12 * density * STANDARD_GRAVITY / (modulus * depth_m**2) * length_m**4
    first, second = (support / edge.length_mm for support in edge.supports_mm)
    if not 0.0 <= first < second <= 1.0:
        raise AnalysisError(
            f"straightedge {edge.id}",
            f"found supports at {edge.supports_mm[0]:g} and {edge.supports_mm[1]:g} mm",
            f"two places on its {edge.length_mm:g} mm, the first nearer station 0",
            "correct supports_mm in bed.toml",
        )
    return unit_m * 1e6 * beam_sag(along_mm / edge.length_mm, (first, second))


def bend_of_a_kelvin_um(edge: Straightedge, station_mm: np.ndarray) -> np.ndarray | None:
    """How far a straightedge bends towards its warmer side for 1 °C across; None without its depth.

    A parabola: α·L²/(8·depth) in its middle against its ends, warm right through. Of what is not stated to
    be another material, as steel.

    Examples
    --------
    A metre of steel, 60 mm deep:

    >>> edge = Straightedge("long", 1000.0, depth_mm=60.0, material="steel")
    >>> bend_of_a_kelvin_um(edge, np.array([0.0, 500.0])).round(1)
    array([ 0., 24.])
    """
    if edge.depth_mm is None:
        return None
    share = (np.asarray(station_mm, float) - edge.start_mm) / edge.length_mm
    per_k = EXPANSION_PER_K[edge.material or "steel"]
    return np.asarray(per_k * edge.length_mm**2 / (8 * edge.depth_mm) * 1000 * 4 * share * (1 - share))


def wire_sag_um(wire: TautWire, station_mm: np.ndarray) -> np.ndarray:
    """Downward sag of a taut wire at bed stations: mass·g·x·(span − x)/(2·tension).

    Examples
    --------
    A wire of 1 g/m at 100 N over 2 m sags 49 µm in its middle:

    >>> round(float(wire_sag_um(TautWire("w", 1.0, 100.0, 2000.0), np.array([1000.0]))[0]), 3)
    49.033
    """
    along_mm = np.asarray(station_mm, float) - wire.start_mm
    outside = (along_mm < -0.5) | (along_mm > wire.span_mm + 0.5)
    if np.any(outside):
        raise AnalysisError(
            f"wire {wire.id}",
            f"found a reading at {np.asarray(station_mm)[outside][0]:g} mm, beyond its span",
            f"{wire.start_mm:g} to {wire.start_mm + wire.span_mm:g} mm",
            "correct start_mm and span_mm in bed.toml",
        )
    along_m, rest_m = along_mm / 1000, (wire.span_mm - along_mm) / 1000
    return np.asarray(
        wire.mass_g_per_m / 1000 * STANDARD_GRAVITY * along_m * rest_m / (2 * wire.tension_n) * 1e6
    )
