"""Bed or wear: what the feet can take out is fitted through unworn places alone, wear is the rest.

Check values are derived for this project (so: consistency), truths are invented.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from acquire.model.bed_toml.reading import parse_bed
from analysis.adjust.combination import combine
from analysis.answers.bed_or_wear import bed_or_wear, bed_twist, feet_fit, unworn_nodes
from analysis.answers.bed_or_wear_reasons import Misfit, OnlyALine, TooUnsure
from analysis.answers.known_roll import known_roll, ways_of
from analysis.answers.section import bend_rows, pairs_mm
from analysis.answers.twist import twist_of
from analysis.words.facts import sentences
from analysis.words.feet import bed_or_wear_words
from tests.invented import bed_toml, cross_level, dial, flat

X = np.arange(0, 1601, 100.0)
ENDS = [[0, 200], [1300, 1600]]
WAYS = {"front": 0.0, "rear": 250.0}


FEET_ACROSS = (-30.0, 280.0)
MIDDLE = 125.0


def _bed(unworn, pairs, *, pitch=100, third=None, sigma=1.0, feet=FEET_ACROSS, looks="up"):
    """Two ways, feet in pairs, perhaps a third face that nothing runs on; a dial and a cross level."""
    faces = {way: flat(across, way, unworn_mm=unworn) for way, across in WAYS.items()}
    if third is not None:
        faces["strip"] = flat(third, runs=False) | {"normal": looks}
    text = bed_toml(
        1600,
        pitch,
        bed={"carriage_length_mm": 400},
        faces=faces,
        feet={
            f"{side}-{number}": {"station_mm": station, "across_mm": across}
            for number, station in enumerate(pairs)
            for side, across in zip(("front", "rear"), feet, strict=True)
        },
        instruments={"dial": dial(sigma, seating_um=0), "cross": cross_level(sigma, seating_um=0)},
    )
    return parse_bed(text)


def _read(make_traverse, bed, **height_um):
    """Each face read from one optical line that nobody moves: heights up to one height and one tilt."""
    runs = []
    for face, height in height_um.items():
        same = {"same_zero_as": runs[0].number} if runs else {}
        runs.append(make_traverse(bed, "dial", X, height, face=face, reference="line", **same))
    return runs


def test_levelling_by_the_worn_ways_would_leave_the_bed_twisted(make_traverse):
    """Derived: the line through all five rolls has slope 0, that through the unworn ones 40 µm/m."""
    bed = _bed([[0, 10], [1190, 1600]], (0, 1600), pitch=400, sigma=3.0)
    x, roll = np.arange(0, 1601, 400.0), np.array([0.0, 110.0, 140.0, 30.0, 40.0])
    found = twist_of([make_traverse(bed, "cross", x, roll, front="front", rear="rear")], bed)
    assert np.polyfit(x, roll, 1)[0] == pytest.approx(0.0, abs=1e-12)
    assert found.feet.roll_um_per_m == pytest.approx([0, 10, 20, 30, 40])
    assert found.wear.roll_um_per_m == pytest.approx([0, 100, 120, 0, 0])
    assert found.feet.wind_expanded_um_per_m / 2 == pytest.approx(4.08, abs=0.005)
    assert found.cannot_tell == ()


@pytest.mark.parametrize(
    ("pairs", "front", "rear"), [((100, 1500), 1.073, 1.074), ((100, 800, 1500), 1.854, 3.250)]
)
def test_uncertainty_of_wear_by_the_places_that_are_unworn(make_traverse, pairs, front, rear):
    """Derived: heights known to 1 µm each, both ways unworn at their ends, wear at 700 mm.

    The front way stands in the middle between the feet, which are so close that the bed turns about that.
    """
    bed = _bed(ENDS, pairs, feet=(-1.1, 1.1))
    fit = feet_fit(combine(_read(make_traverse, bed, front=0 * X, rear=0 * X), bed))
    for face, expected in (("front", front), ("rear", rear)):
        station, rows = fit.wear(face)
        middle = rows[station.tolist().index(700.0)][None]
        assert fit.covariance(middle)[0, 0] ** 0.5 == pytest.approx(expected, abs=0.0006)


def _moved(pairs, z, theta, across, worn):
    """Height of a line of a section that bends and rolls about the middle of its feet, worn below."""
    bend = CubicSpline(pairs, z, bc_type="natural")
    inside = np.clip(X, pairs[0], pairs[-1])
    return (
        bend(inside) + bend(inside, 1) * (X - inside) + np.interp(X, pairs, theta) * (across - MIDDLE) + worn
    )


def test_wear_without_noise_is_exact(make_traverse):
    pairs, z, theta = (100, 800, 1500), [3.0, -20.0, 8.0], [0.0, 0.05, -0.02]
    worn = {
        "front": -40 * np.exp(-(((X - 600) / 150) ** 2)) * ((X > 200) & (X < 1300)),
        "rear": -15.0 * ((X > 250) & (X < 1250)),
    }
    heights = {way: _moved(pairs, z, theta, across, worn[way]) for way, across in WAYS.items()}
    bed = _bed(ENDS, pairs)
    runs = _read(make_traverse, bed, **heights)
    fit = feet_fit(combine(runs, bed))
    for way, wear in worn.items():
        station, rows = fit.wear(way)
        assert station == pytest.approx(X)
        assert rows @ fit.bed_map.solution.estimate == pytest.approx(wear, abs=1e-9)
    found = twist_of(runs, bed)
    true = 1000 * np.interp(X, pairs, theta)
    assert found.feet.roll_um_per_m == pytest.approx(true - true[0], abs=1e-6)
    assert found.wear.roll_um_per_m == pytest.approx((worn["rear"] - worn["front"]) / 0.25, abs=1e-6)


def test_face_that_nothing_runs_on_by_itself_tells_no_twist(make_traverse):
    """Rank deficient: one line of unworn places cannot tell roll from bend."""
    bed = _bed(None, (100, 800, 1500), third=-80)
    worn = -22 * np.exp(-(((X - 700) / 150) ** 2))
    found = twist_of(_read(make_traverse, bed, front=0 * X, rear=worn, strip=0 * X), bed)
    assert found.feet is None and found.wear is None
    (words,) = sentences(found.cannot_tell)
    assert "the rear is 22.0 µm lower against the front at 700 mm than at the ends" in words
    assert "turning a foot would not" in words


def test_ways_unworn_at_one_end_only_do_not_tell_the_twist(make_traverse):
    """What a strip beside them shows of it may come from the line about which the bed turns."""
    bed = _bed([[1300, 1600]], (100, 800, 1500), third=-80)
    worn = -5 * np.exp(-(((X - 700) / 150) ** 2))
    found = twist_of(_read(make_traverse, bed, front=0 * X, rear=worn, strip=0 * X), bed)
    assert found.feet is None and found.wear is None
    (words,) = sentences(found.cannot_tell)
    assert "turning a foot would not" in words
    assert "between 0 and 1300 mm no second face is unworn" in words


def test_uncertainty_of_the_feet_is_that_of_plain_least_squares(make_traverse):
    """Second method: heights known to 1 µm, an offset for each face, turned about the middle."""
    bed = _bed(ENDS, (100, 800, 1500), third=-80, feet=(MIDDLE - 1.1, MIDDLE + 1.1))
    fit = feet_fit(combine(_read(make_traverse, bed, front=0 * X, rear=0 * X, strip=0 * X), bed))
    functions = fit.roll(np.array([0.0, 700.0]))
    doubt = fit.covariance(functions @ fit.rows)[1, 1] ** 0.5
    assert doubt == pytest.approx(_by_plain_least_squares(), rel=1e-4)


@pytest.mark.statistics
def test_bed_that_turned_about_one_of_its_ways_is_not_said_to_be_straight(make_traverse):
    """The front way lies straight and well known, the rear one is hardly known: nor is the twist."""
    pairs, sigma = (200, 1400), 60.0
    theta = np.interp(X, pairs, [-0.1, 0.1])
    text = _bed([[0, 300], [1300, 1600]], pairs).text
    cross = '[instruments.cross]\nquantity = "roll"\nunit = "um/m"\nstandard_uncertainty = '
    bed = parse_bed(text.replace(f"{cross}1.0", f"{cross}{sigma}"))
    for seed in range(8):
        rng = np.random.default_rng(seed)
        (line,) = _read(make_traverse, bed, front=rng.normal(0, 1, X.size))
        roll = 1000 * theta + rng.normal(0, sigma, X.size)
        found = twist_of(
            [line, make_traverse(bed, "cross", X, roll, front="front", rear="rear", number=2)], bed
        )
        assert abs(found.feet.wind_um_per_m - 200) <= 1.5 * found.feet.wind_expanded_um_per_m


def _by_plain_least_squares():
    """u of the feet's roll at 700 mm from that at 0, heights known to 1 µm each, an offset for each face."""
    pairs, up = np.array([100.0, 800.0, 1500.0]), np.eye(3)
    spline = CubicSpline(pairs, up, bc_type="natural")
    rows, ends = [], X[(X <= 200) | (X >= 1300)]
    for number, (across, stations) in enumerate(((0.0, ends), (250.0, ends), (-80.0, X))):
        for x in stations:
            inside = np.clip(x, 100, 1500)
            bend = spline(inside) + spline(inside, 1) * (x - inside)
            roll = np.array([np.interp(x, pairs, unit) for unit in up])
            rows.append([*bend, *((across - MIDDLE) * roll / 1000), *np.eye(3)[number]])
    change = np.array([np.interp([0, 700], pairs, unit) @ [-1, 1] for unit in up])
    wanted = np.array([0, 0, 0, *change, 0, 0, 0])
    return float(np.sqrt(wanted @ np.linalg.pinv(np.array(rows).T @ np.array(rows)) @ wanted))


def test_unworn_stretch_that_is_worn_is_refused(make_traverse):
    bed = _bed(ENDS, (100, 1500))
    worn = np.where(X == 0, -30.0, 0.0)
    found = twist_of(_read(make_traverse, bed, front=worn, rear=0 * X), bed)
    assert found.feet is None and "an unworn stretch is worn" in sentences(found.cannot_tell)[0]


def test_bed_that_says_nothing_of_unworn_places_or_feet_is_told_so(make_traverse):
    silent, footless = _bed(None, (100, 1500)), _bed(ENDS, ())
    for bed, missing in ((silent, "unworn_mm"), (footless, "[feet.NAME]")):
        found = twist_of(_read(make_traverse, bed, front=0 * X, rear=0.05 * X), bed)
        assert found.feet is None and found.wear is None
        assert missing in sentences(found.cannot_tell)[0]


def test_carriage_follows_the_mean_of_the_rolls_under_its_two_ends(make_traverse):
    bed = _bed(ENDS, (100, 1500))
    roll = 0.05 * X + 20 * np.sin(np.pi * X / 800)
    found = twist_of(_read(make_traverse, bed, front=0 * X, rear=0.25 * roll), bed)
    under = [
        (np.interp(x - 200, X, roll) + np.interp(x + 200, X, roll)) / 2 for x in found.carriage.station_mm
    ]
    assert found.carriage.station_mm == pytest.approx(X[2:-2])
    assert found.carriage.roll_um_per_m == pytest.approx(np.array(under) - under[0])


@pytest.mark.statistics
def test_stated_uncertainty_of_what_the_feet_made_covers_invented_truth(make_traverse):
    """95 % stated: of 60 surveys 51 or more but once in a thousand."""
    rng = np.random.default_rng(8)
    pairs, held = (0, 800, 1600), 0
    bed = _bed(ENDS, pairs)
    for _ in range(60):
        theta = rng.normal(0, 0.05, 3)
        z, worn = rng.normal(0, 20, 3), -rng.uniform(5, 50) * np.exp(-(((X - 750) / 120) ** 2))
        heights = {
            way: _moved(pairs, z, theta, across, worn * ((X > 200) & (X < 1300))) + rng.normal(0, 1, len(X))
            for way, across in WAYS.items()
        }
        runs = _read(make_traverse, bed, **heights)
        bed_map = combine(runs, bed)
        fit = feet_fit(bed_map)
        functions = fit.roll(np.array([0.0, 1600.0]))
        wind = (functions @ fit.rows @ bed_map.solution.estimate)[1]
        doubt = fit.covariance(functions @ fit.rows)[1, 1] ** 0.5
        held += abs(wind - 1000 * (theta[2] - theta[0])) <= 2 * doubt
    assert held >= 51


def test_feet_near_each_other_are_one_pair_and_a_single_foot_is_none():
    bed = parse_bed(
        '[bed]\nname = "b"\nlength_mm = 1000\nstation_pitch_mm = 100\n[faces.f]\nnormal = "up"\n'
        "[feet.a]\nstation_mm = 0\nacross_mm = 0\n[feet.b]\nstation_mm = 20\nacross_mm = 300\n"
        "[feet.c]\nstation_mm = 500\nacross_mm = 0\n"
        "[feet.d]\nstation_mm = 900\nacross_mm = 0\n[feet.e]\nstation_mm = 900\nacross_mm = 300\n"
    )
    assert pairs_mm(bed) == (10.0, 900.0)


def test_natural_spline_through_the_feet_is_that_of_scipy():
    """A second implementation of it; beyond its ends it goes on straight."""
    rng = np.random.default_rng(4)
    for count in (3, 4, 7):
        knots = np.cumsum(rng.uniform(50, 900, count))
        at = np.concatenate([knots, rng.uniform(knots[0] - 500, knots[-1] + 500, 200)])
        spline = CubicSpline(knots, np.eye(count), bc_type="natural")
        inside = np.clip(at, knots[0], knots[-1])
        expected = spline(inside) + (at - inside)[:, None] * spline(inside, 1)
        np.testing.assert_allclose(bend_rows(knots, at), expected, atol=1e-12)


def test_nothing_is_split_where_no_roll_is_known(make_traverse):
    bed = _bed(ENDS, (100, 1500))
    found = known_roll(combine(_read(make_traverse, bed, front=0 * X), bed), ways_of(bed))
    assert found is None


def test_words_tell_the_feet_and_the_scraper_apart(make_traverse):
    bed = _bed([[0, 10], [1190, 1600]], (0, 1600), pitch=400, sigma=3.0)
    x, roll = np.arange(0, 1601, 400.0), np.array([0.0, 110.0, 140.0, 30.0, 40.0])
    found = twist_of([make_traverse(bed, "cross", x, roll, front="front", rear="rear")], bed)
    words = bed_or_wear_words(found, inch=False)
    feet, worn = (next(line for line in words if part in line) for part in ("turning feet", "scraper"))
    assert "40 µm/m" in feet and "rear high" in feet
    assert "120 µm/m" in worn and "at 800 mm" in worn and "Never twist a bed to hide wear" in worn


OVERHUNG = (200.0, 1400.0)


def _twisted_with_ends_hanging_over(make_traverse, seed, turned_about_mm):
    """Invented truth: feet at 200 and 1400 of 1600 mm twist the bed, whose ends hang over; worn in between.

    Two ways read to 1 µm from one optical line.
    """
    rng = np.random.default_rng(seed)
    bed = _bed([[0, 300], [1300, 1600]], OVERHUNG)
    theta = np.interp(X, OVERHUNG, rng.uniform(-0.15, 0.15, 2))
    z = rng.uniform(-0.02, 0.02) * X
    dip = -30 * np.exp(-(((X - 700) / 200) ** 2)) * ((X > 300) & (X < 1300))
    heights = {
        way: z + theta * (across - turned_about_mm) + share * dip
        for (way, across), share in zip(WAYS.items(), (1.0, 0.5), strict=True)
    }
    read = {way: height + rng.normal(0, 1, X.size) for way, height in heights.items()}
    return bed, _read(make_traverse, bed, **read), heights


@pytest.mark.statistics
@pytest.mark.parametrize("about_mm", [MIDDLE, 0.0, 250.0])
def test_twisted_bed_whose_ends_hang_over_is_not_taken_for_worn(make_traverse, about_mm):
    """Whichever line between its feet it turned about: the right readings of forty beds are not refused."""
    refused, held = 0, []
    for seed in range(40):
        bed, runs, heights = _twisted_with_ends_hanging_over(make_traverse, seed, about_mm)
        found = twist_of(runs, bed)
        if found.feet is None:
            refused += 1
            continue
        true = 1000 * (heights["rear"] - heights["front"]) / 250
        wind = true[-1] - true[0]
        held.append(abs(found.feet.wind_um_per_m - wind) <= found.feet.wind_expanded_um_per_m)
    assert refused <= 2
    assert np.mean(held) >= 0.85


def test_answer_does_not_hang_on_where_across_is_counted_from(make_traverse):
    """Invariance: the same bed with every across_mm 500 mm greater."""
    bed, runs, _ = _twisted_with_ends_hanging_over(make_traverse, 3, MIDDLE)
    text = bed.text
    for across in ("-30.0", "280.0", "0.0", "250.0"):
        text = text.replace(f"across_mm = {across}\n", f"across_mm = {float(across) + 500}0\n")
    moved = parse_bed(text)
    here, there = (feet_fit(combine(runs, each)) for each in (bed, moved))
    for way in WAYS:
        (station, rows), (_, others) = here.wear(way), there.wear(way)
        np.testing.assert_allclose(
            others @ there.bed_map.solution.estimate, rows @ here.bed_map.solution.estimate, atol=1e-6
        )
        np.testing.assert_allclose(there.covariance(others), here.covariance(rows), atol=1e-6)
        assert station.size


def test_strip_on_the_underside_tells_what_one_on_top_would(make_traverse):
    """Invariance: one line of the casting, read from below. The bed turns beside the middle of its feet."""
    pairs, theta = (100, 800, 1500), [0.05, -0.08, 0.06]
    heights = {
        name: _moved(pairs, [0, 0, 0], theta, across + 60, 0)
        for name, across in {**WAYS, "strip": -80.0}.items()
    }
    told = []
    for looks, sense in (("up", 1), ("down", -1)):
        bed = _bed(ENDS, pairs, third=-80, looks=looks)
        fit = feet_fit(
            combine(_read(make_traverse, bed, **heights | {"strip": sense * heights["strip"]}), bed)
        )
        rows = fit.roll(X) @ fit.rows
        told.append((fit.factor, rows @ fit.bed_map.solution.estimate, fit.covariance(rows)))
    above, below = told
    assert below[0] == above[0] == 1.0
    np.testing.assert_allclose(below[1], above[1], atol=1e-6)
    np.testing.assert_allclose(below[2], above[2], rtol=1e-6, atol=1e-9)


@pytest.mark.statistics
def test_noise_that_the_map_has_counted_is_no_misfit_of_the_unworn_places(make_traverse):
    """Read five times, three times as noisy as claimed: the map says so, and the split is no less sure."""
    bed = _bed(ENDS, (100, 1500))
    alarms = 0
    for seed in range(10):
        rng = np.random.default_rng(seed)
        noisy = {way: 3 * rng.standard_normal((5, X.size)) for way in WAYS}
        runs = [
            make_traverse(bed, "dial", X, noisy[way][k], face=way, reference="line")
            for way in WAYS
            for k in range(5)
        ]
        bed_map = combine(runs, bed)
        assert bed_map.variance_factor == pytest.approx(9.0, rel=0.6)
        alarms += feet_fit(bed_map).factor > 1.0
    assert alarms <= 1


@pytest.mark.parametrize("height_um", [60.0, 0.0])
def test_unworn_place_that_no_foot_can_make_is_told_in_micrometres_and_counted(make_traverse, height_um):
    """One place of a strip stands 60 µm proud, readings sure to 3: most of it is left over, and no u of 3."""
    bed = _bed(ENDS, (100, 800, 1500), third=-80, sigma=3.0, feet=(MIDDLE - 1.1, MIDDLE + 1.1))
    strip = np.where(X == 700, height_um, 0.0)
    pairs, theta = (100, 800, 1500), (0.0, 0.2, 0.4)
    heights = {face: _moved(pairs, 3 * [0], theta, at, 0.0) for face, at in (WAYS | {"strip": -80.0}).items()}
    runs = _read(make_traverse, bed, **heights | {"strip": heights["strip"] + strip})
    said = [each for each in twist_of(runs, bed).cannot_tell if isinstance(each, Misfit)]
    fit = feet_fit(combine(runs, bed))
    assert [each.largest_um for each in said] == ([pytest.approx(fit.misfit_um)] if height_um else [])
    assert 0.7 * height_um <= fit.misfit_um <= 1.1 * height_um + 1e-6
    assert fit.factor == 1.0 if height_um == 0 else fit.factor > 5
    rows = fit.roll(np.array([0.0, 700.0])) @ fit.rows
    plain = replace(fit, factor=1.0).covariance(rows)[1, 1]
    assert fit.covariance(rows)[1, 1] == pytest.approx(plain * fit.factor, rel=0.05)


def test_face_that_looks_aside_tells_nothing_of_the_roll(make_traverse):
    text = _bed(ENDS, (100, 1500)).text
    aside = '[faces.side]\nnormal = "front"\nacross_mm = -20\nruns = false\n'
    bed = parse_bed(text.replace("[feet.front-0]", f"{aside}[feet.front-0]"))
    runs = _read(make_traverse, bed, front=0 * X, rear=0 * X)
    runs.append(make_traverse(bed, "dial", X, 5.0 * X, face="side", reference="line", number=9))
    assert set(unworn_nodes(combine(runs, bed))[1]) == {"front", "rear"}


@pytest.mark.statistics
@pytest.mark.parametrize("twist_um_per_m", [0.0, 40.0])
def test_twist_of_the_bed_itself_is_free_of_what_noise_adds_and_as_sure_as_it_says(
    make_traverse, twist_um_per_m
):
    """Of 150 surveys with noise of 3 µm: the mean square within four of its own u, that u within a third."""
    rng, pairs = np.random.default_rng(12), (100, 1500)
    bed = _bed([[0, 1600]], pairs, sigma=3.0, feet=(MIDDLE - 1.1, MIDDLE + 1.1))
    theta = np.array([0.0, twist_um_per_m / 1000])
    heights = {way: _moved(pairs, [0, 0], theta, across, 0.0) for way, across in WAYS.items()}
    roll = 1000 * np.interp(X, pairs, theta)
    found = []
    for _ in range(150):
        noisy = {way: h + rng.normal(0, 3, X.size) for way, h in heights.items()}
        found.append(bed_twist(feet_fit(combine(_read(make_traverse, bed, **noisy), bed))))
    square = np.array([each.square for each in found])
    told = np.mean([each.square_standard_uncertainty for each in found])
    assert abs(square.mean() - np.var(roll)) < 4 * square.std() / np.sqrt(len(square))
    assert told == pytest.approx(square.std(), rel=1 / 3)


@pytest.mark.parametrize("read", [False, True])
def test_unworn_places_that_nothing_was_measured_on_are_said_to_be_so(make_traverse, read):
    bed = _bed(None, (100, 1500), third=-80)
    heights = {"front": 0 * X, "rear": 0.05 * X} | ({"strip": 0 * X} if read else {})
    found = twist_of(_read(make_traverse, bed, **heights), bed)
    said = any("nothing was measured at an unworn place" in each for each in sentences(found.cannot_tell))
    assert said is not read


@pytest.mark.parametrize("same_zero", [False, True])
def test_roll_known_up_to_a_line_splits_into_what_feet_do_and_no_wear(make_traverse, same_zero):
    """Two faces each read from a line of its own: a steady wind is any part of either."""
    bed = _bed(ENDS, (100, 800, 1500))
    runs = _read(make_traverse, bed, front=0 * X, rear=2e-5 * (X - 800) ** 2)
    if not same_zero:
        runs = [
            make_traverse(bed, "dial", X, run.stations.reading, face=face, reference="line", number=5 + k)
            for k, (run, face) in enumerate(zip(runs, WAYS, strict=True))
        ]
    found = bed_or_wear(known_roll(combine(runs, bed), ways_of(bed)), ways_of(bed))
    assert any(isinstance(each, OnlyALine) for each in found.cannot_tell) is not same_zero
    assert found.feet is not None and (found.wear is not None) is same_zero


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_worn_ways_read_with_honest_noise_do_not_stand_proud(make_traverse, seed):
    rng, worn = np.random.default_rng(seed), -30 * np.exp(-(((X - 750) / 150) ** 2))
    bed = _bed(ENDS, (100, 800, 1500))
    noisy = {way: worn * ((X > 200) & (X < 1300)) + rng.normal(0, 1, X.size) for way in WAYS}
    found = twist_of(_read(make_traverse, bed, **noisy), bed)
    assert not any("an unworn stretch is worn" in each for each in sentences(found.cannot_tell))


@pytest.mark.parametrize("twist_um_per_m", [0.0, 200.0])
def test_what_feet_did_is_told_where_it_is_more_than_what_they_may_have_done(make_traverse, twist_um_per_m):
    """By ends of 300 mm it is known to ± 7 µm/m: of a straight bed that tells nothing."""
    bed = _bed(ENDS, (100, 800, 1500))
    roll = np.interp(X, (100, 800, 1500), (0.0, twist_um_per_m / 2, twist_um_per_m))
    line = _read(make_traverse, bed, front=0 * X, rear=0.25 * roll)
    cross = make_traverse(bed, "cross", X, roll, front="front", rear="rear", number=7)
    found = bed_or_wear(known_roll(combine([*line, cross], bed), ways_of(bed)), ways_of(bed))
    assert (found.feet is not None) is bool(twist_um_per_m)
    assert any(isinstance(each, TooUnsure) for each in found.cannot_tell) is not bool(twist_um_per_m)
