"""Once a face names unworn stretches they are its line of reference, wherever heights are shown."""

import numpy as np
import pytest

from analysis.adjust.combination import combine
from analysis.answers.datums import datums
from analysis.answers.face_map import map_face
from analysis.answers.next_traverse import next_traverse
from analysis.answers.whole_bed import whole_bed
from analysis.words.facts import sentences

MIDDLES = np.arange(50, 1000, 100.0)
LEVEL = {
    "level": 'quantity = "slope"\nunit = "um/m"\nbase_mm = 100\nstandard_uncertainty = 1.0\nseating_um = 0'
}


@pytest.fixture
def worn(make_traverse, invented_bed):
    """The map of a way worn by 40 µm at its near end; unworn from 500 mm on, or where it was not measured."""

    def mapped(unworn):
        bed = invented_bed(faces={"way": f'normal = "up"\nunworn_mm = {unworn}'}, instruments=LEVEL)
        slope = np.where(MIDDLES < 500, 80.0, 0.0)
        return combine([make_traverse(bed, "level", MIDDLES, slope, face="way")], bed)

    return mapped


def test_heights_are_from_the_unworn_stretches_everywhere(worn):
    """Truth given: worn by 40 µm at 0 mm, which the line through the ends would turn into a crown of 20."""
    bed_map = worn([[500, 1000]])
    found = map_face(bed_map, "way")
    assert found.line == "unworn"
    assert found.height_um == pytest.approx(np.minimum(np.arange(11) * 8.0 - 40, 0.0), abs=1e-9)
    assert whole_bed(bed_map).faces["way"].height_um == pytest.approx(found.height_um)
    (judged,) = datums(bed_map).faces
    assert judged.at_most_um == pytest.approx(40 + found.straightness_expanded_um)
    assert next_traverse(bed_map).best_known["way"] == pytest.approx(found.straightness_expanded_um)


def test_line_through_the_ends_is_there_on_request(worn):
    found = map_face(worn([[500, 1000]]), "way", line="ends")
    assert found.line == "ends" and found.straightness_um["ends"] == pytest.approx(20.0)


def test_unworn_stretches_that_hold_no_two_heights_are_said_to_tell_no_wear(worn):
    found = map_face(worn([[10, 90]]), "way")
    assert found.line == "ends"
    assert any("tell no wear" in words for words in sentences(found.warnings))
