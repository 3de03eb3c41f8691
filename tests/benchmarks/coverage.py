"""How often the stated 95 % intervals hold the truth, over simulated surveys of many kinds.

Run: OPENBLAS_NUM_THREADS=1 python tests/benchmarks/coverage.py [--surveys N] [CASE ...]
(the matrices are small: several arithmetic threads cost many times what they save)

Each survey invents a bed at random, simulates what instruments would read on it from
plain geometry (not from the forms of the adjustment), combines, and compares. The truth
is the bed as it stood while it was measured. A row gives the share of intervals (k = 2,
which is 95.4 % for normal errors) that hold the truth, of heights after the least-squares
line, of the straightness of the front way, of the wind from end to end; the spread of the
height errors over what is stated (1 is the Cramér-Rao bound where the case is linear and
the noise is as stated); the mean ± of a height (k = 2, in µm) and the worst error of a
height in its own standard uncertainties. Simulation proves the arithmetic, not the bench.

Two cases take a way and noise that nobody invented. The ways are profiles of real ground:
rows of the digital elevation model of the Jacksboro fault, Tennessee, about 90 m between
points, that matplotlib carries among its sample data (jacksboro_fault_dem.npz), shrunk to
the bed and to some tens of micrometres. The noise is a real recording: the four channels
of the electroencephalogram that matplotlib carries there too (eeg.dat, 800 samples each),
each brought to mean 0 and standard deviation 1.
"""

import argparse
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from matplotlib import cbook
from scipy.signal import lfilter

from acquire.model.bed import Bed
from acquire.model.bed_toml.reading import parse_bed
from acquire.model.traverse import Events, Setup, Stations, Traverse
from analysis.adjust.combination import BedMap, combine
from analysis.linear.reference_lines import remove_line, straightness

COVERAGE_FACTOR = 2.0
Height = Callable[[np.ndarray], np.ndarray]


@dataclass
class Bench:
    """A bed invented at random and what stands on it; readings come from its heights directly."""

    rng: np.random.Generator
    bed: Bed
    heights: dict[str, Height]
    side: Height
    runs: list[Traverse]

    def add(self, instrument: str, x: np.ndarray, reading: np.ndarray, **options) -> None:
        """One traverse of readings as they would be on file; `scatter` is what the samples showed."""
        described = self.bed.instruments[instrument]
        mode, scatter = options.pop("mode", "stepped"), np.full(len(x), options.pop("scatter", 0.0))
        total = np.hypot(scatter, described.uncertainty)
        ones, nan = np.ones(len(x), int), np.full(len(x), np.nan)
        setup = Setup(
            instrument=instrument, quantity=described.quantity, bed_toml=self.bed.text,
            number=len(self.runs) + 1, source="enter", **options,
        )  # fmt: skip
        stations = Stations(x, reading, total, scatter, ones, ones, nan)
        self.runs.append(Traverse(setup, {}, stations, Events.none(), mode, True))

    def zero(self) -> float:
        """A zero that nobody knows."""
        return float(self.rng.normal(0, 200))

    def noise(self, count: int, size: float) -> np.ndarray:
        """Independent normal noise."""
        return self.rng.normal(0, size, count)

    def step(
        self,
        face: str,
        base: float = 100.0,
        noise: float = 1.0,
        seat: float = 0.0,
        name: str = "level",
        **options,
    ):
        """A level stepped foot to foot, with its noise, seating of both feet, drift, scale and dirt."""
        x = np.arange(base / 2, self.bed.length_mm - base / 2 + 1, base)
        h = self.heights[face]
        feet = self.noise(len(x), seat), self.noise(len(x), seat)
        dirt = np.where(
            self.rng.random(len(x)) < options.pop("dirt", 0.0), self.rng.uniform(4, 12, len(x)), 0.0
        )
        rise = h(x + base / 2) + feet[0] + dirt - h(x - base / 2) - feet[1]
        order = np.arange(len(x)) if options.get("direction") != "reverse" else np.arange(len(x))[::-1]
        reading = rise / base * 1000 * (1 + options.pop("scale", 0.0)) + self.noise(len(x), noise)
        reading = reading + options.pop("drift", 0.0) * order + options.pop("zero", self.zero())
        grain = options.pop("grain", 0.0)
        self.add(name, x, np.round(reading / grain) * grain if grain else reading, face=face, **options)

    def across(self, front: str, rear: str, noise: float = 1.0) -> None:
        """A cross level at every station."""
        x = np.array(self.bed.station_mm)
        gauge = self.bed.gauge_mm(front, rear)
        roll = (self.heights[rear](x) - self.heights[front](x)) / gauge * 1000
        self.add("cross", x, roll + self.noise(len(x), noise) + self.zero(), front=front, rear=rear)

    def dial(
        self, face: str, reference: str, carried: np.ndarray, x: np.ndarray, noise: float = 0.7, **options
    ) -> None:
        """An indicator on `face`; `carried` is how far its carrier came towards it."""
        self.add("dial", x, self.heights[face](x) - carried + self.noise(len(x), noise) + self.zero(),
                 face=face, reference=reference, **options)  # fmt: skip


def invent(rng: np.random.Generator, length: float = 1200.0, pitch: float = 100.0, more: str = "") -> Bench:
    """A bed of two ways, a rack face below and a table line, with wear, wind and waves."""
    text = f"""
[bed]
name = "invented"
length_mm = {length}
station_pitch_mm = {pitch}
carriage_length_mm = 230
[faces.front]
normal = "up"
across_mm = 0
carriage = "front"
[faces.rear]
normal = "up"
across_mm = 320
carriage = "rear"
[faces.middle]
normal = "up"
across_mm = 100
[faces.under]
normal = "down"
across_mm = 0
[instruments.cross]
quantity = "roll"
unit = "um/m"
standard_uncertainty = 1.0
seating_um = 0
[instruments.dial]
quantity = "offset"
unit = "um"
standard_uncertainty = 0.7
seating_um = 0
[instruments.caliper]
quantity = "span"
unit = "um"
standard_uncertainty = 1.0
seating_um = 0
{level("level")}
{level("seated", seat=0.4)}
{level("scaled", more="scale_uncertainty = 0.02")}
{level("coarse", more="resolution = 4")}
{level("fine", base=200)}
{level("second", base=130)}
{level("padded", base=200, more="pad_mm = 30")}
[straightedges.edge]
length_mm = {length}
{more}"""
    bed = parse_bed(text)
    return Bench(rng, bed, {name: _face(rng, length) for name in bed.faces}, _face(rng, length), [])


def level(name: str, base: float = 100, seat: float = 0.0, more: str = "") -> str:
    """Table of a level."""
    return (
        f'[instruments.{name}]\nquantity = "slope"\nunit = "um/m"\nbase_mm = {base}\n'
        f"standard_uncertainty = 1.0\nseating_um = {seat}\n{more}\n"
    )


def _face(
    rng: np.random.Generator, length: float, deepest: float = 60.0, wave_um: float = 2.0, bow_um: float = 10.0
) -> Height:
    depth, at, width = (
        rng.uniform(deepest / 12, deepest),
        rng.uniform(0.25, 0.75) * length,
        rng.uniform(0.2, 0.4) * length,
    )
    tilt, wave, phase = rng.normal(0, 0.05), rng.normal(0, wave_um), rng.uniform(0, 6)
    bow = rng.normal(0, bow_um)

    def height(x: np.ndarray) -> np.ndarray:
        x = np.asarray(x, float)
        return (
            tilt * x
            + bow * (2 * x / length - 1) ** 2
            - depth * np.exp(-(((x - at) / width) ** 2))
            + wave * np.sin(2 * np.pi * x / 420 + phase)
        )

    return height


def one_level(bench: Bench) -> None:
    """A level stepped there and back, seating and noise as stated."""
    for direction in ("forward", "reverse"):
        bench.step("front", name="seated", seat=0.4, direction=direction)


def drifting_level(bench: Bench) -> None:
    """As before, the level drifting by some 1.5 µm/m a reading, its zero untouched for the return."""
    rate, zero = bench.rng.normal(0, 1.5), bench.zero()
    bench.step("front", direction="forward", drift=rate, zero=zero)
    later = zero + rate * len(bench.runs[0].stations)
    bench.step("front", direction="reverse", drift=rate, zero=later, same_zero_as=1)


def bent_between(bench: Bench) -> None:
    """There and back, the bed bent by 0.3 to 5 µm in between; it is asked for as it stood either time."""
    bends = bench.rng.choice([-1, 1]) * 10 ** bench.rng.uniform(np.log10(0.3), np.log10(5.0))
    _there_and_back(bench, bends, 2)


def bent_between_and_run_again(bench: Bench) -> None:
    """As before, and run forward once more."""
    bends = bench.rng.choice([-1, 1]) * 10 ** bench.rng.uniform(np.log10(0.3), np.log10(5.0))
    _there_and_back(bench, bends, 3)


def drifting_and_run_again(bench: Bench) -> None:
    """There, back and forward once more with a drifting level whose zero was set anew each time."""
    _there_and_back(bench, 0.0, 3, drift=bench.rng.normal(0, 1.5))


def _there_and_back(bench: Bench, bends_um: float, runs: int, drift: float = 0.0) -> None:
    before, length = bench.heights["front"], bench.bed.length_mm

    def after(x: np.ndarray) -> np.ndarray:
        return before(x) + bends_um * (1 - (2 * np.asarray(x) / length - 1) ** 2)

    for number in range(runs):
        bench.heights["front"] = before if number == 0 else after
        bench.step("front", direction=("forward", "reverse")[number % 2], drift=drift)
    bench.heights["front"] = before if bench.rng.random() < 0.5 else after


def levels_and_cross(bench: Bench) -> None:
    """Both ways levelled, each with its own zero, and a cross level."""
    bench.step("front")
    bench.step("rear")
    bench.across("front", "rear")


def one_zero(bench: Bench) -> None:
    """Both ways levelled with one zero."""
    zero = bench.zero()
    bench.step("front", zero=zero)
    bench.step("rear", zero=zero, same_zero_as=1)


def dial_between(bench: Bench) -> None:
    """Both ways levelled, cross level, and an indicator carried along the front reading the rear."""
    levels_and_cross(bench)
    x = np.array(bench.bed.station_mm)
    bench.dial("rear", "front", bench.heights["front"](x), x)


def caliper_below(bench: Bench) -> None:
    """Front way levelled, a caliper down to the underside, an indicator from the rear to it."""
    bench.step("front")
    bench.step("rear")
    x = np.array(bench.bed.station_mm)
    both = bench.heights["front"](x) + bench.heights["under"](x)
    bench.add("caliper", x, both + bench.noise(len(x), 1.0) + bench.zero(), face="front", other="under")
    bench.dial("under", "rear", -bench.heights["rear"](x), x)


def edge_reversal(bench: Bench) -> None:
    """The front way along a bent straightedge, turned over."""
    x = np.array(bench.bed.station_mm)
    edge = _face(bench.rng, bench.bed.length_mm)(x)
    for sign in (1, -1):
        for _ in range(2):
            lie = bench.rng.normal(0, 0.05) * x
            bench.dial("front", "straightedge:edge", sign * edge + lie, x, turned_over=sign < 0)


def optical_line(bench: Bench) -> None:
    """Both ways read from an optical line, put up anew for each."""
    x = np.array(bench.bed.station_mm)
    for face in ("front", "rear"):
        bench.dial(face, "line", bench.rng.normal(0, 0.05) * x, x)


def on_the_carriage(bench: Bench) -> None:
    """Both ways levelled and tied; a dial on the carriage, on its end pads, reads a table line."""
    levels_and_cross(bench)
    x = np.arange(200.0, 1001.0, 100.0)
    ends = {
        name: (bench.heights[name](x + 115) + bench.heights[name](x - 115)) / 2 for name in ("front", "rear")
    }
    bench.dial("middle", "carriage", ends["front"] + (ends["rear"] - ends["front"]) * 100 / 320, x)


def scale_unknown(bench: Bench) -> None:
    """The level's scale is off by up to some 4 %, of which 2 % is stated."""
    off = bench.rng.normal(0, 0.02)
    for direction in ("forward", "reverse"):
        bench.step("front", name="scaled", scale=off, direction=direction)


def noisy_level(bench: Bench) -> None:
    """The level twice as noisy as it claims; four runs."""
    for direction in ("forward", "reverse") * 2:
        bench.step("front", noise=2.0, direction=direction)


def dirty_ways(bench: Bench) -> None:
    """One placing in thirty on a chip of 4 to 12 µm; suspects are set aside."""
    for direction in ("forward", "reverse") * 2:
        bench.step("front", dirt=0.03, direction=direction)


def coarse_display(bench: Bench) -> None:
    """Readings in steps of 2 µm/m, noise 1: the rounding is within what is stated."""
    for direction in ("forward", "reverse"):
        bench.step("front", noise=0.82, grain=2.0, direction=direction)


def coarse_display_repeated(bench: Bench) -> None:
    """Four runs with one zero in steps of 4 µm/m, noise 0.2: most readings repeat to the digit."""
    zero = bench.zero()
    for direction in ("forward", "reverse") * 2:
        bench.step("front", name="coarse", noise=0.2, grain=4.0, zero=zero, direction=direction)


def warm_bed(bench: Bench) -> None:
    """The bed's top up to 2 °C warmer than its bottom throughout: the truth is the bed as it stood."""
    bend = bench.rng.uniform(0, 2) * 11.5e-6 * bench.bed.length_mm**2 / (8 * 300) * 1000

    def bent(h: Height) -> Height:
        return lambda x: h(x) + bend * (1 - (2 * np.asarray(x) / bench.bed.length_mm - 1) ** 2)

    bench.heights = {name: bent(h) for name, h in bench.heights.items()}
    levels_and_cross(bench)


def _drawn(
    bench: Bench,
    face: str,
    base: float,
    name: str,
    rho: float = 0.0,
    size: float = 1.0,
    *,
    pad: float = 0.0,
    drift: float = 0.0,
    every: float = 1.0,
) -> None:
    """A level drawn along: correlated noise, feet on pads, a drift from end to end."""
    first, last = (base + pad) / 2, bench.bed.length_mm - (base + pad) / 2
    x = np.linspace(first, last, round((last - first) / every) + 1)
    under = np.linspace(-pad / 2, pad / 2, 41)

    def h(at: np.ndarray) -> np.ndarray:
        return bench.heights[face](at[:, None] + under).mean(axis=1)

    noise = bench.noise(len(x), size)
    noise[1:] *= (1 - rho**2) ** 0.5
    noise = lfilter([1.0], [1.0, -rho], noise)
    slope = (h(x + base / 2) - h(x - base / 2)) / base * 1000
    slow = drift * (x - x[0]) / np.ptp(x)
    bench.add(name, x, slope + noise + slow + bench.zero(), face=face, mode="continuous")


def drawn_level(bench: Bench) -> None:
    """A level of 100 mm drawn along each way, cross level."""
    _drawn(bench, "front", 100, "level")
    _drawn(bench, "rear", 100, "level")
    bench.across("front", "rear")


def drawn_two_bases(bench: Bench) -> None:
    """Levels of 200 and 130 mm drawn along the front way, neighbouring readings correlated 0.7."""
    _drawn(bench, "front", 200, "fine", rho=0.7)
    _drawn(bench, "front", 130, "second", rho=0.7)


def drawn_rough(bench: Bench) -> None:
    """A level drawn along a way that bends anew at every millimetre; neighbours correlated 0.7."""
    grid = np.arange(-1.0, bench.bed.length_mm + 2)
    bend = bench.noise(len(grid), 10 ** bench.rng.uniform(-3, -1.5))
    height = np.cumsum(np.cumsum(bend))
    height -= np.polyval(np.polyfit(grid, height, 1), grid)
    bench.heights["front"] = lambda x: np.interp(x, grid, height)
    _drawn(bench, "front", 100, "level", rho=0.7)


def drawn_scraped(bench: Bench) -> None:
    """A level drawn along a worn way with a scraped texture, 0.5 to 3 µm, some 60 mm long."""
    grid, worn = np.arange(-1.0, bench.bed.length_mm + 2), bench.heights["front"]
    window = np.hanning(60)
    texture = np.convolve(bench.noise(len(grid) + 200, 1.0), window / np.sqrt(window @ window), "same")
    texture = texture[100:-100] * bench.rng.uniform(0.5, 3)
    bench.heights["front"] = lambda x: worn(x) + np.interp(x, grid, texture)
    _drawn(bench, "front", 100, "level", rho=0.7)


def drawn_kinked(bench: Bench) -> None:
    """A level drawn along a worn way with a kink of some 50 µm/m where two stretches were ground."""
    at, kink, worn = bench.rng.uniform(300, 800), bench.rng.normal(0, 0.05), bench.heights["front"]
    bench.heights["front"] = lambda x: worn(x) + kink * np.maximum(np.asarray(x, float) - at, 0.0)
    _drawn(bench, "front", 100, "level", rho=0.7)


def drawn_there_and_back(bench: Bench) -> None:
    """A level drawn there and back along the front way, white noise."""
    for _ in range(2):
        _drawn(bench, "front", 100, "level")


def drawn_ground(bench: Bench) -> None:
    """A level drawn along a way freshly ground: straight within a micrometre or two."""
    bench.heights["front"] = _face(bench.rng, bench.bed.length_mm, deepest=2.0, wave_um=0.3, bow_um=1.0)
    _drawn(bench, "front", 100, "level")


def drawn_noisy(bench: Bench) -> None:
    """A level drawn along, 2 to 40 times as noisy as it claims, neighbours correlated 0.5."""
    _drawn(bench, "front", 100, "level", rho=0.5, size=2 * 20 ** bench.rng.uniform(0, 1))


def drawn_ledge(bench: Bench) -> None:
    """A level drawn over the ledge where the carriage's wear ends: 5 to 30 µm within 5 to 20 mm."""
    worn, at = bench.heights["front"], bench.rng.uniform(300, 900)
    step, over = bench.rng.uniform(5, 30), bench.rng.uniform(5, 20)
    bench.heights["front"] = lambda x: worn(x) + step * np.clip((np.asarray(x, float) - at) / over, 0.0, 1.0)
    _drawn(bench, "front", 100, "level")


def drawn_on_pads(bench: Bench) -> None:
    """A level of 200 mm on pads of 30 mm, read every 3 mm, neighbours correlated 0.4, a dial beside."""
    _drawn(bench, "front", 200, "padded", rho=0.4, pad=30.0, every=3.0)
    x = np.array(bench.bed.station_mm)
    bench.dial("rear", "front", bench.heights["front"](x), x)


def drawn_long(bench: Bench) -> None:
    """A level of 200 mm drawn along a bed of 3 m, stations 200 mm apart, neighbours correlated 0.5."""
    longer = invent(bench.rng, length=3000.0, pitch=200.0)
    bench.bed, bench.heights = longer.bed, longer.heights
    _drawn(bench, "front", 200, "fine", rho=0.5)


def drawn_one_way(bench: Bench) -> None:
    """A level stepped there and back, then drawn one way only while it drifts by some 5 µm/m."""
    for direction in ("forward", "reverse"):
        bench.step("front", direction=direction)
    _drawn(bench, "front", 100, "level", drift=bench.rng.normal(0, 5))


def drawn_dial(bench: Bench) -> None:
    """Both ways levelled; a dial drawn along the front reading the rear, readings correlated 0.7."""
    levels_and_cross(bench)
    x = np.arange(0.0, bench.bed.length_mm + 1)
    noise = lfilter([1.0], [1.0, -0.7], bench.noise(len(x), 0.3))
    # what a drawn reading is off by at one station besides its jitter, smooth between stations
    slow = np.interp(x, bench.bed.station_mm, bench.noise(len(bench.bed.station_mm), 0.7))
    reading = bench.heights["rear"](x) - bench.heights["front"](x) + noise + slow + bench.zero()
    bench.add("dial", x, reading, face="rear", reference="front", mode="continuous")


@cache
def ground() -> np.ndarray:
    """Heights of real ground in m, a profile a row."""
    with cbook.get_sample_data("jacksboro_fault_dem.npz") as kept:
        return np.asarray(kept["elevation"], float)


@cache
def recorded() -> np.ndarray:
    """A real recording, shape (channels, samples), each channel of mean 0 and standard deviation 1."""
    with cbook.get_sample_data("eeg.dat") as kept:
        channels = np.frombuffer(kept.read(), float).reshape(-1, 4).T
    return (channels - channels.mean(axis=1, keepdims=True)) / channels.std(axis=1, keepdims=True)


def _on_real_ground(bench: Bench) -> None:
    """Both ways are profiles of real ground, 3 to 60 µm from lowest to highest."""
    for face in ("front", "rear"):
        row = ground()[bench.rng.integers(len(ground()))]
        count = int(bench.rng.integers(100, len(row)))
        first = int(bench.rng.integers(len(row) - count + 1))
        profile = row[first : first + count]
        profile = profile * bench.rng.uniform(3, 60) / max(float(np.ptp(profile)), 1.0)
        grid = np.linspace(0.0, bench.bed.length_mm, count)
        bench.heights[face] = lambda x, at=grid, h=profile: np.interp(x, at, h)


def _recorded_noise(bench: Bench, count: int, every: int) -> np.ndarray:
    """So many samples of a real recording from anywhere in it, `every` samples apart."""
    channel = recorded()[bench.rng.integers(len(recorded()))]
    first = bench.rng.integers(len(channel))
    return channel[(first + every * np.arange(count)) % len(channel)]


def real_stepped(bench: Bench) -> None:
    """Profiles of real ground, a real recording as noise; levels there and back, cross level."""
    _on_real_ground(bench)
    for face in ("front", "rear"):
        for direction in ("forward", "reverse"):
            bench.step(face, noise=0.0, direction=direction)
    bench.across("front", "rear", noise=0.0)
    bench.runs = [
        replace(run, stations=replace(run.stations, reading=run.stations.reading + noise))
        for run in bench.runs
        for noise in [_recorded_noise(bench, len(run.stations), every=APART)]
    ]


def real_drawn(bench: Bench) -> None:
    """A profile of real ground; a level drawn there and back with a real recording as noise."""
    _on_real_ground(bench)
    for _ in range(2):
        x = np.linspace(50.0, bench.bed.length_mm - 50.0, 551)
        slope = (bench.heights["front"](x + 50) - bench.heights["front"](x - 50)) / 100 * 1000
        noise = _recorded_noise(bench, len(x), every=1)
        bench.add("level", x, slope + noise + bench.zero(), face="front", mode="continuous")


APART = 37
"""Samples between two stations: the recording is alike within some ten."""


CASES: dict[str, Callable[[Bench], None]] = {
    "level there and back": one_level,
    "drifting level": drifting_level,
    "bed bent between runs": bent_between,
    "bed bent, run again": bent_between_and_run_again,
    "drifting level, run again": drifting_and_run_again,
    "two levels, cross level": levels_and_cross,
    "two levels, one zero": one_zero,
    "levels, cross level, dial": dial_between,
    "caliper to the underside": caliper_below,
    "straightedge, turned over": edge_reversal,
    "optical line": optical_line,
    "dial on the carriage's pads": on_the_carriage,
    "scale error": scale_unknown,
    "noisier than claimed": noisy_level,
    "dirt, suspects set aside": dirty_ways,
    "coarse display": coarse_display,
    "coarse display, repeated": coarse_display_repeated,
    "warm bed": warm_bed,
    "drawn dial": drawn_dial,
    "drawn levels, cross level": drawn_level,
    "drawn levels, two bases": drawn_two_bases,
    "drawn there and back": drawn_there_and_back,
    "drawn level, rough way": drawn_rough,
    "drawn level, scraped way": drawn_scraped,
    "drawn level, kinked way": drawn_kinked,
    "drawn level, ground way": drawn_ground,
    "drawn level, long bed": drawn_long,
    "drawn level, wear ledge": drawn_ledge,
    "drawn level, far noisier": drawn_noisy,
    "drawn level on pads, dial": drawn_on_pads,
    "drawn drifting, stepped too": drawn_one_way,
    "real ground, real noise": real_stepped,
    "real ground, real noise, drawn": real_drawn,
}


@dataclass
class Tally:
    """Errors over stated uncertainties, gathered over the surveys of a case."""

    heights: list[np.ndarray]
    straight: list[float]
    wind: list[float]
    width_um: list[np.ndarray]
    """± of the heights, k = 2."""

    def spreads(self) -> tuple[float, float | None]:
        """Root mean square error of straightness and of wind, over the standard uncertainty stated."""
        straight = np.array(self.straight) * COVERAGE_FACTOR
        return float(np.sqrt(np.mean(straight**2))), (
            float(np.sqrt(np.mean(np.array(self.wind) ** 2))) if self.wind else None
        )

    def sizes(self) -> tuple[float, float]:
        """Mean ± of a height in µm (k = 2), and the worst error over its standard uncertainty."""
        worst = float(np.max(np.abs(np.concatenate(self.heights))))
        return float(np.mean(np.concatenate(self.width_um))), worst

    def row(self) -> tuple[float, float | None, float | None, float]:
        """Shares held: heights, straightness, wind; spread of height errors over what is stated."""
        ratios = np.concatenate(self.heights)
        return (
            float(np.mean(np.abs(ratios) <= COVERAGE_FACTOR)),
            float(np.mean(np.array(self.straight) <= 1)) if self.straight else None,
            float(np.mean(np.abs(self.wind) <= COVERAGE_FACTOR)) if self.wind else None,
            float(np.sqrt(np.mean(ratios**2))),
        )


def without_suspects(runs: list[Traverse], bed: Bed) -> BedMap:
    """The map with readings set aside that the others contradict, as a careful person would."""
    bed_map = combine(runs, bed)
    bad = {(s.traverse, s.station_mm) for s in bed_map.suspects if not s.runner_up}
    if not bad:
        return bed_map
    kept = []
    for run in runs:
        good = np.array([(run.number, x) not in bad for x in run.stations.station_mm.tolist()])
        columns = ("station_mm", "reading", "standard_uncertainty", "scatter", "samples", "repeat", "time_s")
        stations = replace(run.stations, **{name: getattr(run.stations, name)[good] for name in columns})
        kept.append(replace(run, stations=stations))
    return combine(kept, bed)


def judge(bench: Bench, tally: Tally) -> None:
    """Compare one survey with its truth."""
    bed_map = without_suspects(bench.runs, bench.bed)
    for face in bed_map.faces:
        if not bed_map.lines[("height", face)].is_whole:
            continue
        profile = bed_map.profile(face)
        level = remove_line(profile, "least-squares")
        truth = replace(profile, height_um=bench.heights[face](profile.station_mm))
        error = level.height_um - remove_line(truth, "least-squares").height_um
        tally.heights.append(error / level.standard_uncertainty_um)
        tally.width_um.append(COVERAGE_FACTOR * level.standard_uncertainty_um)
        if face == "front":
            found = straightness(profile, "ends")
            true_range = float(np.ptp(remove_line(truth, "ends").height_um))
            tally.straight.append(abs(found.range_um - true_range) / found.expanded_um)
    wind(bench, bed_map, tally)


def wind(bench: Bench, bed_map: BedMap, tally: Tally) -> None:
    """The roll at the far end less that at the origin, where the survey knows it."""
    front, rear = bed_map.indices("front"), bed_map.indices("rear")
    if not len(front) or not len(rear):
        return
    row = np.zeros((1, len(bed_map.nodes)))
    row[0, [rear[-1], front[0]]] += 1
    row[0, [rear[0], front[-1]]] -= 1
    found = bed_map.functional(row)
    if not found.is_known[0]:
        return
    h, ends = (
        bench.heights,
        np.array([bed_map.nodes[front[0]].station_mm, bed_map.nodes[front[-1]].station_mm]),
    )
    truth = np.diff(h["rear"](ends) - h["front"](ends))[0]
    tally.wind.append(float((found.value_um[0] - truth) / found.covariance_um2[0, 0] ** 0.5))


def run_case(name: str, surveys: int, seed: int = 1) -> Tally:
    """All surveys of a case."""
    tally = Tally([], [], [], [])
    for survey in range(surveys):
        rng = np.random.default_rng([seed, list(CASES).index(name), survey])
        bench = invent(rng, pitch=100.0)
        CASES[name](bench)
        judge(bench, tally)
    return tally


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--surveys", type=int, default=300)
    parser.add_argument("cases", nargs="*", default=list(CASES))
    asked = parser.parse_args()
    titles = f"{'case':<31}{'surveys':>8}{'heights':>9}{'straight':>9}{'wind':>7}{'spread':>8}"
    print(f"{titles}{'mean ±':>8}{'worst':>7}{'s':>6}")
    for name in asked.cases:
        start = time.perf_counter()
        tally = run_case(name, asked.surveys)
        heights, straight, winding, spread = tally.row()
        width, worst = tally.sizes()
        shown = ["   -" if share is None else f"{100 * share:.1f}" for share in (heights, straight, winding)]
        lasted = time.perf_counter() - start
        shares = f"{shown[0]:>9}{shown[1]:>9}{shown[2]:>7}{spread:>8.3f}"
        print(
            f"{name:<31}{asked.surveys:>8}{shares}{width:>8.2f}{worst:>7.2f}{lasted:>6.0f}",
            flush=True,
        )
    print("Intervals with k = 2 (95.4 %). Simulation proves the arithmetic, not the bench.")


if __name__ == "__main__":
    main()
