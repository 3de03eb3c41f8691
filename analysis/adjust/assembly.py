"""From observations to rows of one adjustment: heights at nodes first, then all other unknowns."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy.sparse

from acquire.model.bed import Bed
from analysis.adjust.bent_all_evening import bent_all_evening
from analysis.adjust.between_nodes import Roughness
from analysis.adjust.between_runs import bends_by_warmth
from analysis.adjust.counting import CountedByReadings, counted_alike
from analysis.adjust.nodes import Key, Layout, lay_out
from analysis.adjust.nuisances import (
    drifts_told,
    own_nuisances,
    scale_from_zero,
    when_started,
    with_drift,
    with_moved_zeros,
    zero_roots,
)
from analysis.adjust.reading_errors import (
    at_their_nodes,
    covariances_with_steps,
    least_factor,
    moved_feet,
    weight_at_nodes,
)
from analysis.adjust.solution import Block
from analysis.adjust.there_and_back import APART, BEND, UNTOLD, Return, bows_between, returns, single_runs
from analysis.linear.bordered import block_diagonal
from analysis.linear.fact import Fact
from analysis.observe import Nuisance, Observations, Place, Unknown

UNDER_CARRIER = "bend under carrier"
"""What a way of unknown shape does under a carrier that was taken as a point."""


@dataclass(frozen=True)
class TakenAsStraight(Fact):
    """A straightedge whose own shape nothing tells: it was not turned over."""

    straightedge: str


@dataclass(frozen=True)
class BeyondTheEnd(Fact):
    """A line on which a carrier would stand beyond the end of the bed."""

    line: str


@dataclass(frozen=True)
class TurnedForTheReturn(Fact):
    """Runs there and back between which the instrument was turned: a drift looks like a bow."""

    traverses: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Assembly:
    """All rows, and what their columns stand for."""

    observations: tuple[Observations, ...]
    layout: Layout
    nuisances: Mapping[Unknown, int]
    """Column of each unknown that is no height."""
    blocks: tuple[Block, ...]
    """One per traverse, then one for what is known beforehand (if anything is), then `ties`."""
    ties: int
    """How many of the last blocks are no readings: heights off the nodes, and what a carrier taken as a
    point leaves out, each with its own small covariance."""
    ways: Mapping[Key, Roughness]
    """How each line of heights runs between its nodes, where that could be judged."""
    straight_edges: frozenset[str]
    """Straightedges taken as straight, because nothing tells their shape."""
    warnings: tuple[Fact, ...]
    returns: tuple[Return, ...] = ()
    """What levels run there and back differ by, and whether that is a drift."""

    @property
    def unknowns(self) -> int:
        """Number of columns."""
        return self.layout.heights + len(self.nuisances)

    def bends_at(self, station_mm: float) -> list[int]:
        """Columns of what ways of unknown shape add to readings there whose carrier is taken as a point."""
        at = bend_station(station_mm)
        return [
            column for key, column in self.nuisances.items() if key.kind == UNDER_CARRIER and key.of[-1] == at
        ]

    @property
    def readings(self) -> int:
        """How many of the first blocks are readings, and what was stated of their errors."""
        return len(self.blocks) - self.ties


def bend_station(station_mm: float) -> str:
    """How the key of a bend names where along the bed it is."""
    return f"{station_mm:.1f}"


def assemble(
    observations: Sequence[Observations],
    bed: Bed,
    *,
    variance_factors: Mapping[str, float] | None = None,
    extra: Iterable[Place] = (),
    ways: Mapping[Key, Roughness] | None = None,
    imagined: frozenset[int] = frozenset(),
    noise: float = 1.0,
) -> Assembly:
    """Rows of all observations.

    Parameters
    ----------
    variance_factors : mapping, optional
        Multiply the variance of an instrument's readings.
    extra : iterable of Place, optional
        Further heights that are asked for.
    ways : mapping, optional
        How lines of heights run between their nodes: ties each of their other heights to the nodes.
    imagined : frozenset of int
        Traverses whose readings mean nothing.
    noise : float
        By what variances are enlarged afterwards: bows between runs are judged by that much noise, and
        are not enlarged themselves.
    """
    ways = ways or {}
    factors = variance_factors or {}
    observations, counted = counted_alike(observations, zero_roots(observations))
    straight = _edges_taken_as_straight(observations)
    there_and_back, kept = _there_and_back(
        [without_edges(each, straight) for each in observations],
        imagined,
        lambda each: noise * factors.get(each.noise_group, 1.0),
    )
    layout = lay_out(kept, bed, extra, ways)
    kept = tuple(at_their_nodes(each, layout) for each in kept)
    roots = zero_roots(kept)
    parts = [(*own_nuisances(each, roots), *each.nuisances) for each in kept]
    parts = with_drift(kept, scale_from_zero(kept, parts, roots), roots)
    bows = bows_between(there_and_back, kept)
    parts = [
        (*part, *(bow.of_size(1 / noise**0.5) for bow in of_runs))
        for part, of_runs in zip(parts, bows, strict=True)
    ]
    parts = [(*part, *bend) for part, bend in zip(parts, bends_by_warmth(kept, bed), strict=True)]
    columns: dict[Unknown, int] = {}
    for nuisance in (nuisance for part in parts for nuisance in part):
        columns.setdefault(nuisance.key, layout.heights + len(columns))
    unknowns = layout.heights + len(columns)
    blocks = [
        Block(
            rows_of(each, part, layout, columns, unknowns),
            each.reading - each.correction,
            covariance * max(factors.get(each.noise_group, 1.0), least_factor(each)),
        )
        for each, part, covariance in zip(kept, parts, covariances_with_steps(kept), strict=True)
    ]
    blocks += _prior(parts, columns, unknowns, is_bend=False)
    ties = [*_prior(parts, columns, unknowns, is_bend=True), *_ties(layout, ways, unknowns)]
    return Assembly(
        kept,
        layout,
        columns,
        (*blocks, *ties),
        len(ties),
        ways,
        straight,
        (
            *_warnings(kept, layout, straight),
            *_of_told(counted, kept),
            *filter(_is_worth_a_word, there_and_back),
            *bent_all_evening(
                there_and_back, bed.faces, [n for o in kept for n in (o.traverse, *o.with_traverses)]
            ),
        ),
        there_and_back,
    )


def _of_told(counted: Iterable[CountedByReadings], observations: Sequence[Observations]) -> Iterable[Fact]:
    """What to say of runs that are counted by readings: nothing where no drift of theirs is told."""
    told = drifts_told(single_runs(observations))
    drifting = {each.traverse for each in observations if (each.drift_group, each.turned) in told}
    return (each for each in counted if drifting & {*each.clocked, *each.not_clocked})


def _ties(layout: Layout, ways: Mapping[Key, Roughness], unknowns: int) -> list[Block]:
    """h(x) − Σ w h(X) = 0 ± e, a block for each line.

    Errors of two gaps between nodes are taken as independent, so that the normal matrix stays banded.
    """
    blocks = []
    for key, way in ways.items():
        gaps: dict[int, list[tuple[float, int]]] = {}
        for mm, column in tied_places(layout, key, way):
            gaps.setdefault(way.gap(mm), []).append((mm, column))
        if gaps:
            blocks.append(_tie(layout, key, way, list(gaps.values()), unknowns))
    return blocks


def tied_places(layout: Layout, key: Key, way: Roughness) -> list[tuple[float, int]]:
    """Where on a line heights are tied to its nodes, and their columns."""
    untold = {layout.column_at(key, mm) for mm in way.untold_mm}
    at_node = {layout.column_at(key, mm) for mm in way.node_mm}
    return [
        (mm, column)
        for mm, column in layout.unknowns_of(key)
        if column in untold or (column >= len(layout.nodes) and column not in at_node and way.reaches(mm))
    ]


def _tie(
    layout: Layout, key: Key, way: Roughness, gaps: Sequence[Sequence[tuple[float, int]]], unknowns: int
) -> Block:
    at_mm = np.array([mm for places in gaps for mm, _ in places])
    column = np.array([column for places in gaps for _, column in places])
    weights = way.weights(at_mm)
    place, node = np.nonzero(weights)
    at_nodes = np.array([layout.column_at(key, float(mm)) for mm in way.node_mm])
    row = np.concatenate([np.arange(len(at_mm)), place])
    values = np.concatenate([np.ones(len(at_mm)), -weights[place, node]])
    matrix = scipy.sparse.csr_matrix(
        (values, (row, np.concatenate([column, at_nodes[node]]))), shape=(len(at_mm), unknowns)
    )
    last = np.cumsum([len(places) for places in gaps])
    within = [way.covariance(mm) for mm in np.split(at_mm, last[:-1])]  # each gap as rough as it shows
    return Block(matrix, np.zeros(len(at_mm)), block_diagonal(within))


def _there_and_back(
    observations: Sequence[Observations], imagined: frozenset[int], noise: Callable[[Observations], float]
) -> tuple[tuple[Return, ...], tuple[Observations, ...]]:
    """What runs there and back differ by, and all observations with zeros that went on drifting."""
    runs = single_runs(observations)
    roots = zero_roots(runs)
    starts = when_started(runs, roots)
    found = returns([each.noisier(noise(each)) for each in runs], starts, roots, imagined)
    return found, with_moved_zeros(observations, starts, roots, found)


def _edges_taken_as_straight(observations: Sequence[Observations]) -> frozenset[str]:
    """Edges that were not read both ways over: their shape cannot be told from the way's."""
    ways = {edge for each in observations for edge in each.edges}
    return frozenset(name for name, _ in ways if not {(name, True), (name, False)} <= ways)


def without_edges(each: Observations, straight: frozenset[str]) -> Observations:
    if not straight & {name for name, _ in each.edges}:
        return each
    forms = tuple(
        {place: w for place, w in form.items() if not (place.kind == "edge" and place.owner in straight)}
        for form in each.forms
    )
    return replace(each, forms=forms)


def rows_of(
    each: Observations,
    nuisances: Sequence[Nuisance],
    layout: Layout,
    columns: Mapping[Unknown, int],
    unknowns: int,
) -> scipy.sparse.csr_matrix:
    own = [columns[nuisance.key] for nuisance in nuisances]
    beside = np.array([nuisance.column for nuisance in nuisances]).T.reshape(len(each), -1).tolist()
    column: list[int] = []
    weight: list[float] = []
    ends = [0]
    at_nodes = weight_at_nodes(each, layout).tolist()
    for form, times, further in zip(each.forms, at_nodes, beside, strict=True):
        for place, factor in form.items():
            if (height := layout.column(place)) is not None:
                column.append(height)
                weight.append(times * factor)
        column += own
        weight += further
        ends.append(len(column))
    index = np.array(column, np.int32), np.array(ends, np.int32)
    rows = scipy.sparse.csr_matrix((np.array(weight, float), *index), shape=(len(each), unknowns))
    rows.sum_duplicates()
    if nuisances:
        rows.eliminate_zeros()
    return rows


def _prior(
    parts: Sequence[Sequence[Nuisance]], columns: Mapping[Unknown, int], unknowns: int, is_bend: bool
) -> list[Block]:
    """What is known beforehand of unknowns that are no heights; bends under a carrier, or all others."""
    stated = {
        n.key: n.prior_sd
        for part in parts
        for n in part
        if n.prior_sd is not None and (n.key.kind == UNDER_CARRIER) == is_bend
    }
    if not stated:
        return []
    index = [columns[key] for key in stated]
    rows = scipy.sparse.csr_matrix(
        (np.ones(len(index)), (np.arange(len(index)), index)), shape=(len(index), unknowns)
    )
    return [Block(rows, np.zeros(len(index)), np.array([sd**2 for sd in stated.values()], float))]


def _warnings(
    observations: Sequence[Observations], layout: Layout, straight: frozenset[str]
) -> tuple[Fact, ...]:
    found: list[Fact] = [fact for each in observations for fact in each.warnings]
    found += [TakenAsStraight(name) for name in sorted(straight)]
    found += [BeyondTheEnd(name) for name in layout.beyond]
    found += moved_feet(observations, layout)
    return tuple(dict.fromkeys((*found, *_turned_for_the_return(observations))))


def _is_worth_a_word(found: Return) -> bool:
    """Whether runs there and back leave something open."""
    return found.outcome in (APART, BEND) or (found.outcome == UNTOLD and found.is_seen)


def _turned_for_the_return(observations: Sequence[Observations]) -> Iterable[Fact]:
    runs = single_runs(observations)
    told = {group for group, _ in drifts_told(runs)}
    for group in dict.fromkeys(each.drift_group for each in runs if each.drift_group):
        mine = [each for each in runs if each.drift_group == group]
        if group not in told and len({each.direction for each in mine}) == 2:
            yield TurnedForTheReturn(tuple(each.traverse for each in mine))
