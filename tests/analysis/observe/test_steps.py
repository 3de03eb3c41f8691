"""Readings come in steps: no number of equal readings tells where within the step the truth lies.

The variance of an error spread evenly over a step q is q²/12 (elementary; for instance in the
guide to the expression of uncertainty, clause F.2.2.1, from memory).
"""

import numpy as np
import pytest

from analysis.adjust.combination import combine
from analysis.linear.reference_lines import remove_line
from analysis.observe import observe
from analysis.observe.uncertainty import step_shown

STEP_UM = 2.0
SHARE_UM = STEP_UM / 12**0.5
COARSE = {
    "dial": 'quantity = "offset"\nunit = "um"\nresolution = 2.0\nstandard_uncertainty = 0.01\n'
    "seating_um = 0.0"
}
STATIONS = np.arange(0.0, 1001.0, 100.0)


def dial_along(bed, make_traverse, times, reading=None, **options):
    """A dial carried along the front flat, each station of the rear one read a number of times."""
    where = np.repeat(STATIONS, times)
    value = STEP_UM * np.round(0.004 * (where - 500) ** 2 / 50) if reading is None else reading
    repeat = np.tile(np.arange(1, times + 1), len(STATIONS))
    return make_traverse(
        bed, "dial", where, value, repeat=repeat, face="rear-flat", reference="front-flat", **options
    )


def uncertainty_of_difference(bed, *runs):
    bed_map = combine(runs, bed)
    profile = remove_line(bed_map.difference("rear-flat", "front-flat"), "ends")
    return np.sqrt(np.diag(profile.covariance_um2)[1:-1])


def test_equal_repeats_do_not_average_the_step_away(invented_bed, make_traverse):
    bed = invented_bed(instruments=COARSE)
    once = uncertainty_of_difference(bed, dial_along(bed, make_traverse, 1))
    often = uncertainty_of_difference(bed, dial_along(bed, make_traverse, 49))
    assert np.all(once >= SHARE_UM)
    assert np.all(often >= 0.999 * once)


def test_repeats_that_scatter_keep_the_share_of_the_step(invented_bed, make_traverse):
    bed = invented_bed(instruments=COARSE)
    noise = STEP_UM * np.random.default_rng(3).integers(-1, 2, 25 * len(STATIONS))
    spread = uncertainty_of_difference(bed, dial_along(bed, make_traverse, 25, noise))
    assert np.all(spread >= SHARE_UM)


def test_many_samples_at_rest_keep_the_share_of_the_step(invented_bed, make_traverse):
    """Thousands of samples that toggle between two steps: their mean scatters by next to nothing."""
    bed = invented_bed(instruments=COARSE)
    run = observe(dial_along(bed, make_traverse, 1, scatter=0.02), bed)
    assert np.allclose(run.variance, SHARE_UM**2 + 0.02**2)


def test_runs_that_repeat_to_the_digit_do_not_average_the_step_away(invented_bed, make_traverse):
    bed = invented_bed(instruments=COARSE)
    runs = [dial_along(bed, make_traverse, 1) for _ in range(9)]
    assert np.all(uncertainty_of_difference(bed, *runs) >= 0.999 * uncertainty_of_difference(bed, runs[0]))


def test_runs_with_zeros_of_their_own_are_rounded_independently(invented_bed, make_traverse):
    """Read a fraction of a step apart, four runs tell four times as much."""
    bed = invented_bed(instruments=COARSE)
    shape = 0.004 * (STATIONS - 500) ** 2 / 50
    runs = [
        dial_along(bed, make_traverse, 1, STEP_UM * np.round((shape + zero) / STEP_UM))
        for zero in (0.0, 2000.5, 4001.0, 6001.5)
    ]
    together, alone = uncertainty_of_difference(bed, *runs), uncertainty_of_difference(bed, runs[0])
    assert together == pytest.approx(alone / 2, rel=1e-6)


def test_variance_components_do_not_make_the_step_small(invented_bed, make_traverse):
    """Runs that repeat to the digit look as if the instrument had no noise."""
    bed = invented_bed(instruments=COARSE)
    runs = [dial_along(bed, make_traverse, 1) for _ in range(4)]
    bed_map = combine(runs, bed, use_variance_components=True)
    profile = remove_line(bed_map.difference("rear-flat", "front-flat"), "ends")
    assert np.all(np.sqrt(np.diag(profile.covariance_um2)[1:-1]) >= SHARE_UM)


def test_readings_written_in_whole_numbers_are_uncertain_by_that_step(invented_bed, make_traverse):
    """A dial that shows tenths, written down in whole micrometres: 1/√12, not 0.1/√12."""
    bed = invented_bed(instruments={"dial": COARSE["dial"].replace("= 2.0", "= 0.1")})
    whole = dial_along(bed, make_traverse, 1, np.array([3.0, 1, 4, 1, 5, 9, 2, 6, 5, 3, 8]))
    tenths = dial_along(bed, make_traverse, 1, np.array([3.1, 1, 4, 1, 5, 9, 2, 6, 5, 3, 8]))
    assert np.sqrt(observe(whole, bed).variance) == pytest.approx(1 / 12**0.5)
    assert np.sqrt(observe(tenths, bed).variance) == pytest.approx(0.1 / 12**0.5)


def test_step_in_another_written_unit_is_seen_in_that_unit(invented_bed, make_traverse):
    """Whole thou from a dial of 1 µm: the step is 25.4 µm."""
    bed = invented_bed(instruments={"dial": COARSE["dial"].replace("= 2.0", "= 1")})
    thou = 25.4 * np.array([3.0, 1, 4, 1, 5, 9, 2, 6, 5, 3, 8])
    run = observe(dial_along(bed, make_traverse, 1, thou, unit="thou"), bed)
    assert np.sqrt(run.variance) == pytest.approx(25.4 / 12**0.5)


def test_few_readings_that_happen_to_be_even_are_no_coarser_step():
    """Five whole numbers are all even once in 32 times, seven once in 128."""
    assert step_shown(np.array([2.0, 4, 8, 6, 12]), 1.0) == 0.0
    assert step_shown(2.0 * np.arange(7), 1.0) == 2.0


def test_readings_far_smaller_than_one_of_their_unit_keep_to_no_step_larger_than_they_are():
    """Inches a foot: a cross level reads some ten-thousandths of one; thousands are no step of theirs."""
    reading = np.array([0.00021, -0.000347, 0.0005512, 0.0000318, -0.0001999, 0.0004071])
    assert step_shown(reading) == 0.0
    assert step_shown(np.round(reading, 4)) <= 1e-4
