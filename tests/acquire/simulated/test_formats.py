import re

import numpy as np
import pytest

from acquire.simulated.instruments import (
    comma_line,
    damaged,
    fixed_line,
    labelled_line,
)


@pytest.mark.parametrize(
    ("frame", "sent"),
    [
        (fixed_line(1, 7)(-0.04), b"-00000.0\r\n"),
        (fixed_line(2, 7)(1234.5), b"+1234.50\r\n"),
        (labelled_line("B", "arcsec", 2, 7)(-12.5), b"B -0012.50 arcsec\r\n"),
        (comma_line(4, 7)(0.2401), b"+00,2401\r"),
    ],
)
def test_line_is_as_written_by_hand(frame, sent):
    assert frame == sent


def test_damage_never_turns_one_reading_into_another():
    rng, good = np.random.default_rng(3), b"+00012.5\r\n"
    for _ in range(500):
        bad = damaged(rng, good)
        assert bad != good and re.fullmatch(rb"[-+]\d{5}\.\d", bad.strip()) is None
