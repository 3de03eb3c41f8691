"""Is an instrument noisier than it claims?"""

from pathlib import Path

import numpy as np
import pytest
import scipy.linalg
import scipy.optimize

from analysis.adjust.assembly import assemble
from analysis.adjust.combination import adjusted
from analysis.adjust.variance_components import variance_components
from analysis.answers.surveys import Survey
from analysis.observe import observe
from analysis.words.facts import sentences

STATION = np.arange(0.0, 1001.0, 100.0)
MIDDLE = np.arange(50.0, 1000.0, 100.0)


def survey(invented_bed, make_traverse, level_noise, seed=0, levels=4):
    rng = np.random.default_rng(seed)
    bed = invented_bed()
    runs = [
        make_traverse(bed, "level", MIDDLE, rng.normal(0, level_noise, 10), face="front-flat")
        for _ in range(levels)
    ]
    runs += [
        make_traverse(bed, "dial", STATION, rng.normal(0, 1, 11), face="front-flat", reference="line")
        for _ in range(4)
    ]
    return runs, bed


@pytest.mark.statistics
def test_level_four_times_noisier_than_claimed_is_found(invented_bed, make_traverse):
    ratios = {"level": [], "dial": []}
    for seed in range(25):
        runs, bed = survey(invented_bed, make_traverse, 4.0, seed)
        for component in variance_components([observe(run, bed) for run in runs], bed):
            ratios[component.instrument].append(component.noise_ratio**2)
    assert np.mean(ratios["level"]) ** 0.5 == pytest.approx(4.0, rel=0.06)
    assert np.mean(ratios["dial"]) ** 0.5 == pytest.approx(1.0, rel=0.06)


@pytest.mark.statistics
def test_ratio_comes_with_its_own_uncertainty(invented_bed, make_traverse):
    found = []
    for seed in range(40):
        runs, bed = survey(invented_bed, make_traverse, 1.0, seed)
        found.append(variance_components([observe(run, bed) for run in runs], bed)[0])
    spread = np.std([component.noise_ratio for component in found])
    stated = np.mean([component.standard_uncertainty for component in found])
    assert stated == pytest.approx(spread, rel=0.3)


def test_agrees_with_the_variance_of_repeated_readings():
    """One instrument, one quantity: the estimate is the sample variance (divisor n − 1)."""
    from acquire.model.bed import Bed, Face
    from analysis.observe import Observations, Place

    values = np.array([3.0, 5.0, 4.0, 9.0, 1.0])
    readings = Observations(
        1, "dial", "offset", "stepped", "f", ("f",), np.zeros(5), values, np.zeros(5),
        tuple({Place("height", "f", 0.0, "touched"): 1.0} for _ in values), np.ones(5), (),
    )  # fmt: skip
    bed = Bed("b", 100.0, (0.0, 50.0, 100.0), {"f": Face("f", "up")})
    (component,) = variance_components([readings], bed)
    assert component.noise_ratio**2 == pytest.approx(np.var(values, ddof=1))
    assert component.redundancy == pytest.approx(4.0)


def test_used_on_request_the_noisy_instrument_weighs_less(invented_bed, make_traverse):
    runs, bed = survey(invented_bed, make_traverse, 10.0, seed=5)
    readings = [observe(run, bed) for run in runs]
    plain, weighed = (adjusted(readings, bed, use_variance_components=each) for each in (False, True))
    assert plain.variance_components == ()
    assert {c.instrument for c in weighed.variance_components} == {"level", "dial"}
    assert weighed.variance_factor == 1.0
    assert plain.variance_factor > 5


def test_instrument_without_checks_keeps_what_it_claims(invented_bed, make_traverse):
    bed = invented_bed()
    run = make_traverse(bed, "level", MIDDLE, np.zeros(10), face="front-flat")
    assert variance_components([observe(run, bed)], bed) == ()


def restricted_likelihood(observations, bed, names):
    """Second method: −2 log restricted likelihood from its definition, with full matrices.

    log det V + log det(KᵀV⁻¹K) + rᵀV⁻¹r for y = K b + e, K a basis of the columns of the design
    matrix, r the generalised least-squares residuals (Harville's form, from memory).
    """
    assembly = assemble(observations, bed)
    design = np.vstack([block.rows.toarray() for block in assembly.blocks])
    y = np.concatenate([block.value for block in assembly.blocks])
    claimed = scipy.linalg.block_diag(
        *[np.diag(b.covariance) if b.covariance.ndim == 1 else b.covariance for b in assembly.blocks]
    )
    group = [names.index(each.noise_group) for each in assembly.observations for _ in range(len(each))]
    basis = scipy.linalg.orth(design, rcond=1e-10)

    def minus_twice_log_likelihood(log_factor):
        scale = np.exp(np.asarray(log_factor)[group] / 2)
        V = claimed * np.outer(scale, scale)
        inverse = np.linalg.inv(V)
        normal = basis.T @ inverse @ basis
        left = y - basis @ np.linalg.solve(normal, basis.T @ inverse @ y)
        return np.linalg.slogdet(V)[1] + np.linalg.slogdet(normal)[1] + left @ inverse @ left

    return minus_twice_log_likelihood


def weakly_checked(invented_bed, make_traverse, seed):
    """Three runs of a level, one of a cross level, one and a half of a dial: few readings to spare."""
    rng = np.random.default_rng(seed)
    bed = invented_bed()
    ways = {"face": "rear-flat", "reference": "front-flat"}
    runs = [
        make_traverse(bed, "level", MIDDLE, rng.normal(0, 2.0, 10), face=face)
        for face in ("front-flat", "rear-flat", "front-flat")
    ]
    runs += [
        make_traverse(bed, "cross", STATION, rng.normal(0, 0.6, 11), front="front-flat", rear="rear-flat"),
        make_traverse(bed, "dial", STATION, rng.normal(0, 1.5, 11), **ways),
        make_traverse(bed, "dial", STATION[::2], rng.normal(0, 1.5, 6), **ways),
    ]
    return [observe(run, bed) for run in runs], bed


@pytest.mark.parametrize("seed", [0, *(pytest.param(n, marks=pytest.mark.statistics) for n in (1, 2, 6))])
def test_weakly_checked_network_reaches_the_restricted_maximum(invented_bed, make_traverse, seed):
    observations, bed = weakly_checked(invented_bed, make_traverse, seed)
    components = variance_components(observations, bed)
    likelihood = restricted_likelihood(observations, bed, [each.instrument for each in components])
    bounds = [(np.log(1e-4), np.log(1e6))] * len(components)
    starts = [np.zeros(len(components)), np.full(len(components), -2.0)]
    best = min(
        (scipy.optimize.minimize(likelihood, start, method="L-BFGS-B", bounds=bounds) for start in starts),
        key=lambda found: found.fun,
    )
    ratio = np.array([each.noise_ratio for each in components])
    assert likelihood(2 * np.log(ratio)) <= best.fun + 1e-6
    told = [each.is_told for each in components]
    assert ratio[told] == pytest.approx(np.exp(best.x / 2)[told], rel=1e-3)


@pytest.mark.statistics
def test_instrument_whose_noise_the_readings_do_not_tell_keeps_its_claim_and_that_is_said(
    invented_bed, make_traverse
):
    observations, bed = weakly_checked(invented_bed, make_traverse, 2)
    doubtful = {each.instrument for each in variance_components(observations, bed) if not each.is_told}
    assert doubtful == {"cross"}
    bed_map = adjusted(observations, bed, use_variance_components=True)
    assert {each.instrument for each in bed_map.variance_components} == {"level", "dial"}
    assert any(words.startswith("cross: the readings do not tell") for words in sentences(bed_map.warnings))


@pytest.mark.statistics
def test_noise_is_judged_with_the_places_between_nodes_tied_as_in_the_map(invented_bed, make_traverse):
    """A dial on feet of 90 mm, three times as noisy as claimed, on a way levelled every 100 mm.

    Untied, every foot of it between stations was a height of its own, and nothing told its noise.
    """
    dial = 'quantity = "offset"\nunit = "um"\nstandard_uncertainty = 1.0\nseating_um = 0.0\n'
    level = 'quantity = "slope"\nunit = "um/m"\nbase_mm = 100\nstandard_uncertainty = 1.0\nseating_um = 0.0'
    bed = invented_bed(
        2000, instruments={"level": level, "dial": dial + "carrier_feet_mm = 90", "cross": CROSS}
    )
    rng = np.random.default_rng(8)
    middle, inner = np.arange(50.0, 2000.0, 100.0), np.arange(100.0, 1901.0, 100.0)
    x = np.arange(0.0, 2001.0, 100.0)
    runs = [
        make_traverse(bed, "level", middle, rng.standard_normal(20), face=face, direction=way)
        for face in ("front-flat", "rear-flat")
        for way in ("forward", "reverse")
    ]
    runs.append(make_traverse(bed, "cross", x, rng.standard_normal(21), front="front-flat", rear="rear-flat"))
    runs.append(
        make_traverse(
            bed, "dial", inner, 3 * rng.standard_normal(19), face="rear-flat", reference="front-flat"
        )
    )
    ratio = {each.instrument: each.noise_ratio for each in Survey(Path("s"), bed, tuple(runs)).noise()}
    assert 2.0 < ratio["dial"] < 4.5 and 0.6 < ratio["level"] < 1.5


CROSS = 'quantity = "roll"\nunit = "um/m"\nstandard_uncertainty = 1.0\nseating_um = 0.0'
