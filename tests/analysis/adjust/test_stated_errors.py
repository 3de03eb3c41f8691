"""What bed.toml states of an instrument, as numbers in the ± of an answer: base, seating, several zeros.

All derived by hand from the sums they enter; the readings are invented.
"""

import numpy as np
import pytest

from analysis.adjust.combination import combine
from analysis.answers.twist import twist_of
from analysis.linear.reference_lines import remove_line
from analysis.observe import observe

STATION = np.arange(0.0, 1001.0, 100.0)
MIDDLE = np.arange(50.0, 1000.0, 100.0)
GAUGE_MM = 300.0
HOLLOW = np.linspace(-50.0, 50.0, 10)
NEAR, FAR = slice(0, 6), slice(5, 11)


def slope(more=""):
    return f'quantity = "slope"\nunit = "um/m"\nbase_mm = 100\nstandard_uncertainty = 0.001\n{more}'


def cross(u=2.0, more="seating_um = 0.0"):
    return f'quantity = "roll"\nunit = "um/m"\nstandard_uncertainty = {u}\n{more}'


@pytest.mark.parametrize(
    ("stated", "share"),
    [("base_uncertainty_mm = 2", 0.02), ("base_uncertainty_mm = 0.5\nscale_uncertainty = 0.012", 0.013)],
)
def test_base_error_leaves_every_depth_unsure_by_its_share(invented_bed, make_traverse, stated, share):
    """2 mm on a base of 100: 2 % of each height; 0.5 mm beside a scale of 1.2 %: √(0.5² + 1.2²) = 1.3 %."""
    bed = invented_bed(instruments={"level": slope(f"seating_um = 0.0\n{stated}")})
    run = make_traverse(bed, "level", MIDDLE, HOLLOW, face="front-flat")
    level = remove_line(combine([run], bed).profile("front-flat"), "ends")
    np.testing.assert_allclose(
        level.standard_uncertainty_um[1:-1], share * np.abs(level.height_um[1:-1]), rtol=2e-3
    )


def test_base_error_is_one_and_the_same_on_both_ways(invented_bed, make_traverse):
    """Two ways alike: a base that is out makes both wrong alike, and what lies between them stays sure."""
    bed = invented_bed(instruments={"level": slope("seating_um = 0.0\nbase_uncertainty_mm = 2")})
    runs = [make_traverse(bed, "level", MIDDLE, HOLLOW, face=face) for face in ("front-flat", "rear-flat")]
    between = combine(runs, bed).difference("rear-flat", "front-flat")
    assert np.max(remove_line(between, "ends").standard_uncertainty_um) < 0.01


@pytest.mark.parametrize(("seating_um", "u"), [(0.0, 2.0), (0.3, 2.0), (0.6, 0.5)])
def test_seating_of_both_feet_enters_a_roll(invented_bed, make_traverse, seating_um, u):
    """Two feet 300 mm apart, each seated to s: √2·s/0.3 beside the u of a reading."""
    bed = invented_bed(instruments={"cross": cross(u, f"seating_um = {seating_um}")})
    run = make_traverse(bed, "cross", STATION, 0 * STATION, front="front-flat", rear="rear-flat")
    of_feet = np.sqrt(2) * seating_um / 0.3
    np.testing.assert_allclose(observe(run, bed).variance, u**2 + of_feet**2, rtol=1e-6)
    found = twist_of([run], bed, "front-flat", "rear-flat")
    assert found.wind_expanded_um_per_m == pytest.approx(2 * np.sqrt(2 * (u**2 + of_feet**2)))


def across(make_traverse, bed, where, zero, **setup):
    reading = 0.2 * STATION[where] + zero
    return make_traverse(bed, "cross", STATION[where], reading, front="front-flat", rear="rear-flat", **setup)


def test_wind_over_two_runs_with_a_zero_each_hangs_on_the_station_they_share(invented_bed, make_traverse):
    """Far − shared in the one and shared − near in the other: four readings, 2u, so ± 4u; with one zero
    that did not move it would be √2·u again, ± 2√2·u, and it may have moved."""
    bed = invented_bed(instruments={"cross": cross(2.0)})
    first, second = across(make_traverse, bed, NEAR, 10.0), across(make_traverse, bed, FAR, -30.0)
    found = twist_of([first, second], bed, "front-flat", "rear-flat")
    assert found.wind_um_per_m == pytest.approx(200.0)
    assert found.wind_expanded_um_per_m == pytest.approx(4 * 2.0)
    tied = across(make_traverse, bed, FAR, 10.01, same_zero_as=first.number)
    found = twist_of([first, tied], bed, "front-flat", "rear-flat")
    assert found.wind_um_per_m == pytest.approx(200.0, abs=0.02)
    # derived: it moved by 3 · 2 µm/m for each run of five intervals, six of them after the first began
    moved = 1 / (1 / (6 / 5 * 3 * 2.0) ** 2 + 1 / (2 * 2.0**2))
    assert found.wind_expanded_um_per_m == pytest.approx(2 * np.sqrt(2 * 2.0**2 + moved), rel=1e-3)


def test_second_run_with_another_zero_halves_the_variance_of_the_wind(invented_bed, make_traverse):
    bed = invented_bed(instruments={"cross": cross(2.0)})
    whole = slice(0, 11)
    runs = [across(make_traverse, bed, whole, zero) for zero in (3.0, 55.0)]
    found = twist_of(runs, bed, "front-flat", "rear-flat")
    assert found.wind_expanded_um_per_m == pytest.approx(2 * 2.0)


def test_wind_of_two_ways_by_one_level_holds_what_their_readings_share(invented_bed, make_traverse):
    """Rear and front end heights are sums of ten slopes each: √20·u·0.1 m over the gauge; an error that all
    readings share (scale) acts on the wind alone, not on the tilt that both ways have in common."""
    stated = "seating_um = 0.0\nscale_uncertainty = 0.01"
    level = slope(stated).replace("0.001", "1.0")
    bed = invented_bed(instruments={"level": level})
    first = make_traverse(bed, "level", MIDDLE, np.full(10, 4000.0), face="front-flat")
    second = make_traverse(
        bed, "level", MIDDLE, np.full(10, 4300.0), face="rear-flat", same_zero_as=first.number
    )
    found = twist_of([first, second], bed, "front-flat", "rear-flat")
    wind = 300.0 / GAUGE_MM * 1000  # 300 µm between the ways at the far end
    noise = np.sqrt(20) * 0.1 / 0.3
    assert found.wind_um_per_m == pytest.approx(wind)
    drift = 3.0 * np.hypot(10 / 9, 1) / 0.3  # over a run of nine intervals, and once more between the runs
    expected = 2 * np.sqrt(noise**2 + (0.01 * wind) ** 2 + drift**2)
    assert found.wind_expanded_um_per_m == pytest.approx(expected, rel=1e-3)


def test_wind_between_two_instruments_shares_no_scale(invented_bed, make_traverse):
    """Each with a scale of its own: an end that both carry up by as much is unsure by both."""
    bed = invented_bed(
        instruments={name: slope("seating_um = 0.0\nscale_uncertainty = 0.01") for name in ("a", "b")},
        more="",
    )
    runs = [
        make_traverse(bed, "a", MIDDLE, HOLLOW, face="front-flat"),
        make_traverse(bed, "b", MIDDLE, HOLLOW, face="rear-flat"),
    ]
    level = remove_line(combine(runs, bed).difference("rear-flat", "front-flat"), "ends")
    depth = np.abs(np.cumsum(HOLLOW)[:-1] * 0.1)
    np.testing.assert_allclose(level.standard_uncertainty_um[1:-1], np.sqrt(2) * 0.01 * depth, rtol=2e-2)


@pytest.mark.parametrize("step", [1.0, 10.0])
def test_coarse_cross_level_leaves_the_wind_unsure_by_its_step(invented_bed, make_traverse, step):
    """Two ends, each rounded: √2·q/√12, so that ± is 2√2·q/√12."""
    bed = invented_bed(instruments={"cross": cross(0.001, f"seating_um = 0.0\nresolution = {step}")})
    read = step * np.round(0.2 * STATION / step)
    run = make_traverse(bed, "cross", STATION, read, front="front-flat", rear="rear-flat")
    found = twist_of([run], bed, "front-flat", "rear-flat")
    shown = 20.0 if step == 10.0 else found.wind_expanded_um_per_m / (2 * np.sqrt(2 / 12))
    assert found.wind_expanded_um_per_m == pytest.approx(2 * np.sqrt(2 / 12) * shown, rel=1e-3)
    assert shown >= step
