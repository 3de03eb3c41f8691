"""Is an instrument noisier than it claims?"""

import numpy as np
import pytest

from analysis.adjust.combination import combine
from analysis.adjust.variance_components import variance_components
from analysis.observe import observe

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


def test_level_four_times_noisier_than_claimed_is_found(invented_bed, make_traverse):
    ratios = {"level": [], "dial": []}
    for seed in range(25):
        runs, bed = survey(invented_bed, make_traverse, 4.0, seed)
        for component in variance_components([observe(run, bed) for run in runs], bed):
            ratios[component.instrument].append(component.noise_ratio**2)
    assert np.mean(ratios["level"]) ** 0.5 == pytest.approx(4.0, rel=0.06)
    assert np.mean(ratios["dial"]) ** 0.5 == pytest.approx(1.0, rel=0.06)


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
    plain, weighed = combine(runs, bed), combine(runs, bed, use_variance_components=True)
    assert plain.variance_components == ()
    assert {c.instrument for c in weighed.variance_components} == {"level", "dial"}
    assert weighed.enlargement == 1.0
    assert plain.enlargement > 5


def test_instrument_without_checks_keeps_what_it_claims(invented_bed, make_traverse):
    bed = invented_bed()
    run = make_traverse(bed, "level", MIDDLE, np.zeros(10), face="front-flat")
    assert variance_components([observe(run, bed)], bed) == ()
