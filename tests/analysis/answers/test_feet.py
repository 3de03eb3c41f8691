"""A level whose feet miss what others read is told; one whose feet meet them is not."""

import numpy as np
import pytest

from analysis.adjust.combination import combine
from analysis.answers.feet import untied_feet
from analysis.words.facts import sentence

X = np.arange(0, 1001, 100.0)


@pytest.mark.parametrize("base_mm", [130, 100, 200, 50])
def test_feet_that_miss_the_stations_read_are_tied_to_them(make_traverse, invented_bed, base_mm):
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
    assert untied_feet(combine([level, dial], bed), "front-flat") == ()
    assert not untied_feet(combine([level], bed), "front-flat")


def test_too_few_heights_to_judge_the_way_by_are_told_to_be_untied(make_traverse, invented_bed):
    """Three feet and three other stations: no way can be judged by three heights."""
    sure = "standard_uncertainty = 1.0\nseating_um = 0.0"
    bed = invented_bed(
        instruments={
            "level": f'quantity = "slope"\nunit = "um/m"\nbase_mm = 450\n{sure}',
            "dial": f'quantity = "offset"\nunit = "um"\n{sure}',
        }
    )
    level = make_traverse(bed, "level", [225.0, 675.0], [0.0, 0.0], face="front-flat")
    dial = make_traverse(
        bed, "dial", [100.0, 600.0, 1000.0], np.zeros(3), face="front-flat", reference="line"
    )
    (found,) = untied_feet(combine([level, dial], bed), "front-flat")
    assert "miss the stations" in sentence(found)
