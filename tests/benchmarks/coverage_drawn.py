"""Cases of `coverage.py` for instruments drawn along a way, read far more often than once a base."""

import numpy as np
from coverage_bench import Bench, invent, worn_face
from coverage_stepped import bends_um, levels_and_cross, there_and_back
from scipy.signal import lfilter


def drawn_level(bench: Bench) -> None:
    """A level of 100 mm drawn along each way, cross level."""
    bench.draw("front")
    bench.draw("rear")
    bench.across("front", "rear")


def drawn_two_bases(bench: Bench) -> None:
    """Levels of 200 and 130 mm drawn along the front way, neighbouring readings correlated 0.7."""
    bench.draw("front", 200, "fine", rho=0.7)
    bench.draw("front", 130, "second", rho=0.7)


def drawn_rough(bench: Bench) -> None:
    """A level drawn along a way that bends anew at every millimetre; neighbours correlated 0.7."""
    grid = np.arange(-1.0, bench.bed.length_mm + 2)
    bend = bench.noise(len(grid), 10 ** bench.rng.uniform(-3, -1.5))
    height = np.cumsum(np.cumsum(bend))
    height -= np.polyval(np.polyfit(grid, height, 1), grid)
    bench.heights["front"] = lambda x: np.interp(x, grid, height)
    bench.draw("front", rho=0.7)


def drawn_scraped(bench: Bench) -> None:
    """A level drawn along a worn way with a scraped texture, 0.5 to 3 µm, some 60 mm long."""
    grid, worn = np.arange(-1.0, bench.bed.length_mm + 2), bench.heights["front"]
    window = np.hanning(60)
    texture = np.convolve(bench.noise(len(grid) + 200, 1.0), window / np.sqrt(window @ window), "same")
    texture = texture[100:-100] * bench.rng.uniform(0.5, 3)
    bench.heights["front"] = lambda x: worn(x) + np.interp(x, grid, texture)
    bench.draw("front", rho=0.7)


def drawn_kinked(bench: Bench) -> None:
    """A level drawn along a worn way with a kink of some 50 µm/m where two stretches were ground."""
    at, kink, worn = bench.rng.uniform(300, 800), bench.rng.normal(0, 0.05), bench.heights["front"]
    bench.heights["front"] = lambda x: worn(x) + kink * np.maximum(np.asarray(x, float) - at, 0.0)
    bench.draw("front", rho=0.7)


def drawn_twice(bench: Bench) -> None:
    """A level drawn twice along the front way, forward, white noise."""
    for _ in range(2):
        bench.draw("front")


def drawn_there_and_back(bench: Bench) -> None:
    """There and back with a level that drifts by some 4 µm/m over a run, its zero set anew."""
    there_and_back(bench, 0.0, 2, drift=bench.rng.normal(0, 4), is_drawn=True)


def drawn_and_bent(bench: Bench) -> None:
    """There and back, the bed bent by 0.3 to 5 µm in between; it is asked for as it stood either time."""
    there_and_back(bench, bends_um(bench), 2, is_drawn=True)


def drawn_bent_and_drawn_again(bench: Bench) -> None:
    """As before, and drawn forward once more."""
    there_and_back(bench, bends_um(bench), 3, is_drawn=True)


def drawn_dips(bench: Bench) -> None:
    """A level of 400 mm drawn over 1500 mm with a dip of 20 to 100 µm, 0.3 to 2 bases wide."""
    shorter = invent(bench.rng, length=1500.0)
    bench.bed, bench.heights = shorter.bed, shorter.heights
    wide = 400.0 * bench.rng.uniform(0.3, 2.0)
    at, deep = bench.rng.uniform(wide / 2, 1500 - wide / 2), bench.rng.uniform(20, 100)

    def dip(x: np.ndarray) -> np.ndarray:
        off = np.asarray(x, float) - at
        return np.where(np.abs(off) < wide / 2, -deep * np.cos(np.pi * off / wide) ** 2, 0.0)

    bench.heights["front"] = dip
    bench.draw("front", 400, "long", size=2.0, every=2.0)


def drawn_ground(bench: Bench) -> None:
    """A level drawn along a way freshly ground: straight within a micrometre or two."""
    bench.heights["front"] = worn_face(bench.rng, bench.bed.length_mm, deepest=2.0, wave_um=0.3, bow_um=1.0)
    bench.draw("front")


def drawn_noisy(bench: Bench) -> None:
    """A level drawn along, 2 to 40 times as noisy as it claims, neighbours correlated 0.5."""
    bench.draw("front", rho=0.5, size=2 * 20 ** bench.rng.uniform(0, 1))


def drawn_ledge(bench: Bench) -> None:
    """A level drawn over the ledge where the carriage's wear ends: 5 to 30 µm within 5 to 20 mm."""
    worn, at = bench.heights["front"], bench.rng.uniform(300, 900)
    step, over = bench.rng.uniform(5, 30), bench.rng.uniform(5, 20)
    bench.heights["front"] = lambda x: worn(x) + step * np.clip((np.asarray(x, float) - at) / over, 0.0, 1.0)
    bench.draw("front")


def drawn_on_pads(bench: Bench) -> None:
    """A level of 200 mm on pads of 30 mm, read every 3 mm, neighbours correlated 0.4, a dial beside."""
    bench.draw("front", 200, "padded", rho=0.4, pad=30.0, every=3.0)
    x = np.array(bench.bed.station_mm)
    bench.dial("rear", "front", bench.heights["front"](x), x)


def drawn_long(bench: Bench) -> None:
    """A level of 200 mm drawn along a bed of 3 m, stations 200 mm apart, neighbours correlated 0.5."""
    longer = invent(bench.rng, length=3000.0, pitch=200.0)
    bench.bed, bench.heights = longer.bed, longer.heights
    bench.draw("front", 200, "fine", rho=0.5)


def drawn_one_way(bench: Bench) -> None:
    """A level stepped there and back, then drawn one way only while it drifts by some 5 µm/m."""
    for direction in ("forward", "reverse"):
        bench.step("front", direction=direction)
    bench.draw("front", drift=bench.rng.normal(0, 5))


def drawn_dial(bench: Bench) -> None:
    """Both ways levelled; a dial drawn along the front reading the rear, readings correlated 0.7."""
    levels_and_cross(bench)
    x = np.arange(0.0, bench.bed.length_mm + 1)
    noise = lfilter([1.0], [1.0, -0.7], bench.noise(len(x), 0.3))
    # what a drawn reading is off by at one station besides its jitter, smooth between stations
    slow = np.interp(x, bench.bed.station_mm, bench.noise(len(bench.bed.station_mm), 0.7))
    reading = bench.heights["rear"](x) - bench.heights["front"](x) + noise + slow + bench.zero()
    bench.add("dial", x, reading, face="rear", reference="front", mode="continuous")
