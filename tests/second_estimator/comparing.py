"""Hold a map of the program against the second estimator and against the truth."""

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from acquire.model.bed import Bed
from acquire.model.bed_toml.reading import parse_bed
from acquire.model.traverse import Events, Setup, Stations, Traverse
from analysis.adjust.bed_map import BedMap
from analysis.adjust.combination import combine
from tests.second_estimator.between import adjust_between
from tests.second_estimator.inventing import Survey
from tests.second_estimator.least_squares import Answer, Bow, Key, adjust, place
from tests.second_estimator.readings import Run

MOST_U = 4.5
"""A height that is told lies within so many standard uncertainties of the truth."""


MIXTURES = 5


def as_traverse(run: Run, survey: Survey, bed: Bed) -> Traverse:
    """A run as the program has it on file; `bed` is the survey's, so that it is not parsed once a run."""
    order = np.argsort(run.station_mm, kind="stable")
    ones = np.ones(len(order), int)
    scatter = np.full(len(order), run.scatter)
    total = np.hypot(scatter, survey.bed.instrument(run)["standard_uncertainty"])
    setup = Setup(
        instrument=run.instrument, quantity=survey.bed.instrument(run)["quantity"], bed_toml=survey.bed.text,
        number=run.number, source="enter", face=run.face, front=run.front, rear=run.rear, other=run.other,
        inside=run.inside, reference=run.reference, direction=run.direction, turned=run.turned,
        turned_over=run.turned_over, same_zero_as=run.same_zero_as, created_utc=run.created_utc,
    )  # fmt: skip
    setup.__dict__["bed"] = bed
    stations = Stations(
        run.station_mm[order], run.reading[order], total, scatter, ones,
        ones if run.repeat is None else run.repeat[order],
        np.full(len(order), np.nan) if run.time_s is None else run.time_s[order],
    )  # fmt: skip
    return Traverse(setup, {}, stations, Events.none(), "stepped", True)


def combined(survey: Survey) -> BedMap:
    """The program's map of a survey."""
    bed = parse_bed(survey.bed.text)
    return combine([as_traverse(run, survey, bed) for run in survey.runs], bed)


def faults(survey: Survey) -> list[str]:
    """What the program and the second estimator, or the program and the truth, disagree in."""
    bed_map = combined(survey)
    if bed_map.assembly.ties or bed_map.contests:
        # what is told then rests on how rough the way shows itself, or on which of two readings is wrong
        # (the map distrusts both, a plain adjustment neither): only the truth can judge that
        return beyond_truth(survey)
    # how large a bend is allowed for is held against simulations (test_there_and_back); here, what it does
    bows = [
        Bow(each.traverses, each.bow_sd_um / bed_map.variance_factor**0.5)
        for each in bed_map.assembly.returns
        if each.bow_sd_um
    ]
    answer = adjust(survey.runs, survey.bed, bows)
    nodes = [place(node.kind, node.owner, node.station_mm) for node in bed_map.nodes]
    only_carry = {place(each.kind, each.owner, each.station_mm) for each in bed_map.assembly.layout.between}
    if alone := set(nodes) ^ (set(answer.heights) - only_carry):
        return [f"heights: {sorted(alone)} in one of both alone"]
    return [*_counts(answer, bed_map), *_differences(survey, answer, bed_map, nodes)]


def faults_between(survey: Survey) -> list[str]:
    """As `faults`, where feet fall between stations; where carriers are points, against the truth alone."""
    bed_map = combined(survey)
    if bed_map.points:
        return beyond_truth(survey)
    answer, bound = adjust_between(survey.runs, survey.bed)
    assembly = bed_map.assembly
    ties = sum(len(block.value) for block in assembly.blocks[assembly.readings :])
    nodes = [place(node.kind, node.owner, node.station_mm) for node in bed_map.nodes]
    other = [f"{ties} places are tied, not {bound}"] if ties != bound else []
    return [*other, *_differences(survey, answer, bed_map, nodes)]


def beyond_truth(survey: Survey) -> list[str]:
    """Heights, bends and differences that the program tells and that lie far from the truth."""
    bed_map = combined(survey)
    at = {place(n.kind, n.owner, n.station_mm): i for i, n in enumerate(bed_map.nodes)}
    stations = {f"{mm:.3f}" for mm in survey.bed.station_mm}
    nodes = [key for key in at if key[2] in stations]
    functions = _functions(nodes)
    wide = np.zeros((len(functions), len(at)))
    wide[:, [at[key] for key in nodes]] = functions
    found = bed_map.functional(wide)
    error = np.abs(found.value_um - functions @ [survey.height_um(k, o, float(mm)) for k, o, mm in nodes])
    u = np.sqrt(np.abs(np.diag(found.covariance_um2)))
    far = np.flatnonzero(found.is_known & (error > MOST_U * u + 1e-6))
    return [f"{_named(functions[i], nodes)}: off by {error[i]:.3f}, u {u[i]:.3f}" for i in far]


def _named(row: np.ndarray, nodes: list[Key]) -> str:
    return " ".join(f"{row[j]:+.3g}·{'/'.join(nodes[j])}" for j in np.flatnonzero(row)[:6])


def _counts(answer: Answer, bed_map: BedMap) -> Iterator[str]:
    if abs(answer.redundancy - bed_map.redundancy) > 1e-6:
        yield f"redundancy {bed_map.redundancy}, not {answer.redundancy}"
    if abs(answer.chi_square - bed_map.chi_square) > 1e-5 * (1 + answer.chi_square):
        yield f"chi-square {bed_map.chi_square}, not {answer.chi_square}"


def _differences(survey: Survey, answer: Answer, bed_map: BedMap, nodes: list[Key]) -> Iterator[str]:
    functions = np.vstack([_functions(nodes), _mixtures(nodes, answer)])
    mine = np.zeros((len(functions), len(answer.columns)))
    mine[:, [answer.columns[key] for key in nodes]] = functions
    found = bed_map.functional(functions)
    known = answer.is_known(mine)
    value = mine @ answer.estimate
    variance = np.einsum("ij,jk,ik->i", mine, answer.covariance, mine)
    u = np.sqrt(np.maximum(variance, 0.0) * bed_map.variance_factor)
    truth = functions @ [survey.height_um(kind, owner, float(mm)) for kind, owner, mm in nodes]
    stated = np.sqrt(np.abs(np.diag(found.covariance_um2)))
    for i, row in enumerate(functions):
        name = _named(row, nodes)
        if known[i] != found.is_known[i]:
            yield f"{name}: {'known' if known[i] else 'not known'}, but told otherwise"
        elif known[i]:
            if abs(value[i] - found.value_um[i]) > 1e-4 * u[i] + 1e-7:
                yield f"{name}: {found.value_um[i]:.6f}, not {value[i]:.6f} ± {u[i]:.3f}"
            if abs(u[i] - stated[i]) > 1e-4 * u[i] + 1e-6:
                yield f"{name}: u {stated[i]:.6f}, not {u[i]:.6f}"
            if abs(found.value_um[i] - truth[i]) > MOST_U * stated[i] + 1e-6:
                yield f"{name}: {found.value_um[i]:.3f} ± {stated[i]:.3f}, truth {truth[i]:.3f}"


def _functions(nodes: list[Key]) -> np.ndarray:
    """Heights themselves; bends of three neighbours; faces against each other."""
    at = {key: i for i, key in enumerate(nodes)}
    rows = [{i: 1.0} for i in range(len(nodes))]
    lines: dict[tuple[str, str], list[Key]] = {}
    for key in nodes:
        lines.setdefault(key[:2], []).append(key)
    for line in lines.values():
        for before, here, after in zip(line, line[1:], line[2:], strict=False):
            a, b, c = (float(key[2]) for key in (before, here, after))
            rows.append({at[before]: -(c - b) / (c - a), at[here]: 1.0, at[after]: -(b - a) / (c - a)})
        rows += [{at[key]: 1.0, at[line[0]]: -1.0} for key in line[1:]]
    for first in lines.values():
        for second in lines.values():
            both = [(a, b) for a in first for b in second if a[2] == b[2] and a[:2] < b[:2]]
            for sign in (1.0, -1.0):
                rows += [{at[a]: 1.0, at[b]: sign} for a, b in both]
                rows += [
                    {at[a]: 1.0, at[b]: sign, at[c]: -1.0, at[d]: -sign} for (a, b), (c, d) in pairwise(both)
                ]
    matrix = np.zeros((len(rows), len(nodes)))
    for i, row in enumerate(rows):
        matrix[i, list(row)] = list(row.values())
    return matrix


def _mixtures(nodes: list[Key], answer: Answer) -> np.ndarray:
    """All heights mixed at random, less what the readings do not determine."""
    chosen = [answer.columns[key] for key in nodes]
    free = (answer.free / answer.length[:, None])[chosen]
    mixed = np.random.default_rng(len(nodes)).normal(size=(MIXTURES, len(nodes)))
    return mixed - mixed @ free @ np.linalg.pinv(free)
