"""Readings that an adjustment does not hold, as rows in its unknowns: to be held against it, or tried."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import scipy.sparse

from analysis.adjust.assembly import Assembly, rows_of, without_edges
from analysis.adjust.between_runs import drifts_shown, untold_drift
from analysis.adjust.counting import by_readings
from analysis.adjust.nuisances import (
    drift_key,
    drift_told,
    from_mean,
    own_nuisances,
    scale_means,
    when_started,
    zero_roots,
)
from analysis.adjust.there_and_back import bows_between
from analysis.observe import Nuisance, Observations, Unknown


def rows_for(assembly: Assembly, each: Observations) -> tuple[scipy.sparse.csr_matrix, np.ndarray]:
    """Rows of further readings in the unknowns of `assembly`, and which of them it can express.

    Unknowns that are new (another zero), a drift that goes on for nobody knows how long, and
    places that the nodes do not hold make a row inexpressible.
    """
    kept, own = _further(assembly, each)
    known = [nuisance for nuisance in own if nuisance.key in assembly.nuisances]
    rows = rows_of(kept, known, assembly.layout, assembly.nuisances, assembly.unknowns)
    expressible = _holds(assembly, kept) & all(
        nuisance.key in assembly.nuisances or nuisance.prior_sd is not None for nuisance in own
    )
    return rows, expressible


@dataclass(frozen=True, eq=False)
class FurtherRows:
    """Rows of readings that an adjustment does not hold, and what is unknown of them alone."""

    rows: scipy.sparse.csr_matrix
    """Shape (m, n), in the unknowns of the adjustment."""
    is_held: np.ndarray
    """Which readings stand on heights that it holds."""
    free: np.ndarray
    """Shape (m, k): columns of unknowns of which nothing is known: their own zero, a drift."""
    stated: np.ndarray
    """Shape (m, l): columns of unknowns of stated size, times that size."""


def rows_beside(assembly: Assembly, each: Observations) -> FurtherRows:
    """Rows of readings that are to be held against an adjustment made without them."""
    kept, own = _further(assembly, each)
    known = [nuisance for nuisance in own if nuisance.key in assembly.nuisances]
    further = [nuisance for nuisance in own if nuisance.key not in assembly.nuisances]
    nothing = np.zeros((len(kept), 0))
    free = [nuisance.column for nuisance in further if nuisance.prior_sd is None]
    stated = [nuisance.column * nuisance.prior_sd for nuisance in further if nuisance.prior_sd is not None]
    return FurtherRows(
        rows_of(kept, known, assembly.layout, assembly.nuisances, assembly.unknowns),
        _holds(assembly, kept),
        np.column_stack([nothing, *free]),
        np.column_stack([nothing, *stated]),
    )


def _further(assembly: Assembly, each: Observations) -> tuple[Observations, tuple[Nuisance, ...]]:
    """Further readings as the adjustment takes such, and all that they depend on besides heights."""
    kept = without_edges(each, assembly.straight_edges)
    if kept.is_timed and any(
        other.drift_group == kept.drift_group and not other.is_timed for other in assembly.observations
    ):
        kept = by_readings(kept)
    roots = zero_roots((*assembly.observations, kept))
    means = scale_means(assembly.observations, roots)
    return kept, (
        *own_nuisances(kept, roots),
        *(from_mean(nuisance, means, roots.get(kept.traverse)) for nuisance in kept.nuisances),
        *_drift_of_further(assembly, kept, roots),
        *_bow_of_further(assembly, kept),
    )


def is_drift_told(assembly: Assembly, each: Observations) -> bool:
    """Whether the runs of an adjustment tell how fast further readings of that kind drift."""
    return any(
        Unknown("drift", (*each.drift_group, turned)) in assembly.nuisances for turned in ("", "turned")
    )


def _holds(assembly: Assembly, each: Observations) -> np.ndarray:
    return np.array([all(assembly.layout.holds(place) for place in form) for form in each.forms], bool)


def _drift_of_further(
    assembly: Assembly, each: Observations, roots: Mapping[int, int]
) -> tuple[Nuisance, ...]:
    """What the drift of a run that is told adds to further readings of it."""
    if each.zero_drift is not None and each.zero_column is not None:
        return (Nuisance(Unknown("drift since nobody knows when", ()), each.zero_column),)
    key = drift_key(each)
    if key not in assembly.nuisances:
        key = drift_told(each, (*assembly.observations, each), roots) or key
    start = when_started(assembly.observations, roots)
    if key not in assembly.nuisances:
        others = [other for other in assembly.observations if other.traverse != each.traverse]
        began, shown = start.get(each.traverse, 0.0), drifts_shown(others)
        return untold_drift(each, (*others, each), roots, began, shown)
    if each.traverse not in start and roots.get(each.traverse) == each.traverse:
        return (Nuisance(key, each.order),)  # when it began is a matter of its own zero
    if each.traverse not in start:
        return (Nuisance(Unknown("drift since nobody knows when", ()), each.order),)
    return (Nuisance(key, each.order + start[each.traverse]),)


def _bow_of_further(assembly: Assembly, each: Observations) -> tuple[Nuisance, ...]:
    """What the untold bow between the runs of a level adds to further readings of one of them."""
    in_use = [found for found in assembly.returns if found.key in assembly.nuisances]
    return bows_between(in_use, assembly.observations, (each,))[0]
