"""A scale error of a level drawn along two ways with one zero acts on the wind between them."""

import numpy as np
import pytest

from analysis.adjust.combination import combine

MIDDLE = np.arange(50.0, 951.0, 4.0)
LEVEL = (
    'quantity = "slope"\nunit = "um/m"\nbase_mm = 100\nstandard_uncertainty = 0.5\nseating_um = 0\n'
    "scale_uncertainty = {}"
)


def rise(invented_bed, make_traverse, scale, mode, zero=12.0, out=0.0):
    """How much more the rear rises over the metre than the front, and u; in truth by 2000 µm."""
    bed = invented_bed(instruments={"level": LEVEL.format(scale)})
    rng, runs = np.random.default_rng(3), []
    middle = MIDDLE if mode == "continuous" else np.arange(50.0, 1000.0, 100.0)
    for face, slope in (("front-flat", 0.0), ("rear-flat", 2000.0)):
        for direction in ("forward", "reverse"):
            time_s = (middle - 50 if direction == "forward" else 950 - middle) / 5
            reading = (slope + 5 * np.cos(middle / 200) + zero) * (1 + out) + rng.normal(0, 0.5, len(middle))
            runs.append(make_traverse(
                bed, "level", middle, reading, mode=mode, face=face, direction=direction,
                number=len(runs) + 1, time_s=time_s, same_zero_as=1 if runs else None,
                created_utc=f"2026-01-05T09:{4 * len(runs):02d}:00+00:00",
            ))  # fmt: skip
    bed_map = combine(runs, bed)
    row = np.zeros((1, len(bed_map.nodes)))
    for face, weight in (("rear-flat", 1.0), ("front-flat", -1.0)):
        row[0, bed_map.indices(face)[[0, -1]]] = -weight, weight
    found = bed_map.functional(row)
    return float(found.value_um[0]), float(found.covariance_um2[0, 0] ** 0.5)


@pytest.mark.parametrize(
    ("mode", "zero"),
    [
        ("stepped", 12.0),
        ("stepped", 5000.0),
        pytest.param("continuous", 5000.0, marks=pytest.mark.statistics),
    ],
)
def test_one_per_cent_of_scale_is_one_per_cent_of_the_wind(invented_bed, make_traverse, mode, zero):
    """20 µm of 2000, however the level was moved; drawn, it was told to ± 2."""
    value, u = rise(invented_bed, make_traverse, 0.01, mode, zero, out=0.01)
    exact, noise = rise(invented_bed, make_traverse, 0.0, mode, zero)
    assert abs(exact - 2000) < 3 * noise
    assert abs(value - 2000) < 2 * u
    assert u == pytest.approx(np.hypot(noise, 20.0), rel=0.1)
