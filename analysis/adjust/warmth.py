"""A bed whose top was warmer against its bottom in one run than in another: it was bent otherwise.

By how much a difference of temperature bends a bed is known only roughly (`bend_by_temperature_um`: a bar
of one depth, warm right through): where the differences written down are not alike, the share of it that
this bed follows is one more unknown, about nought and as large as that bend.  What runs at several
temperatures say of one face can tell it; else it stays in the ±.
"""

from collections.abc import Sequence

import numpy as np

from acquire.model.bed import Bed
from analysis.adjust.there_and_back import bow_at
from analysis.observe import Nuisance, Observations, Unknown
from analysis.observe.differences import bend_by_temperature_um
from analysis.observe.states import warmer_by_k

KEY = Unknown("bend by warmth", ())
LENGTHS_TO_A_DEPTH = 8.0
"""Of a bed whose depth is not stated: slender, so that it bends much. A choice."""
READ_ALIKE_K = 0.01
"""Differences of temperature that are written down alike."""


def bends_by_warmth(observations: Sequence[Observations], bed: Bed) -> list[tuple[Nuisance, ...]]:
    """For each of the observations what the bed's bend by warmth adds, against the mean of all.

    Parameters
    ----------
    observations : sequence of Observations
    bed : Bed
        Its length and depth, and which faces look up.
    """
    warmer = [_mean_warmer_k(each) for each in observations]
    told = [kelvin for kelvin in warmer if kelvin is not None]
    if not told or max(told) - min(told) < READ_ALIKE_K:
        return [() for _ in observations]
    depth_mm = bed.depth_mm or bed.length_mm / LENGTHS_TO_A_DEPTH
    bend_um, mean = bend_by_temperature_um(1.0, bed.length_mm, depth_mm), float(np.mean(told))
    return [
        () if kelvin is None else (Nuisance(KEY, (kelvin - mean) * bend_um * _hogged(each, bed), 1.0),)
        for each, kelvin in zip(observations, warmer, strict=True)
    ]


def _mean_warmer_k(each: Observations) -> float | None:
    told = [kelvin for source in each.sources if (kelvin := warmer_by_k(source)) is not None]
    return float(np.mean(told)) if told else None


def _hogged(each: Observations, bed: Bed) -> np.ndarray:
    """What a bed hogged by 1 µm over its length adds to each reading."""
    upward = {name: face.upward for name, face in bed.faces.items()}
    return np.array([
        sum(
            weight * upward.get(place.owner, 0) * bow_at(place.station_mm, (0.0, bed.length_mm))
            for place, weight in form.items()
            if place.kind == "height"
        )
        for form in each.forms
    ])  # fmt: skip
