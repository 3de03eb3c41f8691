"""Steps and ripples that no declared joint explains, on every face, against noise."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from analysis.adjust.bed_map import BedMap
from analysis.answers.assumptions import Assumption, assumptions
from analysis.answers.channels import Channel, OneReading, hangs_on, known_channels
from analysis.linear.fact import Fact
from analysis.linear.shown import KEPT_INSIDE, Shown
from analysis.linear.steps_and_ripples import MOST_STATIONS, Feature, find_features, least_stations
from analysis.linear.two_pieces import joint_columns


@dataclass(frozen=True)
class Wave:
    """A ripple that noise does not explain."""

    wavelength_mm: float
    height_um: float
    """From crest to trough."""
    expanded_um: float
    crest_mm: float
    """Its first crest."""


@dataclass(frozen=True)
class Step:
    """A step that noise does not explain."""

    from_mm: float
    to_mm: float
    height_um: float
    """+: beyond it the face stands proud."""
    expanded_um: float
    hangs_on: OneReading | None
    """The one reading that it hangs on, if it does: a slip of that reading looks the same."""


@dataclass(frozen=True, eq=False, repr=False)
class FaceRipples(Shown):
    """What was found on one face, or on a vee sideways."""

    face: str
    kind: str
    """height | side"""
    steps: tuple[Step, ...]
    ripples: tuple[Wave, ...]
    from_mm: float
    to_mm: float
    """What was searched."""
    shortest_mm: float
    """No shorter ripple shows at these stations."""
    channel: Channel = field(metadata=KEPT_INSIDE)


@dataclass(frozen=True, eq=False, repr=False)
class Ripples(Shown):
    """All faces."""

    faces: tuple[FaceRipples, ...]
    not_searched: Mapping[str, str]
    """Faces that could not be, and why."""
    warnings: tuple[Fact, ...]
    assumptions: tuple[Assumption, ...]
    joints_mm: tuple[float, ...] = field(metadata=KEPT_INSIDE, default=())
    """Where pieces of the bed meet: nothing is drawn over them."""


def ripples(bed_map: BedMap, faces: Sequence[str] = ()) -> Ripples:
    """Search faces for steps and ripples; one smooth face in a hundred raises an alarm.

    Parameters
    ----------
    bed_map : BedMap
    faces : sequence of str
        All by default.

    Raises
    ------
    AnalysisError
        Where a face is not in bed.toml.
    """
    for face in faces:
        bed_map.bed.described(face)
    channels, not_known = known_channels(bed_map)
    found = []
    for channel in channels:
        count = channel.station_mm.size
        least = least_stations(2 * len(_joints_inside(bed_map, channel)))
        if not least <= count <= MOST_STATIONS:
            not_known[channel.face] = f"{count} heights, {least} to {MOST_STATIONS} wanted"
        elif not faces or channel.face in faces:
            found.append(_searched(bed_map, channel))
    return Ripples(
        faces=tuple(found),
        not_searched={face: why for face, why in not_known.items() if not faces or face in faces},
        warnings=tuple(bed_map.warnings),
        assumptions=assumptions(bed_map, faces or None),
        joints_mm=bed_map.bed.joints_mm,
    )


def steps_found(bed_map: BedMap, face: str) -> tuple[Step, ...]:
    """Steps on one face that noise does not explain; none where it cannot be searched."""
    return tuple(
        step for each in ripples(bed_map, [face]).faces if each.kind == "height" for step in each.steps
    )


def _joints_inside(bed_map: BedMap, channel: Channel) -> list[float]:
    """Declared joints with two stations or more on either side."""
    return [mm for mm in bed_map.bed.joints_mm if channel.station_mm[1] < mm < channel.station_mm[-2]]


def _searched(bed_map: BedMap, channel: Channel) -> FaceRipples:
    x, inside = channel.station_mm, _joints_inside(bed_map, channel)
    known = np.hstack([joint_columns(x, mm) for mm in inside]) if inside else None
    blind = bed_map.read(channel.face).blind_wavelengths_mm
    found = find_features(x, channel.height_um, channel.covariance_um2, known=known, blind_mm=blind)
    return FaceRipples(
        face=channel.face,
        kind=channel.kind,
        steps=tuple(_step(bed_map, channel, each) for each in found if each.kind == "step"),
        ripples=tuple(
            Wave(each.wavelength_mm, each.height_um, 2 * each.standard_uncertainty_um, each.crest_mm)
            for each in found
            if each.wavelength_mm is not None and each.crest_mm is not None
        ),
        from_mm=float(x[0]),
        to_mm=float(x[-1]),
        shortest_mm=2.2 * float(np.median(np.diff(x))),
        channel=channel,
    )


def _step(bed_map: BedMap, channel: Channel, found: Feature) -> Step:
    assert found.rows is not None
    return Step(
        found.from_mm,
        found.to_mm,
        found.height_um,
        2 * found.standard_uncertainty_um,
        hangs_on(bed_map, channel, found.rows),
    )
