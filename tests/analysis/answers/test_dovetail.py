"""Dovetails by pins: the published measure, its angle by two sizes, taper, flanks, and the gib."""

from math import cos, radians, sin

import numpy as np
import pytest

from acquire.model.errors import AnalysisError
from analysis.answers.dovetail import angle_of_pins, cot_half, dovetail, gib_for, width_mm
from analysis.words.flanks import dovetail_words, gib_words


def _measure(width, pin, angle, *, is_over=True):
    """By construction, not by cotangents: a pin's centre is r from the flat and r from the flank."""
    r, a = pin / 2, radians(angle)
    # distance x of the centre from the corner along the flat: x sin(a) − r cos(a) = r, to the flank's inside
    x = (r + r * cos(a)) / sin(a)
    return width + (2 if is_over else -2) * (x + r)


def test_width_over_pins_is_the_published_one():
    """Published: formula quoted publicly from Machinery's Handbook (not read there); W 1, d 0.25, 60°."""
    assert width_mm(1.683013, 0.25, 60, is_over=True) == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize("angle", [45, 55, 60])
@pytest.mark.parametrize("is_over", [True, False])
def test_width_and_angle_are_given_back_by_pins_that_touch(angle, is_over):
    measures = tuple(_measure(60, pin, angle, is_over=is_over) for pin in (6, 16))
    assert width_mm(measures[0], 6, angle, is_over=is_over) == pytest.approx(60)
    assert angle_of_pins(measures, (6, 16), 2.0, is_over=is_over).value == pytest.approx(angle)


def test_angle_is_known_to_half_a_minute_of_arc():
    """Derived: readings of 2 µm, pins 10 mm apart in size, 60°: 29″."""
    measures = tuple(_measure(60, pin, 60) for pin in (6, 16))
    found = angle_of_pins(measures, (6, 16), 2.0, is_over=True)
    assert found.standard_uncertainty * 3600 == pytest.approx(29, abs=0.3)


def test_taper_is_the_least_squares_line_whatever_pins_and_angle_are():
    """Second method: numpy's polyfit; an error of the angle moves every width, and no taper."""
    x = np.arange(0, 501, 100.0)
    m = 70 + 4e-5 * x + np.random.default_rng(1).normal(0, 0.002, 6)
    found = dovetail(x, m, 10, 60, angle_uncertainty_deg=0.1)
    assert found.taper_um_per_m.value == pytest.approx(np.polyfit(x / 1000, m * 1000, 1)[0])
    assert found.taper_um_per_m.standard_uncertainty == pytest.approx(
        2 / np.sqrt(np.sum((x - 250) ** 2)) * 1000
    )
    by_angle = 10 * (cot_half(60.1) - cot_half(60)) * 1000
    assert found.width_uncertainty_um == pytest.approx(np.hypot(2, by_angle), rel=0.01)


@pytest.mark.parametrize("is_over", [True, False])
@pytest.mark.parametrize("second_mm", [None, 6.0, 20.0])
def test_uncertainty_of_the_width_is_that_of_drawn_readings_angles_and_pins(is_over, second_mm):
    """Second method: 2000 draws of all that is uncertain, measures by construction; at the first place."""
    random, pin_mm, places = np.random.default_rng(7), 12.0, [0.0]

    def drawn(second_mm):
        angle = 60 + random.normal(0, 0.05)
        pins = [each + random.normal(0, 0.001) for each in (pin_mm, second_mm or pin_mm)]
        read = [_measure(60, d, angle, is_over=is_over) + random.normal(0, 0.002) for d in pins]
        second = None if second_mm is None else (second_mm, read[1])
        return dovetail(
            places, read[:1], pin_mm, 60 if second is None else None, second=second, is_over=is_over,
            reading_uncertainty_um=2.0, pin_uncertainty_um=1.0,
            angle_uncertainty_deg=0.05 if second is None else None,
        )  # fmt: skip

    found = [drawn(second_mm) for _ in range(2000)]
    off_um = np.std([1000 * (each.width_mm[0] - 60) for each in found])
    # with a smaller second size other places than the first are less sure, and the figure is of the worst
    worst = np.hypot(1, 2 * 2**0.5) / np.hypot(1, 2) if second_mm == 6.0 else 1.0
    assert off_um <= found[0].width_uncertainty_um * 1.04 <= off_um * worst * 1.1
    if second_mm is not None:
        off_deg = np.std([each.angle.value for each in found])
        # each survey has an angle of its own, which is no error of what was measured
        assert np.hypot(found[0].angle.standard_uncertainty, 0.05) == pytest.approx(off_deg, rel=0.05)


def test_width_that_hangs_on_an_angle_nobody_measured_says_so_beside_the_figure():
    """By hand: 0.1° at 60° and pins of 12 mm is 12 (1 + 3)/2 · 1.745e-3 = 0.0419 mm."""
    first = dovetail_words(dovetail([0], [90], 12, 60), inch=False)[0]
    assert "if its flanks stand at 60° exactly: 0.1° off is 42 µm" in first
    assert "diameters exact (1.0 µm (0.04 thou) off is up to 2.7 µm" in "".join(
        dovetail_words(dovetail([0], [90], 12, 60), inch=False)
    )
    stated = dovetail([0], [90], 12, 60, angle_uncertainty_deg=0.1, pin_uncertainty_um=1)
    by_pins = dovetail([0], [90], 12, second=(6, 90 - 6 * (1 + cot_half(60))), pin_uncertainty_um=1)
    for found in (stated, by_pins):
        said = "\n".join(dovetail_words(found, inch=False))
        assert "exactly" not in said and "angle exact" not in said and "diameters exact" not in said


@pytest.mark.parametrize("is_over", [True, False])
def test_indicator_from_a_sound_side_tells_which_flank(is_over):
    """Truth: the read flank worn 20 µm along its normal at the second place, the other 5."""
    lost = (20 + 5) / sin(radians(60)) / 1000 * (1 if is_over else -1)
    found = dovetail(
        [0, 100], [70, 70 - lost], 10, 60, is_over=is_over, side_um=[3, 3 - 20 / sin(radians(60))]
    )
    assert found.flanks_um[0][1] == pytest.approx(-20) and found.flanks_um[1][1] == pytest.approx(-5)
    # 1 µm and 1 µm of the indicator; of the other flank the two measures of 2 µm besides
    by_hand = sin(radians(60)) * np.sqrt([2 * 1**2, 2 * 1**2 + 2 * 2**2])
    assert found.flank_uncertainty_um == pytest.approx(by_hand)
    said = "\n".join(dovetail_words(found, inch=False))
    assert "flank read" in said and ("narrower" if is_over else "wider") in said


def test_width_alone_never_names_a_flank():
    found = dovetail([0, 100], [70, 69.95], 10, 60)
    assert found.flanks_um is None
    assert any("Which flank it is, a width cannot tell" in line for line in dovetail_words(found, inch=True))


def test_gib_takes_up_the_play():
    """Derived: 40 µm at 60°, 1:60: driven 2.08 mm."""
    found = gib_for(40, 60, 60)
    assert (found.thicker_um, found.driven_mm) == pytest.approx((34.6, 2.08), abs=0.05)
    assert "2.08 mm further in" in gib_words(found, inch=False)[1]
    assert gib_for(40, 60).driven_mm is None


def test_what_is_no_dovetail_is_refused():
    with pytest.raises(AnalysisError, match="two sizes"):
        angle_of_pins((70, 70), (10, 10), 2.0, is_over=True)
    with pytest.raises(AnalysisError, match="grows with the pins"):
        angle_of_pins((70, 60), (6, 16), 2.0, is_over=True)
    with pytest.raises(AnalysisError, match="30 to 85"):
        cot_half(90)
    with pytest.raises(AnalysisError, match="rise"):
        dovetail([100, 0], [70, 70], 10, 60)
    for both_or_neither in ({}, {"angle_deg": 60, "second": (6, 60)}):
        with pytest.raises(AnalysisError, match="one of the two"):
            dovetail([0], [70], 10, **both_or_neither)
