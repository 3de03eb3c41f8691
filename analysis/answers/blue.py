"""Where a straightedge would leave its blue on a face: predicted, and held against the marks that were seen.

The edge lies on the face under its own weight.  An edge whose depth and material bed.toml gives
bends (`laid_beam`); of any other only where a stiff one would bear is told, and every place
between may be marked as well; so it is on a face that does not look up, where a hand holds the
edge.  Blue is carried over wherever the gap is no more than the film of
marking compound.  Between stations the face is taken as straight; so is the edge by itself.

A mark contradicts the map at a place where blue is seen over a gap larger than the film, or none
over a smaller one, by more than chance explains: z = (gap − film) / √(u_gap² + u_film²), one-sided,
at 5 % shared between all the places that were looked at (Bonferroni).  Simulated for this
project, 33 stations, u 1 µm, film ± 2 µm: 0.2 % of right maps are contradicted, of maps 12 µm too
low 99.8 %.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from acquire.model.bed import Bed, Straightedge
from acquire.model.errors import AnalysisError
from acquire.model.marks import Mark, Marks
from acquire.model.places import ROUNDING_MM, SAME_STATION_MM
from analysis.adjust.bed_map import BedMap
from analysis.answers.assumptions import Assumption, assumptions
from analysis.answers.blue_seen import Contradiction, Film, check_mark, contradicted
from analysis.answers.face_map import own_shape
from analysis.linear.fact import Fact
from analysis.linear.laid_beam import lay_beam, self_weight_um
from analysis.linear.pieces import rows_in_pieces
from analysis.linear.profile import COVERAGE_FACTOR, Profile
from analysis.linear.shown import Shown
from analysis.linear.touching_line import line_above
from analysis.observe.sag import MATERIALS

FILM_UM = 5.0
FILM_UNCERTAINTY_UM = 2.0
"""A film of marking blue is 1 to 10 µm thick (common practice)."""
_ELEMENTS = 80
"""The edge is divided no coarser than this: its bends over shorter stretches are too stiff to matter."""
_MOST_STATIONS = 160
"""Beyond these the face under the edge is taken at so many even places."""
Stretches = tuple[tuple[float, float], ...]


@dataclass(frozen=True, eq=False, repr=False)
class Blue(Shown):
    """Where an edge laid on a face would mark it."""

    face: str
    edge: str | None
    """Its name in bed.toml; None: none in particular."""
    from_mm: float
    to_mm: float
    """Where the edge lies."""
    film_um: float
    film_uncertainty_um: float
    held_by_hand: bool
    """Against a face that does not look up: its own weight does not bend it onto the face, a hand may."""
    bends: bool
    """Whether its bending under its own weight is in it; if not, places said bare may be marked too."""
    rests_at_mm: tuple[float, ...]
    """Where it rests: two places, one on which it would rock, or more where it bends onto the face."""
    touches_mm: Stretches
    may_touch_mm: Stretches
    """Further stretches that uncertainty (k = 2) of map and film, or an edge not described, leaves open."""
    largest_gap_um: float
    largest_gap_expanded_um: float
    marks: tuple[Mark, ...]
    contradicted: tuple[Contradiction, ...]
    warnings: tuple[Fact, ...] = ()
    assumptions: tuple[Assumption, ...] = ()
    """What the uncertainty takes for granted."""
    gap: Profile | None = field(default=None, metadata={"kept_inside": True})
    """Between edge and face, place by place."""


@dataclass(frozen=True, eq=False)
class _Laid:
    """The gap under an edge, how the heights make it, and where the edge rests."""

    gap_um: NDArray[np.float64]
    rows: NDArray[np.float64]
    rests_at_mm: tuple[float, ...]


def predict_blue(
    profile: Profile,
    edge: Straightedge | None = None,
    *,
    from_mm: float | None = None,
    to_mm: float | None = None,
    film_um: float = FILM_UM,
    film_uncertainty_um: float = FILM_UNCERTAINTY_UM,
    marks: Sequence[Mark] = (),
    joints_mm: Sequence[float] = (),
    held_by_hand: bool = False,
    **told: Any,
) -> Blue:
    """Predict the blue of one edge laid on a face, and hold it against marks.

    Parameters
    ----------
    profile : Profile
        Heights of the face, up to a line.
    edge : Straightedge, optional
        What is laid on it.
    from_mm, to_mm : float, optional
        Where the edge lies; all along the face if left out.
    film_um, film_uncertainty_um : float
        How large a gap still marks, and its standard uncertainty.
    marks : sequence of Mark
        What was seen.
    joints_mm : sequence of float
        Where bed pieces meet: up to there each piece runs on as high as its last station.
    held_by_hand : bool
        Whether a hand holds the edge against the face (`is_held_by_hand`).

    Raises
    ------
    AnalysisError
        If the edge does not lie on the face or is too short, a mark lies beside the edge, or
        the film is negative.

    Examples
    --------
    A stiff edge on a face 20 µm hollow bears at its ends; one of steel 60 mm deep bends onto it
    as far as 4 µm, which blue bridges:

    >>> x = np.linspace(0, 1000, 41)
    >>> hollow = Profile("f", x, 20 * (2 * x / 1000 - 1) ** 2, 1e-6 * np.eye(41))
    >>> stiff = predict_blue(hollow)
    >>> [(round(a), round(b)) for a, b in stiff.touches_mm], round(stiff.largest_gap_um)
    ([(0, 67), (933, 1000)], 20)
    >>> steel = predict_blue(hollow, Straightedge("e", 1000, depth_mm=60, material="steel"))
    >>> steel.touches_mm, round(steel.largest_gap_um, 1)
    (((0.0, 1000.0),), 3.7)
    """
    start, end = _lies(profile, edge, from_mm, to_mm)
    for mark in marks:
        check_mark(mark, start, end)
    if not (film_um >= 0 and film_uncertainty_um >= 0):
        raise AnalysisError("film of blue", f"{min(film_um, film_uncertainty_um):g} µm", "0 µm or more")
    under = _under(profile, start, end, joints_mm)
    is_described = edge is not None and edge.depth_mm is not None and edge.material is not None
    bends = is_described and not held_by_hand
    laid = _bent(under, edge) if bends and edge is not None else _stiff(under)
    blue_of = Film(film_um, film_uncertainty_um)
    gap = Profile(
        f"gap under the edge on {profile.face}",
        under.station_mm,
        laid.gap_um,
        laid.rows @ under.covariance_um2 @ laid.rows.T,
    )
    touches = _stretches(gap.station_mm, gap.height_um, film_um)
    doubt = COVERAGE_FACTOR * np.hypot(gap.standard_uncertainty_um, film_uncertainty_um)
    open_to = _stretches(gap.station_mm, np.maximum(gap.height_um - doubt, 0.0), film_um)
    widest = int(gap.height_um.argmax())
    return Blue(
        face=profile.face,
        edge=None if edge is None else edge.id,
        from_mm=start,
        to_mm=end,
        film_um=film_um,
        film_uncertainty_um=film_uncertainty_um,
        held_by_hand=held_by_hand,
        bends=bends,
        rests_at_mm=laid.rests_at_mm,
        touches_mm=touches,
        may_touch_mm=_without(open_to if bends or edge is None else ((start, end),), touches),
        largest_gap_um=float(gap.height_um[widest]),
        largest_gap_expanded_um=COVERAGE_FACTOR * float(gap.standard_uncertainty_um[widest]),
        marks=tuple(marks),
        contradicted=contradicted(_at_stations(gap, profile), marks, blue_of, bends or edge is None),
        gap=gap,
        **told,
    )


def is_held_by_hand(bed: Bed, face: str) -> bool:
    """Whether an edge would fall off the face if nobody held it."""
    return bed.called.is_upright or bed.described(face).upward <= 0


def blue_on(
    bed_map: BedMap, face: str, edge: str | None, *, film_um: float | None = None, kept: Marks | None = None,
    from_mm: float | None = None, to_mm: float | None = None,
) -> Blue:  # fmt: skip
    """The blue of an edge laid on a face of a map; where marks were kept, of that edge as it lay then.

    Parameters
    ----------
    bed_map : BedMap
    face : str
    edge : str, optional
        Its name in bed.toml.
    film_um : float, optional
        Left out, that of the marks, or a usual one.
    kept : Marks, optional
        What was seen.
    from_mm, to_mm : float, optional
        Where an edge without marks lies.
    """
    profile, warnings = own_shape(bed_map, face)
    if kept is not None:
        edge, from_mm, to_mm = kept.edge, kept.from_mm, kept.to_mm
        film_um = kept.film_um if film_um is None else film_um
    return predict_blue(
        profile,
        described_edge(bed_map.bed, edge),
        from_mm=from_mm,
        to_mm=to_mm,
        film_um=FILM_UM if film_um is None else film_um,
        marks=() if kept is None else kept.stretches,
        joints_mm=bed_map.bed.joints_mm,
        held_by_hand=is_held_by_hand(bed_map.bed, face),
        warnings=warnings,
        assumptions=assumptions(bed_map, {face}),
    )


def predict_blues(
    profile: Profile,
    edge: Straightedge | None = None,
    **under: Any,
) -> tuple[Blue, ...]:
    """Predict the blue of an edge laid along a face in overlapping places, half its length apart.

    Without an edge, or with one that reaches over the face, it lies once, all along.
    `under` is what `predict_blue` is told besides of film, face and map.
    """
    first, last = float(profile.station_mm[0]), float(profile.station_mm[-1])
    if edge is None or edge.length_mm >= last - first:
        return (predict_blue(profile, edge, **under),)
    length = edge.length_mm
    starts = np.append(np.arange(first, last - length - 1e-6, length / 2), last - length)
    return tuple(
        predict_blue(profile, edge, from_mm=float(s), to_mm=float(s) + length, **under) for s in starts
    )


def _lies(
    profile: Profile, edge: Straightedge | None, from_mm: float | None, to_mm: float | None
) -> tuple[float, float]:
    """Where the edge lies: as said; where one end alone is said, as far as the edge reaches."""
    first, last = float(profile.station_mm[0]), float(profile.station_mm[-1])
    reach = np.inf if edge is None else edge.length_mm
    start = first if from_mm is None and to_mm is None else from_mm
    end = to_mm if to_mm is not None else min(last, (start or 0.0) + reach)
    start = max(first, end - reach) if start is None else start
    start = first if abs(start - first) <= ROUNDING_MM else start
    end = last if abs(end - last) <= ROUNDING_MM else end
    if not first - 1e-6 <= start < end <= last + 1e-6:
        raise AnalysisError(
            f"straightedge on {profile.face}", f"{start:g} to {end:g} mm", f"{first:g} to {last:g} mm"
        )
    if edge is not None and end - start > edge.length_mm + ROUNDING_MM:
        raise AnalysisError(
            f"straightedge {edge.id}",
            f"{start:g} to {end:g} mm, longer than it is",
            f"{edge.length_mm:g} mm at most",
            "say where it lies: --from and --to",
        )
    return start, end


def _under(profile: Profile, start: float, end: float, joints_mm: Sequence[float]) -> Profile:
    """The face under the edge, finely enough for it to bend, the edge's two ends included."""
    x = profile.station_mm
    inner = x[(x > start + 1e-6) & (x < end - 1e-6)]
    at = np.concatenate([[start], inner, [end]])
    if at.size > _MOST_STATIONS:
        at = np.linspace(start, end, _MOST_STATIONS)
    parts = np.ceil(np.diff(at) / (end - start) * _ELEMENTS).astype(int).clip(1)
    fine = [np.linspace(a, b, n, endpoint=False) for a, b, n in zip(at[:-1], at[1:], parts, strict=True)]
    at = np.append(np.concatenate(fine), end)
    return profile.through(rows_in_pieces(x, at, joints_mm), at)


def _stiff(under: Profile) -> _Laid:
    """An edge that does not bend: along the edge of the upper hull under its middle."""
    x, y = under.station_mm, under.height_um
    line = line_above(x, y, float(x[0] + x[-1]) / 2)
    gap = np.clip(line.at(x) - y, 0, None)
    gap[list(line.touching)] = 0.0
    return _Laid(gap, -line.deviation_rows(x), tuple(float(x[i]) for i in line.touching))


def _bent(under: Profile, edge: Straightedge) -> _Laid:
    """An edge that bends; where it lies is as long as what is bent, an end beyond the face left out."""
    density, modulus = MATERIALS[str(edge.material)]
    x = under.station_mm
    weight = self_weight_um(float(np.ptp(x)), float(edge.depth_mm or 0.0), density, modulus)
    laid = lay_beam(x, under.height_um, weight)
    first_of_run = np.flatnonzero(np.diff(laid.rests_on, prepend=-2) > 1)
    runs = np.split(laid.rests_on, first_of_run[1:])
    return _Laid(laid.gap, laid.rows, tuple(float(x[run].mean()) for run in runs))


def _at_stations(gap: Profile, profile: Profile) -> Profile:
    """The gap where the face was measured; between stations it only repeats what these say."""
    near = np.abs(gap.station_mm[:, None] - profile.station_mm[None, :]).min(axis=1) < SAME_STATION_MM
    return gap.through(np.eye(near.size)[near], gap.station_mm[near]) if near.any() else gap


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


def described_edge(bed: Bed, name: str | None) -> Straightedge | None:
    """The straightedge of that name; None where none is named.

    Raises
    ------
    AnalysisError
        Where bed.toml holds no such straightedge.
    """
    if name is None:
        return None
    if name not in bed.straightedges:
        raise AnalysisError(
            bed.name,
            f"found no straightedge {name!r} in bed.toml",
            ", ".join(bed.straightedges)
            or "a table [straightedges.NAME] with length_mm, depth_mm and material",
        )
    return bed.straightedges[name]
