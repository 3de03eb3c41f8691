"""Straightedges and their reversal, sag, taut wires and optical lines."""

import math

import numpy as np
import pytest

from acquire.model.bed import Straightedge, TautWire
from acquire.model.errors import AnalysisError
from analysis.adjust.combination import combine
from analysis.linear.reference_lines import remove_line
from analysis.observe import observe
from analysis.observe.sag import beam_sag, straightedge_sag_um, wire_sag_um
from analysis.words.facts import sentences

STATION = np.arange(0.0, 501.0, 100.0)
EDGE_NAME = "straightedge:two-foot"
WAY = np.array([0, 1, 3, 2, 1, 0.0])
EDGE = np.array([0, -0.5, 0.4, 0.8, 0.2, 0])
RUNS = np.array([0, 0.5, 3.4, 2.8, 1.2, 0]), np.array([0, -1.5, -2.6, -1.2, -0.8, 0])
EDGE_TABLE = "[straightedges.two-foot]\nlength_mm = 500"


def without_line(y):
    return y - np.polyval(np.polyfit(STATION, y, 1), STATION)


def test_reversal_separates_way_and_edge(invented_bed, make_traverse):
    """Derived in the reference values: half the difference of the runs is the way, half the sum the edge.

    The way read from the stand that rides the edge: way + edge with the edge turned over; the second
    run's dial looks the other way, so its sign is taken back: way − edge.
    """
    bed = invented_bed(500, more=EDGE_TABLE)
    over = make_traverse(
        bed, "dial", STATION, RUNS[0], face="front-flat", reference=EDGE_NAME, turned_over=True
    )
    plain = make_traverse(bed, "dial", STATION, -RUNS[1], face="front-flat", reference=EDGE_NAME)
    bed_map = combine([over, plain], bed)
    found = bed_map.profile("front-flat")
    assert without_line(found.height_um) == pytest.approx(without_line(WAY), abs=1e-9)
    edge = bed_map.profile("two-foot", "edge")
    assert without_line(edge.height_um) == pytest.approx(without_line(EDGE), abs=1e-9)
    assert not any("taken as straight" in words for words in sentences(bed_map.warnings))


def test_stand_on_the_way_touching_the_edge_gives_the_same(invented_bed, make_traverse):
    bed = invented_bed(500, more=EDGE_TABLE)
    runs = [
        make_traverse(
            bed,
            "dial",
            STATION,
            sign * EDGE - WAY + 4,
            face=EDGE_NAME,
            reference="front-flat",
            turned_over=sign < 0,
        )
        for sign in (1, -1)
    ]
    found = combine(runs, bed).profile("front-flat")
    assert without_line(found.height_um) == pytest.approx(without_line(WAY), abs=1e-9)


@pytest.mark.parametrize(("again", "is_known"), [(STATION, True), (STATION[:4], False), (STATION[:2], False)])
def test_shape_of_an_edge_turned_over_is_unknown_where_it_was_not_read_again(
    invented_bed, make_traverse, again, is_known
):
    bed = invented_bed(500, more=EDGE_TABLE)
    runs = [
        make_traverse(bed, "dial", x, 0 * x, face="front-flat", reference=EDGE_NAME, turned_over=turned)
        for x, turned in ((np.asarray(STATION), True), (np.asarray(again), False))
    ]
    said = "the shape of straightedge two-foot cannot be known from these readings"
    is_said = said in sentences(combine(runs, bed).cannot_tell)
    assert is_said is not is_known


def test_edge_never_turned_over_is_taken_as_straight_and_that_is_said(invented_bed, make_traverse):
    bed = invented_bed(500, more=EDGE_TABLE)
    run = make_traverse(bed, "dial", STATION, WAY, face="front-flat", reference=EDGE_NAME)
    bed_map = combine([run], bed)
    assert without_line(bed_map.profile("front-flat").height_um) == pytest.approx(without_line(WAY), abs=1e-9)
    assert any("two-foot is taken as straight" in words for words in sentences(bed_map.warnings))


WARM_EDGE = 'length_mm = 500\ndepth_mm = 40\nmaterial = "steel"\nsupports_mm = [105, 395]\n'
BEND_UM = 11.5e-6 * 500**2 / (8 * 40) * 1000 * 4 * (STATION / 500) * (1 - STATION / 500)
"""By hand: what 1 °C makes of steel 500 mm long and 40 mm deep, 9.0 µm in its middle."""


def _read_over_and_plain(invented_bed, make_traverse, stated_k, readings, sides=("carries", "carries")):
    """Once plain, once turned over; the edge carries the stand, or is touched by one on the way."""
    bed = invented_bed(500, more=f"[straightedges.two-foot]\n{WARM_EDGE}warmth_uncertainty_k = {stated_k}\n")
    runs = [
        make_traverse(
            bed, "dial", STATION, each, turned_over=over,
            face="front-flat" if side == "carries" else EDGE_NAME,
            reference=EDGE_NAME if side == "carries" else "front-flat",
        )
        for each, over, side in zip(readings, (False, True), sides, strict=True)
    ]  # fmt: skip
    return combine(runs, bed)


@pytest.mark.statistics
def test_warmth_of_an_edge_as_large_as_stated_is_in_the_uncertainty(invented_bed, make_traverse):
    """Invented truth: turning over takes out the edge's own shape, and not what the room's warmth bends.

    Errors of 60 surveys of 4 free heights each; a share of 0.954 is sure to 0.03.
    """
    rng, held = np.random.default_rng(41), []
    for _ in range(60):
        bent, shape, sag = rng.normal(0, 0.3) * BEND_UM, rng.normal(0, 2, 6), _sag_um()
        readings = [WAY - (sign * shape + bent - sag) + rng.normal(0, 0.5, 6) for sign in (1, -1)]
        found = _read_over_and_plain(invented_bed, make_traverse, 0.3, readings).profile("front-flat")
        ends = remove_line(found, "ends")
        off = ends.height_um - (WAY - np.interp(STATION, STATION[[0, -1]], WAY[[0, -1]]))
        held.append(np.abs(off[1:-1]) <= 2 * ends.standard_uncertainty_um[1:-1])
    assert np.mean(held) > 0.87


def _sag_um():
    edge = Straightedge("two-foot", 500, depth_mm=40, material="steel", supports_mm=(105, 395))
    return straightedge_sag_um(edge, STATION)


@pytest.mark.parametrize("second", ["carries", "is touched"])
def test_warmth_that_is_stated_widens_what_it_bends_and_no_line(invented_bed, make_traverse, second):
    """Derived: by 0.3 °C of 9.0 µm each in the middle, against the ends; turning the edge helps nothing, nor
    does reading it once from the way."""
    nothing, sides = (0 * STATION, 0 * STATION), ("carries", second)
    sure, warm = (
        _read_over_and_plain(invented_bed, make_traverse, stated, nothing, sides).profile("front-flat")
        for stated in (0, 0.3)
    )
    added = remove_line(warm, "ends").covariance_um2 - remove_line(sure, "ends").covariance_um2
    assert np.sqrt(np.maximum(np.diag(added), 0)) == pytest.approx(0.3 * BEND_UM, abs=1e-6)


@pytest.mark.parametrize(("key", "was", "is_now"), [
    ("start_mm", 0, 50), ("depth_mm", 40, 60), ("material", '"steel"', '"granite"'),
])  # fmt: skip
def test_edge_that_is_described_otherwise_than_when_it_was_read_is_said(
    invented_bed, make_traverse, key, was, is_now
):
    """Moved along between two runs it is not the same edge at the same stations."""
    x = STATION[1:-1]

    def warnings(then, now):
        then, now = (
            invented_bed(500, more=f"[straightedges.two-foot]\nlength_mm = 500\n{line}")
            for line in (then, now)
        )
        run = make_traverse(then, "dial", x, 0 * x, face="front-flat", reference=EDGE_NAME)
        return " ".join(sentences(observe(run, now).warnings))

    said = f"two-foot described otherwise now ({key})"
    assert said in warnings(f"{key} = {was}", f"{key} = {is_now}")
    assert said not in warnings(f"{key} = {was}", f"{key} = {was}")
    assert said not in warnings("", f"{key} = {is_now}") or key == "start_mm"  # 0 unless it is stated


def test_how_an_edge_lies_is_free_at_each_setting_up(invented_bed, make_traverse):
    bed = invented_bed(500, more=EDGE_TABLE)
    runs = [
        make_traverse(bed, "dial", STATION, WAY + tilt * STATION, face="front-flat", reference=EDGE_NAME)
        for tilt in (0.0, 0.3)
    ]
    assert combine(runs, bed).chi_square == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(
    ("spacing", "middle", "end", "span"),
    [
        # From memory, verified by integrating the bending moment (reference values), in w·L⁴/(E·I)
        (1.0, 1.302083e-2, 0.0, 1.302083e-2),
        (1 / math.sqrt(3), 5.16380e-4, -8.3098e-5, 5.99478e-4),
        (0.5594, None, None, 3.3131e-4),
        (0.553702, None, None, 2.70395e-4),
    ],
)
def test_sag_of_an_edge_on_two_supports(spacing, middle, end, span):
    x = np.linspace(0, 1, 4001)
    sag = beam_sag(x, ((1 - spacing) / 2, (1 + spacing) / 2))
    # the Bessel spacing is given to four digits, which moves the range by 7 parts in 10 000
    assert np.ptp(sag) == pytest.approx(span, rel=1e-3)
    if middle is not None:
        assert sag[2000] == pytest.approx(middle, rel=1e-5)
        assert sag[0] == pytest.approx(end, rel=1e-4, abs=1e-12)


def test_sag_of_an_edge_is_solved_as_by_finite_differences():
    """Second method: E·I·y'' = M integrated on a fine grid, uneven supports."""
    supports = 0.15, 0.7
    x = np.linspace(0, 1, 20001)
    second = (0.5 - supports[0]) / (supports[1] - supports[0])
    moment = (
        -(x**2) / 2 + (1 - second) * np.maximum(x - supports[0], 0) + second * np.maximum(x - supports[1], 0)
    )
    step = x[1] - x[0]
    slope = np.concatenate([[0], np.cumsum((moment[1:] + moment[:-1]) / 2 * step)])
    rise = np.concatenate([[0], np.cumsum((slope[1:] + slope[:-1]) / 2 * step)])
    at = np.interp(supports, x, rise)
    line = at[0] + (at[1] - at[0]) * (x - supports[0]) / (supports[1] - supports[0])
    assert beam_sag(x, supports) == pytest.approx(line - rise, abs=1e-8)


def test_sag_of_the_edge_is_in_the_model_and_is_not_reversed(invented_bed, make_traverse):
    more = EDGE_TABLE + '\nsupports_mm = [0, 500]\ndepth_mm = 5\nmaterial = "steel"'
    bed = invented_bed(500, more=more)
    sag = straightedge_sag_um(bed.straightedges["two-foot"], STATION)
    assert sag is not None and np.max(sag) > 5
    runs = [
        make_traverse(
            bed,
            "dial",
            STATION,
            WAY + sign * EDGE + sag,
            face="front-flat",
            reference=EDGE_NAME,
            turned_over=sign > 0,
        )
        for sign in (1, -1)
    ]
    bed_map = combine(runs, bed)
    assert without_line(bed_map.profile("front-flat").height_um) == pytest.approx(without_line(WAY), abs=1e-6)
    touched = make_traverse(bed, "dial", STATION, -sag, face=EDGE_NAME, reference="front-flat")
    assert observe(touched, bed).correction == pytest.approx(-sag)


def test_edge_with_too_little_described_is_warned_of(invented_bed, make_traverse):
    bed = invented_bed(500, more=EDGE_TABLE)
    run = make_traverse(bed, "dial", STATION, WAY, face="front-flat", reference=EDGE_NAME)
    assert any("its own sag is left out" in words for words in sentences(observe(run, bed).warnings))
    full = EDGE_TABLE + '\nsupports_mm = [110, 390]\ndepth_mm = 50\nmaterial = "steel"'
    described = invented_bed(500, more=full)
    run = make_traverse(described, "dial", STATION, WAY, face="front-flat", reference=EDGE_NAME)
    assert not any("sag" in words for words in sentences(observe(run, described).warnings))


def test_edge_that_stands_beside_a_face_hangs_nowhere_and_is_not_warned_of(invented_bed, make_traverse):
    bed = invented_bed(500, more=EDGE_TABLE)
    run = make_traverse(bed, "dial", STATION, WAY, face="front-side", reference=EDGE_NAME)
    assert observe(run, bed).warnings == ()


def test_steel_edge_of_a_metre_on_its_ends_sags_as_the_handbook_formula_says():
    """5·w·L⁴/(384·E·I) for 50 mm deep steel: 7850·9.80665·12/(205e9·0.05²)·5/384 m = 23.47 µm."""
    edge = Straightedge("e", 1000.0, (0.0, 1000.0), 50.0, "steel")
    by_hand = 7850 * 9.80665 * 12 / (205e9 * 0.05**2) * 5 / 384 * 1e6
    assert straightedge_sag_um(edge, np.array([500.0])) == pytest.approx([by_hand])


def test_wire_hangs_below_and_way_read_along_it_is_told_straight(invented_bed, make_traverse):
    """mass·g·x·(span − x)/(2·tension): a straight way read from a wire that hangs comes nearer to it."""
    bed = invented_bed(500, more="[wires.steel]\nmass_g_per_m = 1\ntension_n = 10\nspan_mm = 500")
    sag = 1e-3 * 9.80665 * (STATION / 1000) * ((500 - STATION) / 1000) / 20 * 1e6
    assert wire_sag_um(bed.wires["steel"], STATION) == pytest.approx(sag)
    run = make_traverse(bed, "dial", STATION, WAY + sag, face="front-flat", reference="wire:steel")
    assert without_line(combine([run], bed).profile("front-flat").height_um) == pytest.approx(
        without_line(WAY)
    )
    sideways = make_traverse(bed, "dial", STATION, WAY, face="front-side", reference="wire:steel")
    assert without_line(combine([sideways], bed).profile("front-side").height_um) == pytest.approx(
        without_line(WAY)
    )


def test_reading_beyond_a_wire_or_edge_is_refused(invented_bed, make_traverse):
    with pytest.raises(AnalysisError, match="beyond its span"):
        wire_sag_um(TautWire("w", 1, 10, 400), STATION)
    bed = invented_bed(1000, more=EDGE_TABLE)
    run = make_traverse(bed, "dial", [600.0], [0], face="front-flat", reference=EDGE_NAME)
    with pytest.raises(AnalysisError, match="beyond straightedge two-foot"):
        observe(run, bed)


def test_optical_line_is_straight_and_lies_as_it_was_set(invented_bed, make_traverse):
    bed = invented_bed(500)
    run = make_traverse(bed, "dial", STATION, WAY + 7 - 0.2 * STATION, face="front-flat", reference="line")
    found = combine([run], bed).profile("front-flat")
    assert without_line(found.height_um) == pytest.approx(without_line(WAY), abs=1e-9)
