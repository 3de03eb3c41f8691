"""The invented bed of `coverage.py`, and what instruments read on it from plain geometry.

Readings come from the heights directly, not from the forms of the adjustment.
"""

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.signal import lfilter

from acquire.model.bed import Bed
from acquire.model.bed_toml.reading import parse_bed
from acquire.model.traverse import Traverse

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
from tests.invented import bed_toml, caliper, cross_level, dial, flat, level, traverse

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
        self.runs.append(traverse(self.bed, instrument, x, reading, number=len(self.runs) + 1, **options))

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

    def draw(
        self,
        face: str,
        base: float = 100.0,
        name: str = "level",
        *,
        rho: float = 0.0,
        size: float = 1.0,
        pad: float = 0.0,
        drift: float = 0.0,
        every: float = 1.0,
        **options,
    ) -> None:
        """A level drawn along: correlated noise, feet on pads, a drift over the run."""
        first, last = (base + pad) / 2, self.bed.length_mm - (base + pad) / 2
        x = np.linspace(first, last, round((last - first) / every) + 1)
        under = np.linspace(-pad / 2, pad / 2, 41)

        def h(at: np.ndarray) -> np.ndarray:
            return self.heights[face](at[:, None] + under).mean(axis=1)

        noise = self.noise(len(x), size)
        noise[1:] *= (1 - rho**2) ** 0.5
        noise = lfilter([1.0], [1.0, -rho], noise)
        slope = (h(x + base / 2) - h(x - base / 2)) / base * 1000
        along = (x - x[0]) / np.ptp(x)
        slow = drift * (1 - along if options.get("direction") == "reverse" else along)
        zero = options.pop("zero", None)
        reading = slope + noise + slow + (self.zero() if zero is None else zero)
        self.add(name, x, reading, face=face, mode="continuous", **options)

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
    text = bed_toml(
        length,
        pitch,
        bed={"carriage_length_mm": 230},
        faces={
            "front": flat(0, "front"),
            "rear": flat(320, "rear"),
            "middle": flat(100),
            "under": {"normal": "down", "across_mm": 0},
        },
        instruments={
            "cross": cross_level(seating_um=0),
            "dial": dial(0.7, seating_um=0),
            "caliper": caliper(seating_um=0),
            "level": level(base_mm=100, seating_um=0),
            "seated": level(base_mm=100, seating_um=0.4),
            "scaled": level(base_mm=100, seating_um=0, scale_uncertainty=0.02),
            "coarse": level(base_mm=100, seating_um=0, resolution=4),
            "fine": level(seating_um=0),
            "second": level(base_mm=130, seating_um=0),
            "padded": level(seating_um=0, pad_mm=30),
            "long": level(2, base_mm=400, seating_um=0),
        },
        straightedges={"edge": {"length_mm": length}},
    )
    bed = parse_bed(text + more)
    return Bench(rng, bed, {name: worn_face(rng, length) for name in bed.faces}, worn_face(rng, length), [])


def worn_face(
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
