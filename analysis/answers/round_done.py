"""What a round of scraping did on one face, and how much of each depth to cut in the next."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

SHARE = 0.5
"""Of the depth, to cut in one round. Simulated with scrapers that err by 30 % (33 stations, 30 to 70 µm
worn): all at once takes three times the metal that is needed, half a round hardly more than that."""
SURE_SHARE = 0.7
SURE_BELOW = 0.25
"""Error of the scraper below which more may be cut a round."""


@dataclass(frozen=True, eq=False)
class AfterRound:
    """One face since the survey before the round."""

    face: str
    station_mm: NDArray[np.float64]
    asked_um: NDArray[np.float64]
    """What was to come off in the round."""
    done_um: NDArray[np.float64]
    expanded_um: NDArray[np.float64]
    """Of what came off."""
    overshot_um: NDArray[np.float64]
    """By how much more came off than the whole plan; 0 where that is not seen."""
    taken: float | None
    """Of what was asked, on the whole; None where hardly anything was asked that could be seen."""
    error: float | None
    """Relative error of the depths taken, bias and scatter together."""
    error_at_most: float | None
    """What it may be within the uncertainty."""

    @property
    def share(self) -> float:
        """Of each depth, to cut in the next round."""
        is_sure = self.error_at_most is not None and self.error_at_most < SURE_BELOW
        return SURE_SHARE if is_sure and not np.any(self.overshot_um) else SHARE
