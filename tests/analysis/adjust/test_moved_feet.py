"""Feet that stood a millimetre or two off their stations: counted where the way bends, and said.

The way is invented; readings are simulated from it at the places where the feet really stood.
"""

from dataclasses import replace

import numpy as np
import pytest

from acquire.model.errors import AnalysisError
from analysis.adjust.combination import combine
from analysis.linear.reference_lines import remove_line
from analysis.words.facts import sentences

MIDDLE = np.arange(50.0, 1000.0, 100.0)
LEVEL = 'quantity = "slope"\nunit = "um/m"\nbase_mm = 100\nstandard_uncertainty = 0.3\nseating_um = 0'


def hollow(x):
    return -80 * np.exp(-(((np.asarray(x) - 450) / 150) ** 2))


@pytest.fixture
def stepped(invented_bed, make_traverse):
    """The map of a level stepped along the way, its feet off their stations by `off_mm`."""
    bed = invented_bed(instruments={"level": LEVEL})

    def make(off_mm, rng, shape=hollow, directions=("forward",)):
        at = MIDDLE + off_mm
        reading = (shape(at + 50) - shape(at - 50)) * 10
        runs = [
            make_traverse(
                bed, "level", at, reading + rng.normal(0, 0.3, len(MIDDLE)), face="front-flat",
                direction=direction,
            )
            for direction in directions
        ]  # fmt: skip
        return combine(
            [replace(run, setup=replace(run.setup, number=n)) for n, run in enumerate(runs, 1)], bed
        )

    return make


def ratios(bed_map, shape=hollow):
    level = remove_line(bed_map.profile("front-flat"), "least-squares")
    truth = shape(level.station_mm)
    truth = truth - np.polyval(np.polyfit(level.station_mm, truth, 1), level.station_mm)
    return (level.height_um - truth) / level.standard_uncertainty_um


@pytest.mark.statistics
def test_feet_off_their_stations_on_a_bending_way_are_as_sure_as_it_says(stepped):
    """80 µm deep over some 300 mm: a reading a millimetre off is off by up to 7 µm/m (0.3 stated)."""
    found = []
    for seed in range(20):
        rng = np.random.default_rng(seed)
        bed_map = stepped(rng.uniform(-0.9, 0.9, len(MIDDLE)), rng)
        assert len(bed_map.nodes) == 11  # the feet meet at the stations
        found.append(ratios(bed_map))
    spread = np.sqrt(np.mean(np.square(found)))
    assert 0.4 < spread < 1.4  # some 10 where feet are taken as on their stations in silence
    assert any("feet stood up to 0." in words and "counts" in words for words in sentences(bed_map.warnings))


def kinked(rng):
    """Straight pieces 50 mm long: neighbouring readings do not tell how it slopes at a station."""
    at = np.arange(-100.0, 1101.0, 50.0)
    rise = np.cumsum(rng.normal(0, 2, len(at)))
    return lambda x: np.interp(x, at, rise)


@pytest.mark.statistics
@pytest.mark.parametrize("is_kinked", [False, True])
def test_runs_that_stand_beside_the_same_stations_are_off_by_the_same(stepped, is_kinked):
    """There and back twice, feet on the same marks: what the bend makes of it does not average out."""
    found = []
    for seed in range(15):
        rng = np.random.default_rng(seed)
        shape = kinked(rng) if is_kinked else hollow
        off_mm = rng.uniform(-0.9, 0.9, len(MIDDLE))
        found.append(ratios(stepped(off_mm, rng, shape, ("forward", "reverse") * 2), shape))
    assert np.sqrt(np.mean(np.square(found))) < 1.2  # more where each run is off by itself: 2.4, 1.5


def test_bend_beside_stations_is_no_surer_for_a_second_run(stepped):
    """Readings without noise to speak of: what is left is the bend, the same in both."""
    off_mm = np.tile([0.9, -0.9], 5)
    sure = [
        remove_line(
            stepped(off_mm, np.random.default_rng(0), directions=directions).profile("front-flat"), "ends"
        ).standard_uncertainty_um[4:6]
        for directions in (("forward",), ("forward", "forward"))
    ]
    np.testing.assert_allclose(sure[1], sure[0], rtol=0.1)  # 0.71 of it where each run is off by itself


def test_feet_on_their_stations_or_on_a_straight_way_count_nothing(stepped):
    rng = np.random.default_rng(1)
    exact = stepped(np.zeros(len(MIDDLE)), rng)
    straight = stepped(rng.uniform(-0.9, 0.9, len(MIDDLE)), rng, shape=lambda x: 0.02 * x)
    sure = [
        remove_line(each.profile("front-flat"), "ends").standard_uncertainty_um[1:-1]
        for each in (exact, straight)
    ]
    # the way's bend is judged from readings that scatter: a hundredth of their noise
    np.testing.assert_allclose(sure[1], sure[0], rtol=0.01)
    assert not [
        words for each in (exact, straight) for words in sentences(each.warnings) if "feet stood" in words
    ]


def test_level_on_a_carriage_over_ways_that_nothing_else_read_has_no_feet_off_stations(
    invented_bed, make_traverse
):
    """Its feet stand on the carriage, whose own stand on places that are no nodes."""
    bed = invented_bed(
        bed="carriage_length_mm = 230",
        faces={
            "front": 'normal = "up"\nacross_mm = 0\ncarriage = "front"',
            "rear": 'normal = "up"\nacross_mm = 300\ncarriage = "rear"',
        },
        instruments={"level": LEVEL},
    )
    at = np.arange(200.0, 801.0, 100.0)
    reading = np.linspace(0, 30, len(at))
    bed_map = combine([make_traverse(bed, "level", at, reading, face="carriage", reference=None)], bed)
    assert not [words for words in sentences(bed_map.warnings) if "feet stood" in words]


def stepped_by(invented_bed, make_traverse, base_mm, at_mm, shape, rng, claimed=0.3):
    """The map of a level of some base read at some places of a bed 1 m long."""
    bed = invented_bed(instruments={"level": LEVEL.replace("100", f"{base_mm:g}")})
    rise = shape(at_mm + base_mm / 2) - shape(at_mm - base_mm / 2)
    reading = 1000 * rise / base_mm + rng.normal(0, claimed, len(at_mm))
    return combine([make_traverse(bed, "level", at_mm, reading, face="front-flat")], bed)


@pytest.mark.parametrize(
    ("base_mm", "first_mm", "pitch_mm", "chains"),
    [
        (100.5, 50.25, 100.5, 1),
        (100.5, 100, 100, 1),
        (98.4, 60, 100, 1),
        (200, 100, 99, 2),
        (200, 101, 101, 2),
    ],
)
def test_base_that_is_not_quite_the_pitch_leaves_no_height_unknown(
    invented_bed, make_traverse, base_mm, first_mm, pitch_mm, chains
):
    """A straight way reads the same wherever the level stands: each chain of feet lies on one line."""
    at = np.arange(first_mm, 1000 - base_mm / 2, pitch_mm)
    bed_map = stepped_by(
        invented_bed, make_traverse, base_mm, at, lambda x: 0.02 * x, np.random.default_rng(0), claimed=0.0
    )
    parts = bed_map.lines[("height", "front-flat")].parts
    assert len(parts) == chains
    assert sorted(np.concatenate(parts)) == list(range(len(bed_map.nodes)))
    assert remove_line(bed_map.profile("front-flat"), "ends").height_um == pytest.approx(0.0, abs=1e-9)


def test_level_whose_feet_never_meet_says_so_and_what_to_do(invented_bed, make_traverse):
    at, rng = np.arange(60.0, 941.0, 100.0), np.random.default_rng(0)
    bed_map = stepped_by(invented_bed, make_traverse, 103, at, hollow, rng)
    (said,) = [words for words in sentences(bed_map.cannot_tell) if "front-flat cannot be known" in words]
    assert said.endswith("of a foot of another step; step it by its base, foot to foot")
    with pytest.raises(AnalysisError, match="feet of its level never met"):
        bed_map.profile("front-flat")


@pytest.mark.parametrize("at_mm", [[100.0], [100.0, 203.0], [100.0, 400.0]])
def test_level_of_too_few_steps_is_not_said_to_have_missed(invented_bed, make_traverse, at_mm):
    rng = np.random.default_rng(0)
    bed_map = stepped_by(invented_bed, make_traverse, 103, np.array(at_mm), hollow, rng)
    assert not [words for words in sentences(bed_map.cannot_tell) if "foot of another" in words]


@pytest.mark.statistics
@pytest.mark.parametrize("feet", [1, 2])
def test_heights_of_a_base_that_is_not_quite_the_pitch_are_as_sure_as_it_says(
    invented_bed, make_traverse, feet
):
    found = []
    for seed in range(30):
        rng = np.random.default_rng(seed)
        base_mm = 100 * feet + rng.choice([-1, 1]) * rng.uniform(0.1, 1.9)
        at = np.arange(50.0 * feet, 1001 - base_mm / 2, 100)
        found.append(ratios(stepped_by(invented_bed, make_traverse, base_mm, at, hollow, rng)).ravel())
    spread = np.sqrt(np.mean(np.square(np.concatenate(found))))
    assert 0.4 < spread < 1.3  # many times that where a rise over one base is taken as that over one pitch
