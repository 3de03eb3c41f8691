"""What a traverse may be: instrument, face and reference held against each other before anything is read.

`record`, `enter` and `import` share these checks, so that the three refuse the same things in the
same words. Which faces a quantity needs, and what a reference can guide, stands in `sides`.
"""

from pathlib import Path
from typing import Any

from acquire.model.bed import Bed, Instrument, units_read_by
from acquire.model.errors import EntryError
from acquire.model.position import DIRECTIONS, MODES, Position
from acquire.model.quantity import MEASURING, POSITION, ROLL
from acquire.model.reference import CARRIAGE, Reference
from acquire.model.traverse import Setup
from acquire.model.units import unit_name
from acquire.record.sides import Wanted, across, check_sides, one_of
from acquire.store import files_of, next_number

AS_ASKED = (
    "other", "inside", "position", "direction", "turned", "turned_over", "same_zero_as",
    "acceleration_corrected", "standing",
)  # fmt: skip
"""Fields of `Wanted` that a setup keeps as they are."""


def make_setup(
    bed: Bed, survey: Path | str, *, source: str = "record", created_utc: str = "", **asked: Any
) -> Setup:
    """The setup of a new traverse, or a refusal that says why it cannot be measured so.

    `asked` are the fields of `Wanted`: instrument, face or across, reference, direction...

    A roll instrument across the carriage gets the carriage's two ways as `front` and `rear`,
    and "carriage" as `reference`: what it lies on.  The number is the next free one; who
    creates the journal takes a later one where it is gone meanwhile.

    Raises
    ------
    EntryError
        If a name is not known, the quantity does not fit the face, or the reference does
        not guide the instrument in the direction in which the face is read.
    """
    wanted = Wanted(**asked)
    instrument = _instrument(bed, wanted)
    if wanted.across is not None:
        instrument = instrument.as_laid(ROLL.name)
    _check_choices(bed, instrument, wanted)
    front, rear = across(bed, instrument, wanted)
    check_sides(bed, instrument, wanted)
    on_carriage = wanted.across is not None and wanted.across[0] == CARRIAGE
    setup = Setup(
        instrument=instrument.name,
        quantity=instrument.quantity,
        bed_toml=bed.text,
        number=next_number(survey),
        source=source,
        face=None if instrument.measures.is_across else wanted.face,
        front=front,
        rear=rear,
        reference=CARRIAGE if on_carriage else _as_kept(wanted.reference),
        mode_asked=wanted.mode,
        unit=unit_name(wanted.unit) if wanted.unit else None,
        place_unit="in" if source == "import" and bed.is_inch else None,
        created_utc=created_utc,
        state=dict(bed.state),
        **{name: getattr(wanted, name) for name in AS_ASKED},
    )
    _check_same_zero(survey, setup)
    return setup


def _as_kept(reference: str | None) -> str | None:
    """`A + B` as `A+B`."""
    return str(Reference.parse(reference)) if reference else None


def setup_warnings(setup: Setup) -> tuple[str, ...]:
    """What is allowed but ought to be known before the readings are believed."""
    instrument, words = setup.described, []
    if instrument.footprint == "full":
        words.append(
            f"{instrument.name} lies on its whole length (footprint full): "
            "it rocks on high spots and is no measure of the slope between two feet"
        )
    if setup.bed.instruments[instrument.name].quantity != instrument.quantity:
        words.append(
            f"{instrument.name} lies across, on parallels or a bridge: the end that looks away from "
            "station 0 when it lies along the bed must look to the rear now, or say --turned"
        )
    if instrument.seating_um is None:
        words.append(
            f"{instrument.name} has no seating_um in bed.toml: lifting and replacing it is not counted"
        )
    if not setup.state:
        words.append(
            "bed.toml has no [state] (how the bed stands, what is on it, how warm): "
            "before and after scraping cannot be compared without it"
        )
    return tuple(words)


def _instrument(bed: Bed, wanted: Wanted) -> Instrument:
    if wanted.instrument not in bed.instruments:
        measuring = [i.name for i in bed.instruments.values() if i.measures.is_measuring]
        raise EntryError(
            f"instrument {wanted.instrument!r}",
            "found no such instrument in bed.toml",
            one_of(measuring, "a measuring instrument"),
            "name one of these or describe it in bed.toml",
        )
    instrument = bed.instruments[wanted.instrument]
    if not instrument.measures.is_measuring:
        raise EntryError(
            f"instrument {instrument.name!r}",
            f"found that it reads {instrument.quantity}",
            f"one that reads {' | '.join(MEASURING)}",
        )
    return instrument


def _check_choices(bed: Bed, instrument: Instrument, wanted: Wanted) -> None:
    _check_words(wanted)
    _check_unit(instrument, wanted)
    if wanted.turned and not instrument.measures.is_angle:
        raise EntryError(
            "--turned", f"found an instrument that reads {instrument.quantity}", "a level, turned end for end"
        )
    sides = [Reference.parse(side) for side in (wanted.face, wanted.reference) if side]
    if wanted.turned_over and not any(side.kind == "straightedge" for side in sides):
        raise EntryError("--turned-over", "found no straightedge", "straightedge:NAME as face or reference")
    _check_position(bed, wanted)
    if wanted.standing is not None:
        _check_standing(bed, instrument, wanted.standing)


def _check_words(wanted: Wanted) -> None:
    if wanted.direction not in DIRECTIONS:
        raise EntryError("--direction", f"found {wanted.direction!r}", one_of(DIRECTIONS))
    if wanted.mode not in ("", *MODES):
        raise EntryError("--mode", f"found {wanted.mode!r}", one_of(MODES))


def _check_unit(instrument: Instrument, wanted: Wanted) -> None:
    if wanted.unit is None:
        return
    unit = unit_name(wanted.unit)
    allowed = units_read_by(instrument)
    if unit not in allowed:
        raise EntryError(
            f"--unit {wanted.unit}", f"found no unit that {instrument.name} can be read in", one_of(allowed)
        )


def _check_position(bed: Bed, wanted: Wanted) -> None:
    scale = Position.parse(wanted.position).scale
    scales = [i.name for i in bed.instruments.values() if i.measures is POSITION]
    if scale is not None and scale not in scales:
        raise EntryError(
            f"--position {wanted.position}",
            "found no such position instrument in bed.toml",
            one_of(scales, "one"),
        )


def _check_standing(bed: Bed, instrument: Instrument, name: str) -> None:
    standing = bed.instruments.get(name)
    quantity = instrument.quantity
    if standing is None or standing.as_laid(quantity).quantity != quantity or name == instrument.name:
        raise EntryError(
            f"--standing {name}",
            "found no second instrument of that name reading the same quantity",
            f"another {instrument.quantity} instrument, standing still",
        )


def _check_same_zero(survey: Path | str, setup: Setup) -> None:
    if setup.same_zero_as is None:
        return
    from acquire.store import read_traverse  # only here: it brings the whole of HDF5

    where, found = f"--same-zero-as {setup.same_zero_as}", files_of(survey)
    if setup.same_zero_as not in found:
        needed = one_of(map(str, found)) if found else "an earlier traverse, and there is none"
        raise EntryError(where, "found no such traverse in the survey", needed)
    earlier = read_traverse(found[setup.same_zero_as]).setup
    if earlier.instrument != setup.instrument:
        raise EntryError(
            where,
            f"found that {earlier.instrument} made it",
            f"a traverse of {setup.instrument}: two instruments share no zero",
        )
    if earlier.quantity != setup.quantity:
        raise EntryError(
            where,
            f"found that {setup.instrument} read {earlier.quantity} in it, and {setup.quantity} now",
            "a traverse on which it lay the same way: a bridge has a zero of its own",
        )
