"""A round of scraping held against what it was to take: done, to do, overshot, and how much to cut next.

Asked a(x) = the share that was to be cut of the depth planned before; D(x) the whole depth; c(x) the metal
that came off by both surveys, known up to a line.  The line is the one by which c agrees best with what was
asked, c + line = k a + rest, so that an even depth or a straight taper beyond that shows in no survey:

    done d = c + line,    overshot = d - D where that exceeds its uncertainty
    error² = (Σ (d - a)² - Σ u²) / Σ a²

error is the relative error of the scraper, bias and scatter together, noise taken off.  Half of each depth a
round is right for scrapers that err by 30 to 50 %, seven tenths once the error is known to be below a
quarter (simulated: 33 stations, 30 to 70 µm worn, to 5 µm).
"""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from acquire.model.errors import AnalysisError
from acquire.model.places import SAME_PLACE_MM
from analysis.answers.face_change import FaceChange
from analysis.answers.history import before_and_after
from analysis.answers.joint_cut import Wishes
from analysis.answers.plan import FacePlan, plan_faces
from analysis.answers.rounds import SHARE, AfterRound
from analysis.answers.surveys import Survey
from analysis.linear.profile import COVERAGE_FACTOR, in_common, standard_uncertainty

LEAST_STATIONS = 3


def after_round(
    before: Survey, now: Survey, faces: Sequence[str], wishes: Wishes, share: float = SHARE
) -> Mapping[str, AfterRound]:
    """What the round between two surveys did on each face.

    Parameters
    ----------
    before, now : Survey
    faces : sequence of str
    wishes : Wishes
        As the plan before the round was made.
    share : float
        Of each depth, that was to be cut.

    Raises
    ------
    AnalysisError
        Where a face was not measured both times, or could not be planned before.
    """
    planned = plan_faces(before.map(), faces, wishes, across_joints=True)
    if planned.infeasible is not None:
        raise AnalysisError(
            str(before.folder), f"no plan of {' and '.join(faces)} as it was then fulfils these wishes",
            "those that the round was planned by", "`waylog plan` on that survey says which wishes clash",
        )  # fmt: skip
    found = before_and_after(before, now, faces, scraped=faces)
    changes = {each.face: each for each in found.faces}
    for face in faces:
        if face not in changes:
            raise AnalysisError(f"{face} after the round", found.not_compared[face], "measured both times")
    return {face: _compared(planned.plans[face], changes[face], share) for face in faces}


def _compared(plan: FacePlan, change: FaceChange, share: float) -> AfterRound:
    off = change.came_off_up_to_a_line
    planned = plan.removal.station_mm
    here, there = in_common(planned, off.station_mm, SAME_PLACE_MM)
    if here.size < LEAST_STATIONS:
        raise AnalysisError(plan.face, "fewer than three stations were measured both times", "three or more")
    whole = plan.removal.removal_um[here]
    done, spread = _as_asked(
        planned[here], off.height_um[there], off.covariance_um2[np.ix_(there, there)], whole
    )
    sure = standard_uncertainty(spread)
    over = done - whole
    taken, error, at_most = _error(share * whole, done, sure)
    return AfterRound(
        face=plan.face,
        station_mm=planned[here],
        asked_um=share * whole,
        done_um=done,
        expanded_um=COVERAGE_FACTOR * sure,
        overshot_um=np.where(over > COVERAGE_FACTOR * sure, over, 0.0),
        taken=taken,
        error=error,
        error_at_most=at_most,
    )


def _as_asked(
    station_mm: NDArray, off_um: NDArray, covariance: NDArray, asked: NDArray
) -> tuple[NDArray, NDArray]:
    """What came off, counted from the line by which it agrees best with what was asked, and its covariance.

    How much the scraper errs from place to place moves that line too, and is in the covariance.
    """
    away = (station_mm - station_mm.mean()) / np.ptp(station_mm)
    line = np.column_stack([np.ones(away.size), away])
    columns = np.column_stack([line, asked])
    to_line = np.linalg.pinv(columns)[:2]
    rows = np.eye(away.size) - line @ to_line
    left = off_um - columns @ (np.linalg.pinv(columns) @ off_um)
    scatter = max(float(left @ left) / max(away.size - 3, 1), 0.0)
    moved = line @ to_line
    return rows @ off_um, rows @ covariance @ rows.T + scatter * (moved @ moved.T)


def _error(asked: NDArray, done: NDArray, u: NDArray) -> tuple[float | None, float | None, float | None]:
    """How much was taken of what was asked, the relative error, and what it may be at most.

    Examples
    --------
    >>> asked = np.array([10.0, 20.0, 10.0])
    >>> [round(x, 2) for x in _error(asked, 1.2 * asked, np.zeros(3))]
    [1.2, 0.2, 0.2]
    """
    size, noise = float(asked @ asked), float(u @ u)
    if size <= 4 * noise:
        return None, None, None
    apart = float((done - asked) @ (done - asked))
    spread = np.sqrt(2 * float(np.sum(u**4)) + 4 * float(((done - asked) * u) @ ((done - asked) * u)))
    square, at_most = max(apart - noise, 0.0) / size, max(apart - noise + 2 * spread, 0.0) / size
    return float(asked @ done) / size, float(np.sqrt(square)), float(np.sqrt(at_most))
