"""How often the step and kink of a joint are held by their ±, and how wide that is.

Run: OPENBLAS_NUM_THREADS=1 python tests/benchmarks/joints_held.py [--ways N] [--seed S] [WAY ...]

Two pieces of a bed with a step of some 12 µm and a kink of some 40 µm/m (normal), read at stations 50,
100 or 125 mm apart by a dial (0.3 or 1 µm) or a level (1 or 2 µm/m).  Wear over four stations or more
ends 1.3 to 3.5 stations from the joint, on either side, in a corner or smoothly.  A row
gives, for step and kink, the share that ± 2 u holds, the spread of errors over u, the worst error in u,
and the mean u.  A row that holds surely less than nine in ten is marked n, one of a straight or smoothly
hollow way whose step is surely told with more than half again the ± that it need have (spread below
0.67) w, and the program then ends with 1.

The last row is told by nothing: wear that ends within a station of the joint shows in no other place.
"""

import argparse
from collections.abc import Callable

import numpy as np

from analysis.linear.two_pieces import joint_columns, step_and_kink

LEAST_HELD, LEAST_SPREAD = 0.90, 0.67
ENDS = 1.3, 3.5
"""Stations from the joint, nearest and farthest, at which wear ends."""
LEAST_WORN = 4
"""Stations that any wear goes over: shorter wear is seen by too few of them."""
GRID_MM = np.arange(0.0, 6001.0)
A_SIDE = ((6, 6), (6, 10), (8, 8), (8, 14), (16, 16))
Way = Callable[[np.random.Generator, float, float, float], np.ndarray]
"""Of a generator, the length, where the joint is and how far apart stations are."""


def straight(_rng: np.random.Generator, _length: float, _at: float, _pitch: float) -> np.ndarray:
    """No wear at all."""
    return 0 * GRID_MM


def hollow(rng: np.random.Generator, length: float, _at: float, _pitch: float) -> np.ndarray:
    """Bowed, and one long hollow of 5 to 60 µm."""
    middle, wide = rng.uniform(0.2, 0.8) * length, rng.uniform(0.2, 0.45) * length
    bow = rng.normal(0, 10) * (2 * GRID_MM / length - 1) ** 2
    return bow - rng.uniform(5, 60) * np.exp(-(((GRID_MM - middle) / wide) ** 2))


def _worn(shape: Callable[[np.ndarray], np.ndarray], nearest: float, farthest: float) -> Way:
    """Worn by 5 to 40 µm on one side to a place near the joint, over 0.15 to 0.5 of the length."""

    def way(rng: np.random.Generator, length: float, at: float, pitch: float) -> np.ndarray:
        end = at + rng.choice([-1, 1]) * rng.uniform(nearest, farthest) * pitch
        inwards = (end - GRID_MM) / max(rng.uniform(0.15, 0.5) * length, LEAST_WORN * pitch)
        height = -rng.uniform(5, 40) * shape(np.clip(inwards, 0, 1))
        return height if rng.random() < 0.5 else np.interp(2 * at - GRID_MM, GRID_MM, height)

    return way


def of_spectrum(power: float, least: float, most: float) -> Way:
    """Random ways whose spectrum falls with that power of the wave number, so many µm high (rms)."""

    def way(rng: np.random.Generator, length: float, _at: float, _pitch: float) -> np.ndarray:
        wave_number = np.fft.rfftfreq(2 * len(GRID_MM))
        wave_number[0] = 1.0
        waves = rng.normal(size=len(wave_number)) + 1j * rng.normal(size=len(wave_number))
        waves[0] = 0.0
        height = np.fft.irfft(waves * wave_number ** (-power / 2))[: len(GRID_MM)]
        here = length >= GRID_MM
        height -= np.polyval(np.polyfit(GRID_MM[here], height[here], 1), GRID_MM)
        return rng.uniform(least, most) * height / height[here].std()

    return way


def scraped(rng: np.random.Generator, length: float, at: float, pitch: float) -> np.ndarray:
    """A hollow, and scraped: a texture of 0.5 to 3 µm, some 60 mm long."""
    window = np.hanning(60)
    texture = np.convolve(rng.normal(size=len(GRID_MM) + 200), window / np.sqrt(window @ window), "same")
    return hollow(rng, length, at, pitch) + rng.uniform(0.5, 3) * texture[100:-100]


NOT_COVERED = "wear ends within a station of the joint"
WAYS: dict[str, Way] = {
    "straight": straight,
    "hollow": hollow,
    "wear ends smoothly": _worn(lambda t: (1 - (2 * t - 1) ** 2) ** 2, *ENDS),
    "wear ends in a slope": _worn(lambda t: t, *ENDS),
    "wear ends in a slope, flat": _worn(lambda t: np.clip(np.minimum(t, 1 - t) * 4, 0, 1), *ENDS),
    "wear ends in a bow": _worn(lambda t: 4 * t * (1 - t), *ENDS),
    "spectrum k^-2.2": of_spectrum(2.2, 3, 20),
    "spectrum k^-1.4": of_spectrum(1.4, 2, 10),
    "scraped": scraped,
    NOT_COVERED: _worn(lambda t: t, 0.0, 1.0),
}
SMOOTH = ("straight", "hollow")


def errors_in_u(name: str, before: int, after: int, ways: int, seed: int = 1) -> np.ndarray:
    """Error of step and kink over u, then u itself; shape (ways, 4)."""
    found = []
    for number in range(ways):
        rng = np.random.default_rng([seed, list(WAYS).index(name), before, after, number])
        pitch, count = rng.choice([50.0, 100.0, 125.0]), before + after
        x = pitch * np.arange(count) + 25.0
        at = x[before - 1] + rng.uniform(0.2, 0.8) * pitch
        truth = np.array([rng.normal(0, 12), rng.normal(0, 40)])
        heights = np.interp(x, GRID_MM, WAYS[name](rng, pitch * count, at, pitch))
        if rng.random() < 0.5:
            root = rng.choice([0.3, 1.0]) * np.eye(count)
        else:
            root = rng.choice([1.0, 2.0]) * pitch / 1000 * np.tril(np.ones((count, count)))
        heights += joint_columns(x, at) @ truth + root @ rng.normal(size=count)
        made = step_and_kink(x, heights, root @ root.T, at)
        u = np.sqrt(np.diag(made.covariance(root @ root.T)))
        found.append([*((made.value - truth) / u), *u])
    return np.array(found)


def verdict(name: str, ratios: np.ndarray, is_step: bool) -> str:
    """n: surely too narrow | w: surely too wide, a step on a smooth way; else empty."""
    held = np.mean(np.abs(ratios) <= 2)
    if name != NOT_COVERED and held + 2 * np.sqrt(held * (1 - held) / ratios.size) < LEAST_HELD:
        return "n"
    spread = np.sqrt(np.mean(ratios**2)) * (1 + np.sqrt(2 / ratios.size))
    return "w" if is_step and name in SMOOTH and spread < LEAST_SPREAD else ""


def main() -> int:
    """Print the table; 1 where a row is beyond its limits."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--ways", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("names", nargs="*", default=list(WAYS))
    asked = parser.parse_args()
    print(f"{'way, stations a side':<48}{'step: held, spread, worst, u':>36}{'kink':>36}")
    wrong = 0
    for name in asked.names:
        for before, after in A_SIDE:
            found = errors_in_u(name, before, after, asked.ways, asked.seed)
            marks = [
                verdict(name, ratios, is_step)
                for ratios, is_step in zip(found.T[:2], (True, False), strict=True)
            ]
            wrong += sum(map(bool, marks))
            cells = [
                f"{100 * np.mean(np.abs(ratios) <= 2):>15.1f} %{np.sqrt(np.mean(ratios**2)):>6.2f}"
                f"{np.abs(ratios).max():>6.1f}{u.mean():>8.2f}{mark:>2}"
                for ratios, u, mark in zip(found.T[:2], found.T[2:], marks, strict=True)
            ]
            print(f"{name + f', {before} and {after}':<48}{''.join(cells)}", flush=True)
    print("Intervals with k = 2 (95.4 %). The last rows are told by nothing.")
    return 1 if wrong else 0


if __name__ == "__main__":
    raise SystemExit(main())
