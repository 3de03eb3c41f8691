"""A level whose feet miss what others read is told; one whose feet meet them is not."""

import numpy as np
import pytest

from analysis.adjust.combination import combine
from analysis.answers.feet import untied_feet

X = np.arange(0, 1001, 100.0)


@pytest.mark.parametrize(("base_mm", "is_told"), [(130, True), (100, False), (200, False), (50, False)])
def test_feet_that_miss_the_stations_read_are_told(make_traverse, invented_bed, base_mm, is_told):
    sure = "standard_uncertainty = 1.0\nseating_um = 0.0"
    bed = invented_bed(
        instruments={
            "level": f'quantity = "slope"\nunit = "um/m"\nbase_mm = {base_mm}\n{sure}',
            "dial": f'quantity = "offset"\nunit = "um"\n{sure}',
        }
    )
    middles = base_mm * (np.arange(1000 // base_mm) + 0.5)
    level = make_traverse(bed, "level", middles, np.zeros(len(middles)), face="front-flat")
    dial = make_traverse(bed, "dial", X, np.zeros(11), face="front-flat", reference="line")
    assert bool(untied_feet(combine([level, dial], bed), "front-flat")) is is_told
    assert not untied_feet(combine([level], bed), "front-flat")
