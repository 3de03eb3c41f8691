"""A beam laid on a face: handbook sags, where it touches, and the same from a second method.

Sags of beams of even weight q, from memory of handbooks of strength of materials: on two ends
5 q L⁴ / (384 E I) in the middle; held in its middle, each half a cantilever, q (L/2)⁴ / (8 E I) at its ends.
"""

import numpy as np
import pytest
from scipy.optimize import minimize

from analysis.linear.laid_beam import lay_beam, self_weight_um

T = np.linspace(0, 1, 41)
BETA = 960.0


@pytest.mark.parametrize(
    ("length_mm", "depth_mm", "density", "modulus"),
    [(1000, 60, 7850, 207e9), (2000, 60, 7850, 207e9), (1000, 30, 7850, 207e9), (1000, 60, 2700, 70e9)],
)
def test_weight_of_a_rectangular_beam_is_that_of_its_section(length_mm, depth_mm, density, modulus):
    """q = ρ g b d, I = b d³ / 12, for any width b."""
    b, d, length = 0.02, depth_mm / 1000, length_mm / 1000
    q, stiff = density * 9.80665 * b * d, modulus * b * d**3 / 12
    found = self_weight_um(length_mm, depth_mm, density, modulus)
    assert found == pytest.approx(q * length**4 / stiff * 1e6)


def test_beam_on_its_two_ends_sags_by_the_handbook():
    depth = 40.0
    laid = lay_beam(T, depth * (2 * T - 1) ** 2 - depth, BETA)
    assert laid.rests_on.tolist() == [0, 40]
    assert laid.gap[20] == pytest.approx(depth - 5 / 384 * BETA, rel=1e-3)


def test_beam_on_a_crown_hangs_at_both_ends_by_the_handbook():
    crown = 40.0
    laid = lay_beam(T, -crown * (2 * T - 1) ** 2, BETA)
    assert laid.rests_on.tolist() == [20]
    assert laid.gap[[0, 40]] == pytest.approx([crown - BETA / 128] * 2, rel=2e-3)


def test_beam_that_would_sag_deeper_than_the_hollow_rests_in_its_middle_too():
    """12.5 of sag over a hollow of 5: it touches ends and middle, and hangs between."""
    laid = lay_beam(T, 5.0 * (2 * T - 1) ** 2, BETA)
    assert {0, 20, 40} <= set(laid.rests_on.tolist()) and laid.gap[10] > 0 and laid.gap[20] == 0


def test_gap_is_never_negative_and_none_on_a_straight_face():
    assert lay_beam(T, 3 + 7 * T, BETA).gap == pytest.approx(np.zeros(41), abs=1e-9)
    rough = np.random.default_rng(3).normal(0, 4, 41)
    assert lay_beam(T, rough, BETA).gap.min() == 0.0


def test_tilt_of_the_face_and_the_unit_of_its_places_change_nothing_and_a_mirrored_face_mirrors_the_gap():
    face = np.random.default_rng(4).normal(0, 4, 41)
    gap = lay_beam(T, face, BETA).gap
    assert lay_beam(1500 * T + 200, face + 30 * T - 5, BETA).gap == pytest.approx(gap, abs=1e-6)
    assert lay_beam(T, face[::-1], BETA).gap[::-1] == pytest.approx(gap, abs=1e-6)


def test_gap_is_the_one_of_least_energy_by_a_second_method():
    """Differences on a fine grid in place of cubic elements, a general minimiser in place of squares."""
    face, fine = np.array([0.0, -6.0, 3.0, -4.0, -2.0]), np.linspace(0, 1, 41)
    height = np.interp(fine, np.linspace(0, 1, 5), face)
    step = fine[1]
    bend = np.diff(np.eye(41), 2, axis=0) / step**2
    stiff = step * bend.T @ bend
    weight = np.full(41, step)
    weight[[0, -1]] /= 2
    found = minimize(
        lambda w: 0.5 * w @ stiff @ w + BETA * weight @ w,
        np.full(41, 4.0),
        jac=lambda w: stiff @ w + BETA * weight,
        bounds=[(h, None) for h in height],
        method="L-BFGS-B",
        options={"maxiter": 200_000, "maxfun": 400_000, "ftol": 1e-15, "gtol": 1e-9},
    )
    laid = lay_beam(fine, height, BETA)
    assert laid.gap == pytest.approx(found.x - height, abs=0.05)


@pytest.mark.parametrize("seed", [1, 2])
def test_rows_say_how_the_heights_make_the_gaps(seed):
    face = 20 * (2 * T - 1) ** 2 + np.random.default_rng(seed).normal(0, 0.2, 41)
    laid = lay_beam(T, face, BETA)
    change = np.random.default_rng(seed + 10).normal(0, 1e-4, 41)
    moved = lay_beam(T, face + change, BETA)
    assert moved.rests_on.tolist() == laid.rests_on.tolist()
    assert moved.gap - laid.gap == pytest.approx(laid.rows @ change, abs=1e-7)


@pytest.mark.parametrize("weight", [0.0, -1.0, float("nan")])
def test_beam_without_weight_is_refused(weight):
    with pytest.raises(ValueError, match="needed more than 0"):
        lay_beam(T, 0 * T, weight)
