"""The piece of a bed beyond a joint as a body: how it lies by all its faces, and what closes the joint.

A piece beyond a joint at x_j lies, against the one before it, higher by s, pitched by κ, rolled by ρ,
to the rear by y and yawed by ψ: common to all its faces.  A face at p across with the upward part u of
its normal shows there a step u (s + ρ p) and a kink u κ; a face that looks sideways, or a vee sideways,
y and ψ.  What a face shows besides is its own.  To close a joint the piece is moved by

    -(s + κ (x - x_j) + ρ p) upwards,    -(y + ψ (x - x_j)) to the rear

Derived.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc

from acquire.model.bed import Bed
from acquire.model.units import MM_PER_M
from analysis.answers.channels import Channel

CHANCE = 0.01


@dataclass(frozen=True, eq=False)
class Body:
    """The piece beyond a joint, as rows over all steps and kinks."""

    at_mm: float
    members: tuple[int, ...]
    names: tuple[str, ...]
    """Of up, pitch, roll, rear, yaw those that are told."""
    rows: NDArray[np.float64]
    value: NDArray[np.float64]
    factor: float
    """What the variances are enlarged by, because the faces do not move as one body."""
    degrees: int
    p_value: float
    left: NDArray[np.float64]
    """What is left of the members' steps and kinks, shape (2 m,)."""
    left_covariance: NDArray[np.float64]


def body_beyond(
    at_mm: float, bed: Bed, members: Mapping[int, Channel], value: NDArray, covariance: NDArray
) -> Body:
    """The piece beyond a joint, by least squares of the steps and kinks of its faces there.

    Parameters
    ----------
    at_mm : float
    bed : Bed
    members : mapping
        Which of all steps and kinks are of faces at this joint, and of which channel each is.
    value, covariance : array, shape (2 k,), (2 k, 2 k)
        Steps (µm) and kinks (µm/m) of all joints, each followed by its kink.
    """
    design, names = _motions(bed, list(members.values()))
    where = np.concatenate([[2 * i, 2 * i + 1] for i in members])
    part = covariance[np.ix_(where, where)]
    part = part + 1e-12 * max(float(np.trace(part)), 1e-12) * np.eye(len(part))
    weight = np.linalg.inv(part)
    spread = np.linalg.inv(design.T @ weight @ design)
    inverse = spread @ design.T @ weight
    rows = np.zeros((len(names), value.size))
    rows[:, where] = inverse
    left = value[where] - design @ (inverse @ value[where])
    degrees = len(where) - len(names)
    chi_square = float(left @ weight @ left)
    p_value = float(chdtrc(degrees, chi_square)) if degrees else 1.0
    factor = max(chi_square / degrees, 1.0) if degrees and p_value < CHANCE else 1.0
    left_covariance = part - design @ spread @ design.T
    return Body(
        at_mm, tuple(members), names, rows, rows @ value, factor, degrees, p_value, left, left_covariance
    )


def _motions(bed: Bed, channels: Sequence[Channel]) -> tuple[NDArray, tuple[str, ...]]:
    """What each motion of the piece makes of each step and kink; columns that are told."""
    names = ("up", "pitch", "roll", "rear", "yaw")
    design = np.zeros((2 * len(channels), len(names)))
    across = [bed.faces[channel.face].across_mm for channel in channels]
    for i, channel in enumerate(channels):
        face = bed.faces[channel.face]
        to_rear, up = (1, 0) if channel.kind == "side" else (face.rearward, face.upward)
        design[2 * i, [0, 3]] = up, to_rear
        design[2 * i, 2] = up * (across[i] or 0.0) / MM_PER_M
        design[2 * i + 1, [1, 4]] = up, to_rear
    level = {p for p, row in zip(across, design[::2], strict=True) if row[0]}
    is_told = np.any(design, axis=0)
    is_told[2] = len(level) > 1 and None not in level
    return design[:, is_told], tuple(name for name, told in zip(names, is_told, strict=True) if told)


def closing(
    bodies: Sequence[Body], mm: float, across: float, shift: str, tilt: str, roll: str = ""
) -> NDArray[np.float64] | None:
    """-(s + κ (x - x_j) + ρ p) over all joints before a place, as a row; None where a shift is not told."""
    total = np.zeros_like(bodies[0].rows[0])
    for body in bodies:
        rows = dict(zip(body.names, body.rows, strict=True))
        if shift not in rows:
            return None
        total -= rows[shift] + (mm - body.at_mm) / MM_PER_M * rows[tilt]
        total -= across / MM_PER_M * rows.get(roll, 0.0)
    return total
