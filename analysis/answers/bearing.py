"""Where a straightedge, or a flat mating face, would leave its blue: predicted, to be held against the real.

The edge rests along the upper hull under its middle.  Blue is carried over wherever
the gap is no more than the film of marking compound.  Between stations the face is
taken as straight.  The edge itself is taken as straight, and as stiff.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquire.model.errors import AnalysisError
from analysis.linear.profile import Profile
from analysis.linear.touching_line import line_above

FILM_UM = 5.0
"""A film of marking blue is 1 to 10 µm thick (common practice)."""
COVERAGE_FACTOR = 2.0
Stretches = tuple[tuple[float, float], ...]


@dataclass(frozen=True, eq=False)
class Bearing:
    """Where an edge laid on a face would mark it."""

    from_mm: float
    to_mm: float
    """Where the edge lies."""
    film_um: float
    rests_at_mm: tuple[float, ...]
    """Where it rests: two places, or one on which it would rock."""
    touches_mm: Stretches
    may_touch_mm: Stretches
    """Further stretches where the uncertainty (k = 2) leaves it open."""
    largest_gap_um: float


def bearing(
    profile: Profile, *, from_mm: float | None = None, to_mm: float | None = None, film_um: float = FILM_UM
) -> Bearing:
    """Predict the blue of one edge laid on a face.

    Parameters
    ----------
    profile : Profile
        Heights of the face, up to a line.
    from_mm, to_mm : float, optional
        Where the edge lies; all along the face if left out.
    film_um : float
        How large a gap still marks.

    Raises
    ------
    AnalysisError
        If the edge does not lie on the face, or the film is negative.

    Examples
    --------
    An edge on a face 20 µm hollow bears at its ends, up to where the gap is 5 µm:

    >>> hollow = Profile("f", [0, 500, 1000], [0, -20, 0], 1e-6 * np.eye(3))
    >>> blue = bearing(hollow)
    >>> blue.touches_mm, blue.largest_gap_um
    (((0.0, 125.0), (875.0, 1000.0)), 20.0)
    """
    x = profile.station_mm
    start, end = float(x[0] if from_mm is None else from_mm), float(x[-1] if to_mm is None else to_mm)
    _check(profile, start, end, film_um)
    laid = _under(profile, start, end)
    line = line_above(laid.station_mm, laid.height_um, (start + end) / 2)
    rows = line.deviation_rows(laid.station_mm)
    gap = np.clip(line.at(laid.station_mm) - laid.height_um, 0, None)
    gap[list(line.touching)] = 0.0
    doubt = COVERAGE_FACTOR * np.sqrt(np.clip(np.diag(rows @ laid.covariance_um2 @ rows.T), 0, None))
    touches = _stretches(laid.station_mm, gap, film_um)
    open_to = _stretches(laid.station_mm, np.maximum(gap - doubt, 0.0), film_um)
    return Bearing(
        from_mm=start,
        to_mm=end,
        film_um=film_um,
        rests_at_mm=tuple(float(laid.station_mm[i]) for i in line.touching),
        touches_mm=touches,
        may_touch_mm=_without(open_to, touches),
        largest_gap_um=float(gap.max()),
    )


def bearings(
    profile: Profile, length_mm: float | None = None, film_um: float = FILM_UM
) -> tuple[Bearing, ...]:
    """Predict the blue of an edge laid along a face in overlapping places, half its length apart.

    Without a length, or with one that reaches over the face, it lies once, all along.

    Raises
    ------
    AnalysisError
        If the length is not positive.
    """
    first, last = float(profile.station_mm[0]), float(profile.station_mm[-1])
    if length_mm is not None and not length_mm > 0:
        raise AnalysisError("straightedge", f"a length of {length_mm:g} mm", "more than 0 mm")
    if length_mm is None or length_mm >= last - first:
        return (bearing(profile, film_um=film_um),)
    starts = np.append(np.arange(first, last - length_mm - 1e-6, length_mm / 2), last - length_mm)
    return tuple(
        bearing(profile, from_mm=float(s), to_mm=float(s) + length_mm, film_um=film_um) for s in starts
    )


def _check(profile: Profile, start: float, end: float, film_um: float) -> None:
    first, last = profile.station_mm[0], profile.station_mm[-1]
    if not film_um >= 0:
        raise AnalysisError("film of blue", f"{film_um:g} µm", "0 µm or more")
    if not first - 1e-6 <= start < end <= last + 1e-6:
        raise AnalysisError(
            f"straightedge on {profile.face}", f"{start:g} to {end:g} mm", f"{first:g} to {last:g} mm"
        )


def _under(profile: Profile, start: float, end: float) -> Profile:
    """The face under the edge, with the heights at the edge's two ends."""
    x = profile.station_mm
    inner = x[(x > start + 1e-6) & (x < end - 1e-6)]
    at = np.concatenate([[start], inner, [end]])
    rows = np.stack([np.interp(at, x, unit) for unit in np.eye(x.size)], axis=1)
    return profile.through(rows, at)


def _stretches(x: NDArray, gap: NDArray, film: float) -> Stretches:
    """Where a gap that runs straight from place to place is no more than the film."""
    found: list[list[float]] = []
    for i in range(x.size - 1):
        piece = _piece(x[i], x[i + 1], gap[i] - film, gap[i + 1] - film)
        if piece is None:
            continue
        if found and piece[0] <= found[-1][1] + 1e-9:
            found[-1][1] = piece[1]
        else:
            found.append(list(piece))
    return tuple((float(a), float(b)) for a, b in found)


def _piece(a: float, b: float, over_a: float, over_b: float) -> tuple[float, float] | None:
    if over_a > 0 and over_b > 0:
        return None
    if over_a <= 0 and over_b <= 0:
        return a, b
    crossing = a + (b - a) * over_a / (over_a - over_b)
    return (a, crossing) if over_a <= 0 else (crossing, b)


def _without(stretches: Stretches, taken: Stretches) -> Stretches:
    """What of the stretches is not already taken."""
    left: list[tuple[float, float]] = []
    for start, end in stretches:
        at = start
        for a, b in taken:
            if b < at or a > end:
                continue
            if a > at:
                left.append((at, a))
            at = max(at, b)
        if at < end:
            left.append((at, end))
    return tuple(left)
