"""How this bed answers its feet: by the model of a stiff bed, or as it was read when each foot was turned.

A level across the ways is read at a few stations, one foot is turned, and it is read again:

    R_i = (after - before) / lift_i,   u(R_i) = √2 u / lift_i

Roll at the pairs of feet is fitted to it, linear from pair to pair.  A level across tells no
bend: for that the stiff bed is kept.  A foot whose turn nothing shows, or that answers otherwise
upwards than downwards, hangs or is not snug.
"""

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from acquire.model.bed import Bed, Foot
from acquire.model.errors import AnalysisError
from analysis.answers.feet_moves import pair_rows, shape_rows, stiff_response
from analysis.answers.section import feet_by_station, pairs_mm, twist_rows

STIFF, MEASURED, LEARNED = "stiff bed", "measured", "learned"
MODEL_ERROR = 0.3
"""Standard share by which a stiff bed's answer errs: feet and floors give, by finite elements a quarter."""
HANGING = 3.0
"""Standard uncertainties that the answer to a turn must exceed, and its two ways may differ by."""
_KEYS = "foot, turns, before_um_per_m, after_um_per_m"


@dataclass(frozen=True, eq=False)
class Response:
    """What each µm of lift does: columns are the feet, pair by pair along the bed."""

    model: str
    roll: np.ndarray
    """Of the pairs, µm/m per µm, shape (F, feet)."""
    shapes: np.ndarray
    """As `stiff_response` orders them, shape (feet - 3, feet)."""
    covariance: np.ndarray | None = None
    """Of the rolls of the pairs for each foot, shape (feet, F, F); None by the model."""
    factor_covariance: np.ndarray | None = None
    """Of the factors by which feet answer otherwise, shape (feet, feet); where learned."""

    def roll_variance(self, rows: np.ndarray, lift_um: np.ndarray) -> np.ndarray:
        """Variance of rows over the rolls of the pairs once the feet are lifted, from the response alone."""
        if self.factor_covariance is not None:
            each = rows @ self.roll * lift_um
            return np.asarray(np.einsum("ki,ij,kj->k", each, self.factor_covariance, each))
        if self.covariance is None:
            return np.asarray((MODEL_ERROR * rows @ self.roll @ lift_um) ** 2)
        each = np.einsum("kp,ipq,kq->ki", rows, self.covariance, rows)
        return np.asarray(each @ lift_um**2)


def stiff(bed: Bed) -> Response:
    """The response by the model."""
    pairs = feet_by_station(bed)
    return Response(STIFF, pair_rows(pairs)[1], stiff_response(pairs))


def measured_response(path: Path, bed: Bed) -> Response:
    """The response as it was read, from a file.

    The file, with a table for every foot (two with turns up and down show a foot that hangs)::

        station_mm = [100, 800, 1500]
        standard_uncertainty_um_per_m = 2
        [[response]]
        foot = "front-head"
        turns = 0.05
        before_um_per_m = [0, 3, 12]
        after_um_per_m = [-250, -122, 13]

    Raises
    ------
    AnalysisError
        Where the file is not of this form, a foot is missing or does not bear, or the stations do
        not tell the roll at every pair.
    """
    try:
        written = tomllib.loads(path.read_text(encoding="utf-8"))
        station = np.array(written["station_mm"], float)
        sure = float(written["standard_uncertainty_um_per_m"])
        turned = [dict(each) for each in written["response"]]
    except (OSError, UnicodeDecodeError, KeyError, TypeError, ValueError) as why:
        raise _no_response(str(path), f"not a file of responses ({why})") from why
    return _response(str(path), bed, station, sure, turned)


def _response(
    where: str, bed: Bed, station: np.ndarray, sure: float, turned: Sequence[Mapping[str, Any]]
) -> Response:
    pairs, at = feet_by_station(bed), pairs_mm(bed)
    if station.ndim != 1 or not np.isfinite(station).all() or not sure > 0 or not np.isfinite(sure):
        raise _no_response(where, "stations or uncertainty that are no numbers above 0")
    rows = twist_rows(at, station)
    if np.linalg.matrix_rank(rows, tol=1e-3) < len(at):
        places = ", ".join(f"{mm:g}" for mm in at)
        raise AnalysisError(
            where, f"stations {', '.join(f'{mm:g}' for mm in station)} mm",
            f"stations that tell the roll at every pair of feet, at {places} mm", "read there too",
        )  # fmt: skip
    inverse = np.linalg.pinv(rows)
    roll, covariance = [], []
    for foot in (foot for pair in pairs for foot in pair):
        mine = [_answer(where, foot, each, station.size) for each in turned if each.get("foot") == foot.id]
        if not mine:
            raise AnalysisError(where, f"no [[response]] of {foot.id}", "one for every foot in bed.toml")
        variance = _refuse_hanging(where, foot.id, mine, sure)
        roll.append(inverse @ np.mean([answer for _, answer in mine], axis=0))
        covariance.append(variance * inverse @ inverse.T)
    whole = np.array(roll).T
    shapes = stiff_response(pairs)
    shapes[: len(at) - 1] = shape_rows(at)[0] @ whole
    return Response(MEASURED, whole, shapes, np.array(covariance))


def _answer(where: str, foot: Foot, each: Mapping[str, Any], count: int) -> tuple[float, np.ndarray]:
    """Lift in µm, and change of roll per µm at the stations."""
    try:
        lift = float(each["turns"]) * float(foot.um_per_turn or 0.0)
        before, after = (np.array(each[f"{when}_um_per_m"], float) for when in ("before", "after"))
    except (KeyError, TypeError, ValueError) as why:
        raise AnalysisError(where, f"response of {foot.id}: {why}", _KEYS) from why
    change = after - before if before.shape == after.shape == (count,) else np.array([np.nan])
    if not np.isfinite(change).all() or not np.isfinite(lift) or lift == 0:
        raise AnalysisError(
            where, f"response of {foot.id} with {before.size} and {after.size} readings, {lift:g} µm of lift",
            f"{count} numbers each, turns other than 0, and um_per_turn of the foot in bed.toml",
        )  # fmt: skip
    return lift, change / lift


def _refuse_hanging(where: str, foot: str, mine: Sequence[tuple[float, np.ndarray]], sure: float) -> float:
    """The variance of the mean answer; refused where a foot does not bear."""
    doubt = np.array([np.sqrt(2) * sure / abs(lift) for lift, _ in mine])
    for (_, answer), spread in zip(mine, doubt, strict=True):
        if np.max(np.abs(answer)) < HANGING * spread:
            raise AnalysisError(
                where, f"turning {foot} shows nothing beyond the uncertainty of the readings",
                "an answer of several times that", "it hangs, or was turned too little: set it snug first",
            )  # fmt: skip
    for (_, one), spread in zip(mine[1:], doubt[1:], strict=True):
        if np.max(np.abs(one - mine[0][1])) > HANGING * np.hypot(spread, doubt[0]):
            raise AnalysisError(
                where, f"{foot} answers otherwise in one turn than in the other", "the same up and down",
                "the foot hangs at one of them: set it snug first, and turn less",
            )  # fmt: skip
    return float(np.sum(doubt**2)) / len(doubt) ** 2


def _no_response(where: str, found: str) -> AnalysisError:
    return AnalysisError(
        where,
        found,
        f"station_mm, standard_uncertainty_um_per_m and for every foot a table [[response]] with {_KEYS}",
        "write it so",
    )
