"""How a bed answers its feet, learned from two surveys and the moves between them.

Lifted by u the feet change the shapes of the bed by Σ k_i u_i S_i, S_i what a stiff bed would do.  Feet and
floor give, all alike and each by itself, so that beforehand

    k_i = 1 + c + e_i,    c ~ N(0, 0.25²),  e_i ~ N(0, 0.2²)      (together ± 0.32 a foot)

The change of shape between the surveys, by unworn places alone, with its covariance, gives the k by linear
least squares with that as prior.  Where the moves do not explain the change at all, a foot hangs or was not
moved as said.  Derived.
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc

from acquire.model.bed import Bed
from acquire.model.errors import AnalysisError
from analysis.adjust.bed_map import BedMap
from analysis.answers.bed_or_wear import FeetFit, feet_fit
from analysis.answers.feet_on_bed import feet_shapes
from analysis.answers.feet_response import LEARNED, Response, stiff
from analysis.answers.section import feet_by_station

ALL_ALIKE, EACH = 0.25, 0.2
"""Standard shares by which feet give together, and each by itself. By finite elements a quarter in all."""
CHANCE = 0.01


def learned_response(before: BedMap, now: BedMap, lift_um: Mapping[str, float]) -> Response:
    """The response of the feet after a round of moves.

    Parameters
    ----------
    before, now : BedMap
        Of the surveys before and after the moves.
    lift_um : mapping of foot to µm
        As the feet were moved, + up.

    Raises
    ------
    AnalysisError
        Where a foot is not described, none was moved, the unworn places do not tell the shapes both
        times, or the moves do not explain how the bed changed.
    """
    bed = now.bed
    feet = [foot.id for pair in feet_by_station(bed) for foot in pair]
    for name in lift_um:
        if name not in feet:
            raise AnalysisError(name, "found no such foot in bed.toml", ", ".join(feet))
    lift = np.array([lift_um.get(name, 0.0) for name in feet])
    if not lift.any():
        raise AnalysisError("feet", "no foot was moved between the surveys", "a move to learn from")
    shapes, covariance, told = _change(before, now, bed)
    model = stiff(bed)
    per_foot = (model.shapes * lift)[told]
    prior = ALL_ALIKE**2 * np.ones((len(feet), len(feet))) + EACH**2 * np.eye(len(feet))
    spread = per_foot @ prior @ per_foot.T + covariance
    left = shapes - per_foot.sum(axis=1)
    _refuse_unexplained(left, spread)
    gain = prior @ per_foot.T @ np.linalg.inv(spread)
    k = 1.0 + gain @ left
    return Response(
        LEARNED, model.roll * k, model.shapes * k, factor_covariance=prior - gain @ per_foot @ prior
    )


def _change(before: BedMap, now: BedMap, bed: Bed) -> tuple[NDArray, NDArray, NDArray]:
    """Change of the shapes that both surveys tell, its covariance, and which these are."""
    pairs, found = feet_by_station(bed), []
    for bed_map, when in ((before, "before"), (now, "after")):
        fit: FeetFit | None = feet_fit(bed_map)
        if fit is None:
            raise AnalysisError(
                f"feet {when} the move", "the unworn places do not tell what the feet have made",
                "unworn stretches and feet in bed.toml, measured both times",
            )  # fmt: skip
        found.append(feet_shapes(fit, pairs))
    (old, old_spread, old_told), (new, new_spread, new_told) = found
    told = old_told & new_told
    if not told.any():
        raise AnalysisError(
            "feet", "no shape of the bed is told by both surveys", "the same faces read both times"
        )
    parts = [
        spread[np.ix_(told[mine], told[mine])]
        for spread, mine in ((old_spread, old_told), (new_spread, new_told))
    ]
    return (new - old)[told], parts[0] + parts[1], told


def _refuse_unexplained(left: NDArray, spread: NDArray) -> None:
    chi_square = float(left @ np.linalg.solve(spread, left))
    if chdtrc(left.size, chi_square) < CHANCE:
        raise AnalysisError(
            "feet", "the bed did not answer as these moves can explain",
            "moves as they were made, and feet that all bear",
            "a foot hangs, or was not moved as said (--moved): set all snug and read again",
        )  # fmt: skip
