"""Every kind of reading, made by hand from its own formula, imported and mapped through the command line.

The invented bed's truth is a set of smooth functions; readings are worked out here from
where things have gone, with seeded noise of the stated size, in the units of the
instruments. The map must give the truth back within its stated uncertainty.
"""

import json

import numpy as np
import pytest
from scipy.integrate import trapezoid  # numpy's own has this name from version 2 on

from acquire.cli import main

pytestmark = pytest.mark.whole

LENGTH, PITCH = 1200.0, 100.0
STATION = np.arange(0.0, LENGTH + 1, PITCH)
MIDDLE = STATION[:-1] + PITCH / 2
INNER = STATION[1:-1]
ARCSEC, THOU = 4.84813681109536, 25.4
"""µm/m and µm: exact conversions."""
CARRIAGE, FEET, ARM = 200.0, 100.0, 150.0

BED = """
[bed]
name = "invented bed"
length_mm = 1200
station_pitch_mm = 100
carriage_length_mm = 200
carriage_bears = "{bears}"
[faces.vee]
normal = "up"
shape = "vee"
form = "ridge"
vee_angle_deg = 90
across_mm = 0
carriage = "front"
[faces.flat]
normal = "up"
across_mm = 400
carriage = "rear"
[faces.between]
normal = "up"
across_mm = 100
[faces.under]
normal = "down"
across_mm = 0
[faces.front-side]
normal = "front"
across_mm = -50
[faces.rear-side]
normal = "rear"
across_mm = 450
[faces.groove]
normal = "up"
shape = "vee"
form = "groove"
flank_angles_deg = [40, 50]
across_mm = 300
[instruments.level]
quantity = "slope"
unit = "um/m"
base_mm = 100
standard_uncertainty = 0.5
[instruments.vial]
quantity = "slope"
unit = "mm/m"
per_division = 0.02
sign = -1
base_mm = 100
standard_uncertainty = 0.1
[instruments.collimator]
quantity = "slope"
unit = "arcsec"
gravity = false
base_mm = 100
standard_uncertainty = 0.1
[instruments.cross]
quantity = "roll"
unit = "in/ft"
standard_uncertainty = 1e-5
[instruments.dial]
quantity = "offset"
unit = "thou"
standard_uncertainty = 0.02
[instruments.ahead]
quantity = "offset"
unit = "um"
standard_uncertainty = 0.5
carrier_feet_mm = 100
overhang_along_mm = 50
[instruments.armed]
quantity = "offset"
unit = "mm"
sign = -1
standard_uncertainty = 0.0005
arm_height_mm = 150
[instruments.caliper]
quantity = "span"
unit = "mm"
standard_uncertainty = 0.0005
[straightedges.long]
length_mm = 1200
supports_mm = [200, 1000]
depth_mm = 80
material = "cast iron"
[wires.steel]
mass_g_per_m = 0.5
tension_n = 30
span_mm = 1300
start_mm = -50
"""


class Bench:
    """An invented bed, its survey folder, and the ways of measuring it."""

    def __init__(self, folder, capsys, seed, bears="ends"):
        self.folder, self.capsys, self.bears = folder, capsys, bears
        self.random = np.random.default_rng(seed)
        (folder / "traverses").mkdir(parents=True)
        (folder / "bed.toml").write_text(BED.replace("{bears}", bears), encoding="utf-8")
        names = ("vee", "flat", "between", "under", "front-side", "rear-side", "groove", "sway", "edge")
        self.height = {name: self._shape() for name in names}
        self.files = 0

    def _shape(self):
        size, phase = self.random.normal(0, 25, 4), self.random.uniform(0, 6, 4)
        tilt = self.random.normal(0, 0.05)
        return lambda x: (
            tilt * x
            + sum(
                a * np.sin((k + 1) * 2.3e-3 * x + p) / (k + 1) ** 1.5
                for k, (a, p) in enumerate(zip(size, phase, strict=True))
            )
        )

    def slope(self, name, x=MIDDLE, base=PITCH):
        """µm/m over a base."""
        return (self.height[name](x + base / 2) - self.height[name](x - base / 2)) / base * 1000

    def mean(self, name, x, length=CARRIAGE):
        """Where the middle of a carrier of that length rides."""
        if length == CARRIAGE and self.bears == "average":
            along = np.linspace(-length / 2, length / 2, 2001)
            return trapezoid(self.height[name](np.asarray(x)[:, None] + along), along) / length
        return (self.height[name](x - length / 2) + self.height[name](x + length / 2)) / 2

    def taken(self, instrument, reading, x, *options, noise=0.5, unit=1.0):
        """Import readings in µm or µm/m, written in a unit that is worth `unit` of those."""
        zero = self.random.normal(0, 40)
        written = (reading + zero + self.random.normal(0, noise, len(x))) / unit
        self.files += 1
        path = self.folder / f"{self.files}.csv"
        rows = "\n".join(f"{a!r},{b!r}" for a, b in zip(x.tolist(), written.tolist(), strict=True))
        path.write_text(f"station_mm,reading\n{rows}\n", encoding="utf-8")
        words = ["import", str(self.folder), str(path), "-i", instrument, *options]
        assert main(words) == 0, self.capsys.readouterr().err

    def levelled(self, *names):
        for name in names:
            self.taken("level", self.slope(name), MIDDLE, "--face", name)
        return self

    def answer(self, *words):
        self.capsys.readouterr()
        assert main([words[0], str(self.folder), *words[1:], "--json"]) == 0, self.capsys.readouterr().err
        return json.loads(self.capsys.readouterr().out)

    def assert_found(self, face, *options, least=11):
        """The map is the truth, a least-squares line taken off both, within what it claims."""
        found = self.answer("map", face, "--line", "least-squares", *options)
        at = np.array(found["station_mm"])
        assert len(at) >= least
        truth = self.height[face](at)
        truth = truth - np.polyval(np.polyfit(at, truth, 1), at)
        off = (np.array(found["height_um"]) - truth) / np.array(found["standard_uncertainty_um"])
        assert np.max(np.abs(off)) < 4.5
        assert np.mean(off**2) < 2.6
        assert np.max(np.array(found["standard_uncertainty_um"])) < 0.05 * np.ptp(truth) + 1.5
        return found


@pytest.fixture
def bench(tmp_path, capsys, request):
    """A bench with a seed of its own for each test."""

    def make(bears="ends"):
        seed = sum(map(ord, request.node.originalname))
        return Bench(tmp_path / "survey", capsys, seed, bears)

    return make


def test_level_in_every_manner(bench):
    b = bench()
    b.taken("level", b.slope("vee"), MIDDLE, "--face", "vee")
    b.taken("vial", -b.slope("flat"), MIDDLE, "--face", "flat", noise=2.0, unit=20.0)
    b.taken("level", -b.slope("under"), MIDDLE, "--face", "under")
    b.taken("level", -b.slope("between"), MIDDLE, "--face", "between", "--turned")
    b.taken("collimator", b.slope("front-side"), MIDDLE, "--face", "front-side", unit=ARCSEC)
    for face in ("vee", "flat", "under", "between", "front-side"):
        b.assert_found(face)


def test_level_cannot_see_sideways(bench, capsys):
    b = bench()
    (b.folder / "x.csv").write_text("station_mm,reading\n50,1\n150,2\n", encoding="utf-8")
    assert (
        main(["import", str(b.folder), str(b.folder / "x.csv"), "--face", "front-side", "-i", "level"]) == 1
    )
    (line,) = capsys.readouterr().err.strip().splitlines()
    assert "front-side" in line and "up and down" in line


def test_cross_level_over_two_ways(bench):
    b = bench().levelled("vee")
    roll = (b.height["groove"](STATION) - b.height["vee"](STATION)) / 0.3
    b.taken("cross", roll, STATION, "--across", "vee", "groove", noise=5 / 6, unit=1e6 / 12)
    b.assert_found("groove")


def test_cross_level_on_a_carriage_that_rides_on_its_ends(bench):
    b = bench("ends").levelled("vee", "flat")
    roll = (b.mean("flat", INNER) - b.mean("vee", INNER)) / 0.4
    b.taken("cross", roll, INNER, "--across", "carriage", noise=5 / 6, unit=1e6 / 12)
    found = b.answer("twist")
    assert found["agree"] is True and set(found["methods"]) == {"cross_level", "two_maps"}
    assert found["wind_um_per_m"] == pytest.approx(roll[-1] - roll[0], abs=5.0)
    assert found["methods"]["two_maps"]["twist_um_per_m"] is None


def test_one_zero_for_two_levels_tells_the_wind(bench):
    b = bench()
    zero_of_the_first = 7.0
    for face, options in (("vee", ()), ("flat", ("--same-zero-as", "1"))):
        rows = "\n".join(f"{x},{v + zero_of_the_first}" for x, v in zip(MIDDLE, b.slope(face), strict=True))
        path = b.folder / f"{face}.csv"
        path.write_text(f"station_mm,reading\n{rows}\n", encoding="utf-8")
        assert main(["import", str(b.folder), str(path), "--face", face, "-i", "level", *options]) == 0
    roll = (b.height["flat"](STATION) - b.height["vee"](STATION)) / 0.4
    assert b.answer("twist")["wind_um_per_m"] == pytest.approx(roll[-1] - roll[0], abs=1e-6)


def test_indicator_from_way_to_way_and_to_an_underside(bench):
    b = bench().levelled("vee")
    h = {name: shape(STATION) for name, shape in b.height.items()}
    b.taken("dial", h["groove"] - h["vee"], STATION, "--face", "groove", "-r", "vee", noise=0.5, unit=THOU)
    b.taken("dial", h["under"] + h["vee"], STATION, "--face", "under", "-r", "vee", noise=0.5, unit=THOU)
    b.assert_found("groove")
    b.assert_found("under")


def test_indicator_on_parallels_over_two_ways(bench):
    b = bench().levelled("vee", "flat")
    carried = 0.75 * b.height["vee"](STATION) + 0.25 * b.height["flat"](STATION)
    run = ("--face", "between", "-r", "vee+flat")
    b.taken("dial", b.height["between"](STATION) - carried, STATION, *run, unit=THOU)
    b.assert_found("between")


def test_indicator_on_a_carriage_that_bears_on_all_of_its_length(bench):
    b = bench("average").levelled("vee", "flat")
    carried = 0.75 * b.mean("vee", INNER) + 0.25 * b.mean("flat", INNER)
    run = ("--face", "between", "-r", "carriage")
    b.taken("dial", b.height["between"](INNER) - carried, INNER, *run, unit=THOU)
    b.assert_found("between")


def test_plunger_ahead_of_its_carrier_is_tipped_by_its_feet(bench):
    b = bench().levelled("vee")
    at, middle = STATION[1:], STATION[1:] - 50
    ahead = b.mean("vee", middle, FEET) + 50 * b.slope("vee", middle, FEET) / 1000
    b.taken("ahead", b.height["groove"](at) - ahead, at, "--face", "groove", "-r", "vee")
    b.assert_found("groove")


def test_vee_guides_sideways_and_the_carriage_rolls_the_arm(bench):
    b = bench().levelled("vee", "flat")
    b.taken("collimator", b.slope("front-side"), MIDDLE, "--face", "front-side", unit=ARCSEC)
    sideways = b.height["front-side"](STATION) + b.height["sway"](STATION)
    b.taken("dial", sideways, STATION, "--face", "front-side", "-r", "vee", unit=THOU)
    roll = (b.mean("flat", INNER) - b.mean("vee", INNER)) / 400
    carried = b.mean("sway", INNER) - roll * ARM
    run = ("--face", "rear-side", "-r", "carriage")
    b.taken("armed", b.height["rear-side"](INNER) - carried, INNER, *run, unit=-1000.0)
    b.assert_found("rear-side")


def test_span_outside_inside_and_over_a_roller(bench):
    b = bench().levelled("vee", "flat")
    h = {name: shape(STATION) for name, shape in b.height.items()}
    b.taken("caliper", 3e4 + h["under"] + h["vee"], STATION, "--face", "under", "--other", "vee", unit=1000.0)
    b.assert_found("under")
    b.taken(
        "caliper", 9e4 - h["under"] - h["flat"], STATION,
        "--face", "under", "--other", "flat", "--inside", unit=1000.0,
    )  # fmt: skip
    b.assert_found("under")
    b.taken("caliper", h["groove"], STATION, "--face", "groove", unit=1000.0)
    b.assert_found("groove", "--by", "indicator")


def hanging(x):
    """Sag of the wire, downwards: m·g·x·(span − x)/(2·tension)."""
    return 0.5e-3 * 9.80665 * (x + 50) / 1000 * (1250 - x) / 1000 / (2 * 30) * 1e6


def test_line_and_taut_wire(bench):
    b = bench()
    h = {name: shape(STATION) for name, shape in b.height.items()}
    wire, line = ("-r", "wire:steel"), ("-r", "line")
    b.taken("dial", h["between"], STATION, "--face", "between", *line, unit=THOU)
    b.taken("dial", h["groove"] + hanging(STATION), STATION, "--face", "groove", *wire, unit=THOU)
    b.taken("dial", h["under"] - hanging(STATION), STATION, "--face", "under", *wire, unit=THOU)
    b.taken("dial", h["front-side"], STATION, "--face", "front-side", *wire, unit=THOU)
    b.taken("dial", -hanging(STATION) - h["flat"], STATION, "--face", "wire:steel", "-r", "flat", unit=THOU)
    for face in ("between", "groove", "under", "front-side", "flat"):
        b.assert_found(face)


def bending(x):
    """Where gravity takes the edge, upwards: the bending moment of its own weight, summed up twice."""
    along = np.linspace(0, 1.2, 12001)
    step, first, second = along[1], 0.2, 1.0
    load = 12 * 7200 * 9.80665 / (110e9 * 0.08**2)
    moment = load * (0.6 * np.maximum(along - first, 0) + 0.6 * np.maximum(along - second, 0) - along**2 / 2)
    slope = np.concatenate([[0], np.cumsum(moment[1:] + moment[:-1]) * step / 2])
    height = np.concatenate([[0], np.cumsum(slope[1:] + slope[:-1]) * step / 2])
    ends = np.interp([first, second], along, height)
    line = ends[0] + (along - first) / (second - first) * (ends[1] - ends[0])
    return np.interp(x / 1000, along, height - line) * 1e6


@pytest.mark.parametrize("touched", [False, True])
def test_straightedge_turned_over_tells_its_shape_from_the_way(bench, touched):
    """Turning it over reverses its shape, never its sag."""
    b = bench()
    sign = -1 if touched else 1
    face, reference = ("straightedge:long", "between") if touched else ("between", "straightedge:long")
    for turned, options in ((1, ()), (-1, ("--turned-over",))):
        edge = turned * b.height["edge"](STATION) + bending(STATION)
        read = sign * (b.height["between"](STATION) - edge)
        b.taken("dial", read, STATION, "--face", face, "-r", reference, *options, unit=THOU)
    b.assert_found("between")


def test_reference_at_right_angles_is_refused_with_that_reason(bench, capsys):
    b = bench()
    (b.folder / "x.csv").write_text("station_mm,reading\n0,1\n100,2\n", encoding="utf-8")
    run = ["import", str(b.folder), str(b.folder / "x.csv"), "-i", "dial"]
    assert main([*run, "--face", "rear-side", "-r", "flat"]) == 1
    (line,) = capsys.readouterr().err.strip().splitlines()
    assert "right angles" in line
