"""Where metal came off between two measurements of a face.

Both heights are known up to a line only, so their difference is too, and a line through
all of it would show half of every cut as a rise beside it.  Scraping takes metal off and
adds none: the change is therefore taken from the line that leaves the fewest places beside
it, where one that stands above counts as much as several below.  Whether the places on that
line were left alone no survey tells: what came off evenly over the whole length, or as a
straight taper, does not show.  A depth is therefore one more than on the line through places
that are named with it.
"""

from dataclasses import dataclass

import numpy as np

from analysis.linear.agreement import agreement
from analysis.linear.profile import Profile
from analysis.linear.reference_lines import remove_line
from analysis.linear.shown import Shown

UNTOUCHED_WITHIN = 2.5
"""Standard uncertainties by which a place may lie beside the line and still count as not cut: one place
in a hundred that was not cut is left out, which moves the line by little."""
ABOVE_COUNTS = 3
"""A place above the line (a burr, dirt) is as unlikely as this many below it, which scraping explains."""
MOST_TRIED = 60
"""Stations through which lines are tried in pairs; of more, these many spread evenly."""
MOST_OF_SEVERAL = 2.5
"""Coverage factor of a stretch: its place is the one that changed most of several, and the same readings
choose the line. Of invented changes 2 holds 92 to 98 in 100, this 96 to 100 (parts, all rough or smooth)."""
LEAST_UNTOUCHED = 3
"""Any two places lie on a line: where no third lies on it, nothing says that they were not cut."""
_ROUNDS = 20


@dataclass(frozen=True)
class Stretch:
    """A stretch of the bed where the face is lower, or higher, than before."""

    from_mm: float
    """First and last station that are seen to have changed."""
    to_mm: float
    at_mm: float
    """Where it changed most."""
    change_um: float
    """After minus before there, from the line through the places that changed least; negative where more
    metal came off."""
    expanded_um: float
    """Of the place that changed most of several: 2.5 standard uncertainties."""


@dataclass(frozen=True, eq=False, repr=False)
class MetalOff(Shown):
    """The change from the line that the unchanged places lie on, where there are such places."""

    change: Profile
    is_untouched: np.ndarray
    """The stations that the line is drawn through; none where fewer than three lie on one: the change is
    then from its least-squares line, and says nothing of where metal came off."""
    came_off: tuple[Stretch, ...]
    rose: tuple[Stretch, ...]
    """Stretches that stand higher from that line than before: less came off, or it is no scraping."""

    @property
    def counted_from_mm(self) -> tuple[tuple[float, float], ...]:
        """The places that the line is drawn through, as stretches from their first to their last station."""
        x = self.change.station_mm
        return tuple((float(x[first]), float(x[end - 1])) for first, end in _runs(self.is_untouched))


def metal_off(change: Profile) -> MetalOff:
    """Find where metal came off.

    Parameters
    ----------
    change : Profile
        After minus before, up to a line, at three stations at least.

    Examples
    --------
    20 µm off between 300 and 500 mm; the tilt says nothing:

    >>> x = np.arange(0.0, 1001.0, 100.0)
    >>> cut = np.where((x >= 300) & (x <= 500), -20.0, 0.0)
    >>> found = metal_off(Profile("flat", x, cut + 0.01 * x, np.eye(11)))
    >>> [(s.from_mm, s.to_mm, round(s.change_um)) for s in found.came_off]
    [(300.0, 500.0, -20)]
    >>> found.counted_from_mm
    ((0.0, 200.0), (600.0, 1000.0))
    """
    untouched = _on_the_likeliest_line(change)
    level = _from_line_through(change, untouched)
    for _ in range(_ROUNDS):
        reach = UNTOUCHED_WITHIN * level.standard_uncertainty_um + _rounding(level)
        within = np.abs(level.height_um) <= reach
        if np.array_equal(within, untouched) or np.count_nonzero(within) < 2:
            break
        untouched = within
        level = _from_line_through(change, untouched)
    if np.count_nonzero(untouched) < LEAST_UNTOUCHED:
        return MetalOff(remove_line(change, "least-squares"), np.zeros(len(untouched), bool), (), ())
    judged = agreement(level.height_um, level.covariance_um2)
    beyond = np.abs(np.nan_to_num(judged.normalised_error)) > judged.largest_by_chance
    return MetalOff(
        change=level,
        is_untouched=untouched,
        came_off=_stretches(level, beyond & (level.height_um < 0)),
        rose=_stretches(level, beyond & (level.height_um > 0)),
    )


def _on_the_likeliest_line(change: Profile) -> np.ndarray:
    """The stations on the line through two of them that leaves the fewest beside it."""
    x, y = change.station_mm, change.height_um
    noise = remove_line(change, "least-squares").standard_uncertainty_um
    reach = UNTOUCHED_WITHIN * noise + _rounding(change)
    tried = np.unique(np.linspace(0, len(x) - 1, min(len(x), MOST_TRIED)).astype(int))
    first, second = tried[np.array(np.triu_indices(len(tried), 1))]
    slope = (y[second] - y[first]) / (x[second] - x[first])
    beside = y - y[first, None] - slope[:, None] * (x - x[first, None])
    # squares count up to the reach: what lies beside a line counts as one, however far it lies
    cost = np.minimum((beside / reach) ** 2, 1.0) * np.where(beside > reach, ABOVE_COUNTS, 1)
    best = int(np.argmin(cost.sum(axis=1)))
    return np.abs(beside[best]) <= reach


def _from_line_through(change: Profile, chosen: np.ndarray) -> Profile:
    """The change from the least-squares line through the chosen stations, covariance included."""
    away = (change.station_mm - change.station_mm[chosen].mean()) / np.ptp(change.station_mm)
    columns = np.column_stack([np.ones(len(away)), away])
    rows = np.eye(len(away))
    rows[:, chosen] -= columns @ np.linalg.pinv(columns[chosen])
    return change.through(rows, change.station_mm)


def _rounding(level: Profile) -> float:
    return 1e-9 * float(np.max(np.abs(level.height_um), initial=1.0))


def _stretches(level: Profile, changed: np.ndarray) -> tuple[Stretch, ...]:
    return tuple(_stretch(level, first, end) for first, end in _runs(changed))


def _runs(chosen: np.ndarray) -> list[tuple[int, int]]:
    """First index and the one after the last of each run of chosen stations."""
    edges = np.flatnonzero(np.diff(np.r_[False, chosen, False]))
    return [(int(first), int(end)) for first, end in edges.reshape(-1, 2)]


def _stretch(level: Profile, first: int, end: int) -> Stretch:
    most = first + int(np.argmax(np.abs(level.height_um[first:end])))
    return Stretch(
        from_mm=float(level.station_mm[first]),
        to_mm=float(level.station_mm[end - 1]),
        at_mm=float(level.station_mm[most]),
        change_um=float(level.height_um[most]),
        expanded_um=float(MOST_OF_SEVERAL * level.standard_uncertainty_um[most]),
    )
