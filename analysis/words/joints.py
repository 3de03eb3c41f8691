"""How the pieces of a bed meet, and what would close the joints: in words."""

from collections.abc import Callable
from typing import TYPE_CHECKING

from acquire.model.units import length_text
from analysis.words.assumptions import taken_and_notes
from analysis.words.facts import sentences
from analysis.words.known import height_bound, height_known, line_name, slope_bound, slope_known
from analysis.words.tables import table

if TYPE_CHECKING:
    from analysis.answers.joints import FaceAtJoint, Found, Joint, Joints, PieceMove

Said = tuple[Callable[[float, float, bool], str], Callable[[float, bool], str]]
HEIGHT: Said = (height_known, height_bound)
SLOPE: Said = (slope_known, slope_bound)
CAUTION = (
    "Caution: slacken the joint before the piece is moved, small moves, every foot kept bearing, never a "
    "limb between or underneath; rated gear for lifting."
)


def joints_words(found: "Joints", inch: bool) -> list[str]:
    """Each joint: how the piece beyond it lies, face by face, then what to move by how much."""
    lines: list[str] = []
    for joint in found.joints:
        lines += [*_joint_words(joint, inch), ""]
    lines += _move_words(found, inch)
    lines += [f"{face} takes no part: {why.rstrip('.')}." for face, why in found.not_known.items()]
    return [*lines, *taken_and_notes(found.assumptions, found.warnings)]


def _joint_words(joint: "Joint", inch: bool) -> list[str]:
    at = length_text(joint.at_mm, inch)
    parts = [
        *_part(joint.up_um, ("high", "low"), HEIGHT, inch),
        *_part(joint.rear_um, ("to the rear", "to the front"), HEIGHT, inch),
        *_part(joint.pitch_um_per_m, ("rising away", "falling away"), SLOPE, inch),
        *_part(joint.yaw_um_per_m, ("running off to the rear", "running off to the front"), SLOPE, inch),
        *_part(joint.roll_um_per_m, ("rear high", "front high"), SLOPE, inch),
    ]
    lines = [f"Joint at {at}: the piece beyond lies {'; '.join(parts)}."]
    if joint.may_be_a_bend:
        lines.append(
            "  Fewer than 8 stations on one side hardly tell a kink, nor all of a step, from a bend that "
            "runs on across the joint: where a face has so few its ± is wide. Stations closer together, or "
            "a straightedge on each piece, would tell."
        )
    if joint.is_one_body is False:
        lines.append(
            "  The faces do not move as one body: what is left of a step is the face's own, worn or made so. "
            "The ± is enlarged for it."
        )
    lines += [f"  {words}" for each in joint.faces for words in _face_words(each, inch)]
    return [*lines, *(f"  Not known: {words}." for words in sentences(joint.cannot_tell))]


def _part(found: "Found | None", names: tuple[str, str], said: Said, inch: bool) -> list[str]:
    known, bound = said
    if found is None:
        return []
    if not found.is_seen:
        sure = bound(found.expanded, inch)
        return [f"neither {names[0]} nor {names[1]} within what could be seen (± {sure})"]
    return [f"{names[found.value < 0]} by {known(abs(found.value), found.expanded, inch)}"]


def _face_words(each: "FaceAtJoint", inch: bool) -> list[str]:
    step = height_known(each.step_um.value, each.step_um.expanded, inch)
    kink = slope_known(each.kink_um_per_m.value, each.kink_um_per_m.expanded, inch)
    words = f"{line_name(each.face, each.kind)}: step {step}, kink {kink}"
    own = each.own_step_um
    if own is not None and own.is_seen:
        words += f"; of the step {height_known(own.value, own.expanded, inch)} is its own"
    lines = [f"{words}."]
    if each.hangs_on is not None:
        at = length_text(each.hangs_on.station_mm, inch)
        lines.append(
            f"  The step hangs on one reading, traverse {each.hangs_on.traverse} at {at}: a slip there looks "
            "the same. Read across the joint twice."
        )
    return lines


def _move_words(found: "Joints", inch: bool) -> list[str]:
    if not any(_is_seen(each) for each in found.moves):
        return ["Nothing to move that could be seen: leave the pieces as they lie."]
    is_feet = found.moves[0].is_foot
    what = "the feet beyond" if is_feet else "each piece beyond, as a body,"
    lines = [f"To close the joint, move {what}:"]
    rows = [(each.place, length_text(each.station_mm, inch), *_ways(each, inch)) for each in found.moves]
    heads = ("foot" if is_feet else "at", "station", "up or down", "sideways")
    return [*lines, *table(heads, rows), f"  {CAUTION}", "  Then read across the joint again.", ""]


def _is_seen(each: "PieceMove") -> bool:
    return any(part is not None and part.is_seen for part in (each.lift_um, each.rear_um))


def _ways(each: "PieceMove", inch: bool) -> tuple[str, str]:
    return (
        _way(each.lift_um, ("up", "down"), inch),
        _way(each.rear_um, ("to rear", "to front"), inch),
    )


def _way(found: "Found | None", names: tuple[str, str], inch: bool) -> str:
    if found is None:
        return "not known"
    if not found.is_seen:
        return f"nothing seen (± {height_bound(found.expanded, inch)})"
    return f"{names[found.value < 0]} {height_known(abs(found.value), found.expanded, inch)}"
