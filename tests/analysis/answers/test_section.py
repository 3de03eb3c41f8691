"""How a section of the bed follows its feet."""

import numpy as np
import pytest

from analysis.answers.section import pairs_mm, section_rows

FEET = "".join(
    f"[feet.f{n}]\nstation_mm = {x}\nacross_mm = {across}\n"
    for n, (x, across) in enumerate([(0, 0), (0, 300), (500, 0), (500, 300), (1000, 0), (1000, 300)])
)


def test_underside_comes_nearer_by_what_the_top_above_it_rises(invented_bed):
    """By hand: one body; a deviation counts along a face's own normal."""
    bed = invented_bed(
        faces={name: f'normal = "{way}"\nacross_mm = 40' for name, way in (("top", "up"), ("under", "down"))},
        more=FEET,
    )
    at_mm = np.array([0.0, 250.0, 1100.0])
    top, under = (section_rows(bed, face, pairs_mm(bed), at_mm) for face in ("top", "under"))
    assert under == pytest.approx(-top)
    # at a pair of feet: its own rise, and its roll on an arm of 110 mm from the middle, rear up
    assert top[0] == pytest.approx([1, 0, 0, -110, 0, 0])
