"""The height between nodes and its error: against Monte Carlo, brute force, and invariances."""

import numpy as np
import pytest

from analysis.adjust import between_nodes, kinds_of_way
from analysis.adjust.between_nodes import Roughness, judged, well_apart
from analysis.adjust.combination import adjusted, combine
from analysis.adjust.kinds_of_way import KINDS
from analysis.adjust.tying import tie_together
from analysis.answers.face_map import map_face
from analysis.linear.reference_lines import remove_line
from analysis.observe import observe_all

NODES = np.arange(0.0, 1201.0, 100.0)


def only(kind, variance=1.0, nodes=NODES):
    return Roughness(nodes, variance * np.eye(len(KINDS))[KINDS.index(kind)])


@pytest.mark.statistics
def test_error_of_a_random_walk_is_that_of_its_own_simulation():
    """Second method: H = 0.5 is Brownian motion, whose steps of 1 mm are simulated directly."""
    rng = np.random.default_rng(3)
    # −|d| per 100 mm: the variance of a difference is 2 d/100 µm²
    walks = np.cumsum(rng.normal(0, (2 / 100) ** 0.5, (4000, 1201)), axis=1)
    at = np.array([445, 430, 810])
    way = only(0.5)
    error = walks[:, at] - walks[:, NODES.astype(int)] @ way.weights(at.astype(float)).T
    assert way.covariance(at.astype(float)) == pytest.approx(np.cov(error.T), abs=0.06)


def test_likelihood_is_the_normal_density_of_what_a_cubic_leaves():
    """Brute force: the same average with the density written out in full, over the same kinds and sizes."""
    rng = np.random.default_rng(8)
    height = np.cumsum(rng.normal(0, 2, len(NODES)))
    noise = 0.3**2 * np.minimum.outer(np.arange(13.0), np.arange(13.0))
    q = np.linalg.qr(np.vander(NODES / 1200, 4), mode="complete")[0][:, 4:]
    z, own = q.T @ height, q.T @ noise @ q
    sizes = max(np.mean(z**2), np.mean(np.diag(own))) * between_nodes.SIZES**2
    total, weights = np.zeros(len(KINDS)), 0.0
    least = []
    shapes = []
    for kind in KINDS:
        square = (np.subtract.outer(NODES, NODES) ** 2 + kinds_of_way.SMALL_MM**2) / 100**2
        g = square * np.log(square) / 2 if kind == 1 else np.sign(kind - 1) * square**kind
        shapes.append(q.T @ g @ q / np.mean(np.diag(q.T @ g @ q)))
        least.append(np.mean(np.diag(q.T @ g @ q)))
    mixes = [*np.eye(6), *(np.eye(6)[k] + r**2 * np.eye(6)[0] for k in (4, 5) for r in (0.03, 0.1, 0.3))]
    for mix in mixes:
        shape = np.tensordot(mix, shapes, 1)
        for s2 in sizes:
            spread = s2 * shape + own
            density = np.exp(-z @ np.linalg.solve(spread, z) / 2) / np.linalg.det(spread) ** 0.5
            total += density * s2 * mix / np.array(least)
            weights += density
    assert judged(NODES, height, noise).variance_um2 == pytest.approx(total / weights, rel=1e-6)


def test_a_tilt_and_a_height_change_nothing():
    rng = np.random.default_rng(5)
    height, noise = rng.normal(0, 3, 13), 0.2**2 * np.eye(13)
    plain = judged(NODES, height, noise)
    tilted = judged(NODES, height + 700 + 0.4 * NODES, noise)
    assert tilted.variance_um2 == pytest.approx(plain.variance_um2, rel=1e-6)


def test_weights_are_exact_for_cubics_between_nodes_and_for_lines_beyond():
    way = only(1.5)
    at = np.array([20.0, 555.0, 1190.0])
    assert way.weights(at) @ (NODES / 100) ** 3 == pytest.approx((at / 100) ** 3)
    assert way.weights(np.array([1290.0])) @ NODES == pytest.approx([1290.0])
    few = only(1.5, nodes=NODES[:5])
    assert few.weights(np.array([30.0]))[0].tolist() == pytest.approx([0.7, 0.3, 0, 0, 0])


def test_three_nodes_do_not_tell_how_a_way_runs_between_them():
    assert judged(NODES[:3], np.zeros(3), np.eye(3)) is None


@pytest.mark.parametrize("kind", KINDS)
def test_a_place_close_to_a_node_is_known_about_as_well_as_the_node(kind):
    way = only(kind)
    near, far = way.covariance(np.array([401.0, 450.0])).diagonal() ** 0.5
    # of the roughest kind, heights a millimetre apart differ by half of what heights 50 mm apart do
    assert near < (0.5 if kind == KINDS[0] else 0.3) * far
    assert np.all(np.linalg.eigvalsh(way.covariance(np.arange(401.0, 500.0, 9.0))) > 0)


def test_long_lines_are_judged_in_pieces():
    """A walk of 200 nodes: its roughness comes out whatever the pieces."""
    rng = np.random.default_rng(6)
    x = np.arange(0.0, 20000.0, 100.0)
    way = judged(x, np.cumsum(rng.normal(0, 2**0.5, len(x))), 1e-4 * np.eye(len(x)))
    at = np.array([10050.0])
    found, truth = only_whole(way).covariance(at)[0, 0], only(0.5, nodes=x).covariance(at)[0, 0]
    assert found == pytest.approx(truth, rel=0.4)
    gaps = [way.covariance(place[None])[0, 0] for place in x[4:-4:7] + 50.0]
    assert np.mean(gaps) == pytest.approx(truth, rel=0.5)


def test_nodes_that_stand_close_are_not_both_interpolated_from():
    x = np.array([0.0, 100.0, 103.0, 200.0, 206.0, 300.0])
    assert x[well_apart(x, x % 100 == 0)].tolist() == [0, 100, 200, 300]


STATION = np.arange(0.0, 2101.0, 100.0)
DIAL = 'quantity = "offset"\nunit = "um"\nstandard_uncertainty = 1\nseating_um = 0\ncarrier_feet_mm = 90'
LEVEL = 'quantity = "slope"\nunit = "um/m"\nbase_mm = 100\nstandard_uncertainty = 1\nseating_um = 0'


def _with_a_dial_beside(invented_bed, make_traverse, rng, dials=1):
    bed = invented_bed(2100, instruments={"level": LEVEL, "dial": DIAL})
    slopes = rng.normal(0, 40, 21)
    level = make_traverse(bed, "level", STATION[:-1] + 50, slopes, face="front-flat")
    at = np.arange(50.0, 2100, 100)
    beside = [
        make_traverse(bed, "dial", at, rng.normal(0, 5, 21), face="rear-flat", reference="front-flat")
        for _ in range(dials)
    ]
    return bed, slopes, level, beside


def test_feet_between_the_stations_change_no_height_of_the_level_that_carries_them(
    invented_bed, make_traverse
):
    """A stepped level with 42 feet of a stand beside it is the sum by hand still."""
    bed, slopes, level, beside = _with_a_dial_beside(invented_bed, make_traverse, np.random.default_rng(2))
    bed_map = combine([level, *beside], bed)
    assert len(bed_map.assembly.layout.between) == 42
    alone = combine([level], bed).profile("front-flat")
    both = bed_map.profile("front-flat")
    line = np.vander(STATION / STATION[-1], 2)
    by_hand = np.concatenate([[0.0], np.cumsum(slopes * 0.1)])
    # heights of some 20 µm are held to a few of their last digits
    for other in (alone.height_um, by_hand):
        left = both.height_um - other
        assert left - line @ np.linalg.lstsq(line, left)[0] == pytest.approx(0, abs=4e-14)
    assert remove_line(both, "ends").covariance_um2 == pytest.approx(
        remove_line(alone, "ends").covariance_um2, abs=4e-15
    )


def test_ties_are_no_readings(invented_bed, make_traverse):
    """Chi-square, redundancy and suspects are those of readings; ties neither hide noise nor look like it."""
    rng = np.random.default_rng(4)
    bed, _, level, beside = _with_a_dial_beside(invented_bed, make_traverse, rng, dials=2)
    bed_map = adjusted(observe_all([level, *beside], bed), bed)
    assert bed_map.assembly.ties > 0
    # two dials differ by their zeros: 20 checks; the jagged way under them checks nothing besides
    assert 20.0 <= bed_map.redundancy <= 20.5
    assert len(bed_map.residuals) == 63
    difference = beside[0].stations.reading - beside[1].stations.reading
    assert bed_map.chi_square == pytest.approx(np.sum((difference - difference.mean()) ** 2) / 2, rel=0.05)
    assert {one.traverse for one in bed_map.suspects} <= {1, 2, 3}


@pytest.mark.statistics
def test_noise_is_told_in_full_where_a_level_stands_between_the_stations(invented_bed, make_traverse):
    """Three times what is claimed, so that variances are 9 times as large: places that a level reads closely
    would be some thirty checks more if their ties were readings, and hide half of it."""
    bed = invented_bed(2000, instruments={"level": LEVEL.replace("100", "130"), "dial": DIAL})
    at, middle, told = np.arange(0.0, 2001.0, 100.0), np.arange(65.0, 1936.0, 50.0), []
    for seed in range(6):
        rng = np.random.default_rng(seed)

        def way(x):
            return -40 * np.sin(np.pi * x / 2000) + 2 * np.sin(x / 90)

        slope = (way(middle + 65) - way(middle - 65)) / 130 * 1000
        runs = [
            make_traverse(
                bed, "dial", at, way(at) + 3 * rng.normal(size=21), face="front-flat", reference="line"
            )
            for _ in range(2)
        ]
        noise = 3 * rng.normal(size=middle.size)
        runs.append(make_traverse(bed, "level", middle, slope + noise, face="front-flat"))
        told.append(tie_together(observe_all(runs, bed), bed).variance_factor)
    # of six surveys with some 22 checks each the mean is sure to 9 √(2 / 132) = 1.1
    assert 6.0 < np.mean(told) < 12.5


@pytest.mark.statistics
def test_levels_whose_feet_hardly_ever_meet_map_one_way_together(invented_bed, make_traverse):
    """Chains of 200 and 130 mm share three places of a bed of 2000 mm, and say one shape between these."""
    bed = invented_bed(
        2000,
        instruments={"long": LEVEL.replace("100", "200"), "short": LEVEL.replace("100", "130")},
    )

    def way(x):
        return -40 * np.sin(np.pi * x / 2000) + 3 * np.sin(x / 110)

    runs = []
    for name, base in (("long", 200.0), ("short", 130.0)):
        middle = np.arange(base / 2, 2000 - base / 2 + 1, base)
        slope = (way(middle + base / 2) - way(middle - base / 2)) / base * 1000
        noise = np.random.default_rng(1).normal(size=middle.size)
        runs.append(make_traverse(bed, name, middle, slope + noise, face="front-flat"))
    bed_map = combine(runs, bed)
    found = map_face(bed_map, "front-flat", line="least-squares")
    true = way(found.station_mm)
    true = true - np.polyval(np.polyfit(found.station_mm, true, 1), found.station_mm)
    assert bed_map.lines[("height", "front-flat")].is_whole
    assert np.max(np.abs(found.height_um - true) / found.standard_uncertainty_um) < 4.0


def test_a_map_says_what_spacing_it_resolves(invented_bed, make_traverse):
    bed, _, level, _ = _with_a_dial_beside(invented_bed, make_traverse, np.random.default_rng(2))
    assert map_face(combine([level], bed), "front-flat").resolved_mm == 100.0


def test_height_beside_a_declared_joint_hangs_on_its_own_piece_alone():
    """Invented: a step of 50 µm at 650 mm between two straight pieces, the second tilted."""
    nodes = np.arange(0.0, 1301.0, 100.0)
    height = np.where(nodes < 650, 0.0, 50.0 + 0.02 * (nodes - 650))
    way = judged(nodes, height, 0.01 * np.eye(nodes.size), joints_mm=(650.0,))
    at = np.array([550.0, 640.0, 660.0, 750.0])
    assert way.weights(at) @ height == pytest.approx([0, 0, 50.2, 52.0])
    assert way.gap(640.0) != way.gap(660.0)
    assert np.sqrt(np.diag(way.covariance(at))).max() < 1.0
    as_one = judged(nodes, height, 0.01 * np.eye(nodes.size))
    assert np.sqrt(np.diag(as_one.covariance(at))).max() > 5.0


def test_station_left_out_beside_a_joint_is_not_known():
    """Between the last node of a piece and the joint nothing was read: no place between nodes."""
    nodes = np.arange(0.0, 1301.0, 100.0)
    way = judged(nodes, 0 * nodes, np.eye(nodes.size), joints_mm=(650.0,))
    assert not way.is_regular(640.0)
    assert not way.is_regular(660.0)
    assert way.is_regular(550.0)
    assert way.reaches(640.0)


def test_way_reaches_as_far_before_its_first_node_as_behind_its_last():
    nodes = np.arange(500.0, 1001.0, 100.0)
    way = only(KINDS[0], nodes=nodes)
    assert [way.reaches(mm) for mm in (299.0, 301.0, 1199.0, 1201.0)] == [False, True, True, False]


def test_hole_in_the_readings_is_no_place_between_nodes_as_close_as_usual():
    way = only(KINDS[0], nodes=np.array([0.0, 100.0, 200.0, 300.0, 500.0, 600.0, 700.0]))
    assert [way.is_regular(mm) for mm in (250.0, 400.0, 550.0)] == [True, False, True]


def test_piece_with_a_single_node_says_nothing_of_its_other_places():
    nodes = np.arange(0.0, 1001.0, 100.0)
    way = judged(nodes, 0 * nodes, np.eye(nodes.size), joints_mm=(950.0,))
    assert not way.reaches(960.0)
    assert way.reaches(940.0)
    beyond = judged(nodes, 0 * nodes, np.eye(nodes.size), joints_mm=(1050.0,))
    assert not beyond.reaches(1060.0)


LONG = np.arange(0.0, 2001.0, 100.0)


def only_whole(way):
    """Every gap as the whole way."""
    return Roughness(way.node_mm, way.variance_um2)


def _with_a_ledge(rng):
    """Worn, with a ledge of 10 to 30 µm at random: heights at any place, and the way as it was read."""
    at, wide, deep = rng.uniform(500, 1500), rng.uniform(400, 800), rng.uniform(3, 20)
    ledge, size = rng.uniform(405, 1595), rng.uniform(10, 30)

    def height(x):
        return -deep * np.exp(-(((x - at) / wide) ** 2)) + size * (x > ledge)

    noise = 0.1**2 * np.minimum.outer(np.arange(21.0), np.arange(21.0))
    read = height(LONG) + np.concatenate([[0.0], np.cumsum(rng.normal(0, 0.1, 20))])
    return height, judged(LONG, read, noise)


@pytest.mark.statistics
def test_ledge_is_counted_in_the_gap_where_it_shows():
    """Places a quarter of a gap from a node, read to 0.3 µm: with all gaps as the whole way, more than
    half of such ways had one off by more than 4.5 u."""
    rng, far, wide = np.random.default_rng(20621), np.zeros(2, int), np.zeros(2)
    at = (LONG[:-1, None] + [25.0, 75.0]).ravel()
    for _ in range(30):
        height, way = _with_a_ledge(rng)
        error = np.abs(height(at) - way.weights(at) @ height(LONG))
        for k, each in enumerate((way, only_whole(way))):
            u = np.sqrt([each.covariance(place[None])[0, 0] + 0.3**2 for place in at])
            far[k] += np.any(error > 4.5 * u)
            wide[k] += u.mean()
    assert far[1] >= 10
    assert far[0] <= 2
    assert wide[0] < 1.2 * wide[1]


@pytest.mark.statistics
def test_gap_that_runs_as_the_rest_of_a_smooth_way_is_hardly_rougher():
    rng, ratio = np.random.default_rng(20622), []
    for _ in range(20):
        noise = 0.1**2 * np.minimum.outer(np.arange(13.0), np.arange(13.0))
        read = -20 * np.sin(np.pi * NODES / 1200) + np.concatenate([[0], np.cumsum(rng.normal(0, 0.1, 12))])
        way, at = judged(NODES, read, noise), np.arange(50.0, 1200, 100)
        ratio += [way.covariance(x[None])[0, 0] / only_whole(way).covariance(x[None])[0, 0] for x in at]
    assert np.sqrt(np.mean(ratio)) < 1.2


def test_gaps_of_a_way_turned_end_for_end_are_as_rough():
    height = np.random.default_rng(4).normal(0, 2, 13) + 20.0 * (NODES > 450)
    noise = 0.2**2 * np.eye(13)
    way, turned = judged(NODES, height, noise), judged(NODES, height[::-1], noise)
    assert turned.gap_um2 == pytest.approx(way.gap_um2[::-1], rel=1e-9)
    # four nodes on either side of the ledge judge it; behind them nothing of it is seen
    assert way.gap_um2[5].sum() > 1.5 * way.gap_um2[-1].sum()


def test_same_way_told_by_other_nodes_keeps_its_rough_gap():
    way = judged(NODES, 20.0 * (NODES > 650), 0.1**2 * np.eye(13))
    again = way.with_nodes(NODES[::2], ())
    assert again.gap_um2[[0, 4, 7]] == pytest.approx(way.gap_um2[[0, 7, 13]])
