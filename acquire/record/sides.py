"""What is read, and along what: the two sides of a reading held against the quantity and each other.

Which normals look at each other, and what a reference can guide, is worked out here.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from acquire.model.bed import Bed, Face, Instrument, sense_of
from acquire.model.errors import EntryError
from acquire.model.reference import CARRIAGE, Reference


@dataclass(frozen=True)
class Wanted:
    """What somebody asked for, as typed; `make_setup` says whether it can be measured."""

    instrument: str
    face: str | None = None
    across: tuple[str, ...] | None = None
    """(FRONT, REAR) or ("carriage",) of a roll instrument."""
    reference: str | None = None
    other: str | None = None
    inside: bool = False
    direction: str = "forward"
    mode: str = ""
    turned: bool = False
    turned_over: bool = False
    same_zero_as: int | None = None
    unit: str | None = None
    position: str = "file"
    standing: str | None = None
    acceleration_corrected: bool = True


def across(bed: Bed, instrument: Instrument, wanted: Wanted) -> tuple[str | None, str | None]:
    """Front and rear face of a roll instrument; none of any other."""
    if not instrument.measures.is_across:
        if wanted.across is not None:
            raise EntryError(
                "--across",
                f"found {instrument.name}, which reads {instrument.quantity}",
                "a roll instrument, or a level",
                "name the one FACE that it reads",
            )
        return None, None
    if wanted.across is None or wanted.face is not None:
        raise EntryError(
            f"instrument {instrument.name!r}",
            "found a roll instrument" + ("" if wanted.face is None else f" on the one face {wanted.face!r}"),
            "the two faces that it bridges: --across FRONT REAR, or --across carriage",
        )
    if wanted.across[0] == CARRIAGE:
        return carriage_ways(bed, "--across carriage")
    if len(wanted.across) != 2:
        raise EntryError("--across", f"found {' '.join(wanted.across)!r}", "FRONT REAR, or carriage")
    return wanted.across[0], wanted.across[1]


def carriage_ways(bed: Bed, where: str) -> tuple[str, str]:
    """The two ways that the carriage rides, or a refusal where bed.toml does not say."""
    front, rear = bed.carriage_ways()
    if front is None or rear is None:
        raise EntryError(
            where,
            "found no two ways that the carriage rides",
            'one face with carriage = "front" and one with carriage = "rear"',
            "add them to bed.toml",
        )
    return front, rear


def _known_face(bed: Bed, name: str | None, where: str) -> Face:
    if name is None:
        raise EntryError(where, "found no face", one_of(bed.faces), "name the face")
    if name not in bed.faces:
        raise EntryError(f"face {name!r}", "found no such face in bed.toml", one_of(bed.faces))
    return bed.faces[name]


def _nothing_else(wanted: Wanted, quantity: str, *names: str) -> None:
    """Refuse options that mean nothing for this quantity."""
    for name in names:
        value = getattr(wanted, name)
        if value:
            raise EntryError(
                f"--{name}",
                f"found {value if value is not True else 'it'}, for readings of {quantity}",
                "no such option",
            )


def _check_slope(bed: Bed, instrument: Instrument, wanted: Wanted) -> None:
    _nothing_else(wanted, "slope", "reference", "other", "inside")
    if wanted.face == CARRIAGE:
        carriage_ways(bed, "face 'carriage'")
        return
    face = _known_face(bed, wanted.face, f"instrument {instrument.name!r}")
    if not face.upward and instrument.gravity and not bed.called.is_upright:
        raise EntryError(
            f"face {face.id!r}",
            f"found that it looks to the {face.normal}, and a level sees only up and down",
            'a face that looks up or down, or a guide that stands (stands = "upright")',
            "read it with an indicator, or with an autocollimator (gravity = false)",
        )


def _check_roll(bed: Bed, instrument: Instrument, wanted: Wanted) -> None:
    _nothing_else(wanted, "roll", "reference", "other", "inside")
    front_id, rear_id = across(bed, instrument, wanted)
    front, rear = (_known_face(bed, name, "--across") for name in (front_id, rear_id))
    where = f"--across {front.id} {rear.id}"
    if bed.called.is_upright and instrument.gravity:
        raise EntryError(
            where,
            "found a level across a guide that stands: it turns about the plumb line, which no level sees",
            "a level along each face, or an indicator from one to the other",
        )
    if front.id == rear.id:
        raise EntryError(where, "found one face twice", "two faces")
    if not front.upward or front.normal != rear.normal:
        raise EntryError(
            where,
            f"found that they look {front.normal} and {rear.normal}",
            "two faces that both look up, or both down",
        )
    _check_gauge(bed, front, rear, where)


def _check_gauge(bed: Bed, front: Face, rear: Face, where: str) -> None:
    gauge_mm = bed.gauge_mm(front.id, rear.id)
    if gauge_mm is None:
        raise EntryError(
            where, "found no distance between them", "a different across_mm for each", "add it to bed.toml"
        )
    if gauge_mm < 0:
        raise EntryError(
            where, f"found {front.id} behind {rear.id} (across_mm)", "FRONT first, then REAR", "swap the two"
        )


def _check_offset(bed: Bed, instrument: Instrument, wanted: Wanted) -> None:
    _nothing_else(wanted, "offset", "other", "inside")
    if wanted.face == CARRIAGE:
        raise EntryError(
            "face 'carriage'", "found an indicator", "what it touches as FACE", "give --reference carriage"
        )
    if wanted.face is None:
        _known_face(bed, None, f"instrument {instrument.name!r}")
    if not wanted.reference:
        raise EntryError(
            f"instrument {instrument.name!r}",
            "found no --reference, and an indicator carried on A and reading B gives B − A, never B alone",
            "what carries it: FACE | A+B | carriage | straightedge:NAME | wire:NAME | line",
        )
    touched = _faces_of(bed, Reference.parse(str(wanted.face)))
    carriers = _faces_of(bed, Reference.parse(wanted.reference))
    if not touched and not carriers:
        raise EntryError(
            f"{wanted.face} along {wanted.reference}",
            "found no face of the bed",
            "a face on one of the sides",
        )
    if touched and carriers:
        _check_guiding(bed, touched[0], carriers, wanted.reference)


def _faces_of(bed: Bed, side: Reference) -> tuple[Face, ...]:
    """The faces of one side, one or two; none of a straightedge, wire or line, if those are described."""
    if side.is_carriage:
        names: tuple[str, ...] = carriage_ways(bed, "--reference carriage")
    elif side.is_straight:
        _check_artefact(bed, side)
        names = ()
    else:
        names = side.names
    return tuple(_known_face(bed, name, "--reference") for name in names)


def _check_artefact(bed: Bed, side: Reference) -> None:
    known = {"straightedge": bed.straightedges, "wire": bed.wires}.get(side.kind)
    if known is not None and side.name not in known:
        needed = one_of(known, f"one [{side.kind}s.NAME]")
        raise EntryError(repr(str(side)), f"found no such {side.kind} in bed.toml", needed)


def _check_guiding(bed: Bed, face: Face, carriers: tuple[Face, ...], reference: str) -> None:
    where = f"{face.id} along {reference}"
    if any(carrier.id == face.id for carrier in carriers) and len(carriers) == 1:
        raise EntryError(where, "found the face as its own reference", "another face, or line")
    guiding = [carrier for carrier in carriers if guides(carrier, face)]
    enough = len(carriers) if face.upward else 1
    if len(guiding) < enough:
        blind = next(carrier for carrier in carriers if carrier not in guiding)
        raise EntryError(
            where,
            f"found {blind.id} (looks {blind.normal}) at right angles to {face.id} (looks {face.normal}): "
            "it does not guide the indicator in that direction",
            "a reference that looks the same way or the opposite way, or a vee, which guides sideways too",
        )
    if len(carriers) == 2:
        _check_interpolation(face, carriers, where)


def guides(carrier: Face, face: Face) -> bool:
    """Whether what rides `carrier` is held in the direction in which `face` is read.

    Examples
    --------
    >>> side = Face("side", "front")
    >>> guides(Face("flat", "up"), side), guides(Face("vee", "up", "vee"), side)
    (False, True)
    """
    return sense_of(carrier, face) != 0 or (carrier.is_vee and carrier.upward != 0)


def _check_interpolation(face: Face, carriers: tuple[Face, ...], where: str) -> None:
    """Two carriers hold the indicator at a height interpolated across the bed: their places are needed."""
    unplaced = [item.id for item in (*carriers, face) if item.across_mm is None]
    if unplaced:
        raise EntryError(
            where, f"found no across_mm of {', '.join(unplaced)}", "where each lies across the bed"
        )
    if math.isclose(carriers[0].across_mm or 0.0, carriers[1].across_mm or 0.0):
        raise EntryError(where, "found both references at one across_mm", "two places across the bed")


def _check_span(bed: Bed, instrument: Instrument, wanted: Wanted) -> None:
    _nothing_else(wanted, "span", "reference")
    face = _known_face(bed, wanted.face, f"instrument {instrument.name!r}")
    if wanted.other is None:
        if not face.is_vee or wanted.inside:
            raise EntryError(
                f"instrument {instrument.name!r}",
                f"found a span on {face.id} alone",
                "--other FACE2 (only over a roller in a vee there is no second face)",
            )
        return
    other = _known_face(bed, wanted.other, "--other")
    where = f"span {face.id} to {other.id}"
    if sense_of(face, other) != -1:
        raise EntryError(
            where,
            f"found that they look {face.normal} and {other.normal}",
            "two faces that look away from each other, or at each other (--inside)",
        )
    _check_inside(face, other, wanted.inside, where)


def _check_inside(face: Face, other: Face, inside: bool, where: str) -> None:
    """Hold `--inside` against where two side faces lie; top and underside have no such place."""
    if face.upward or face.across_mm is None or other.across_mm is None:
        return
    looking_front, looking_rear = (face, other) if face.normal == "front" else (other, face)
    look_away = (looking_front.across_mm or 0.0) < (looking_rear.across_mm or 0.0)
    if look_away == inside:
        raise EntryError(
            where,
            f"found that they look {'away from' if look_away else 'at'} each other (across_mm)",
            "no --inside" if look_away else "--inside",
            "correct the option, or across_mm in bed.toml",
        )


CHECKS = {"slope": _check_slope, "roll": _check_roll, "offset": _check_offset, "span": _check_span}
"""One a measuring quantity: which faces it needs, and which it can read."""


def check_sides(bed: Bed, instrument: Instrument, wanted: Wanted) -> None:
    """Refuse faces and references that the instrument cannot be used on.

    Raises
    ------
    EntryError
        With what was found, and what would do.
    """
    CHECKS[instrument.quantity](bed, instrument, wanted)


def one_of(names: Iterable[str], otherwise: str = "one") -> str:
    """The names as a choice, the first dozen of many."""
    names = list(names)
    if not names:
        return otherwise + " (bed.toml describes none)" if otherwise != "one" else "none is described"
    shown = " | ".join(names[:12])
    return shown + (f" | ... ({len(names)} in all)" if len(names) > 12 else "")
