"""How often right maps are called different, and how often a difference that "would have been seen" is.

Run: OPENBLAS_NUM_THREADS=1 python tests/benchmarks/agreement.py [--draws N]

Differences are drawn from their own covariance, of five kinds and four lengths, the
least-squares line taken off. A row gives how often chance alone is called a disagreement
(one in a hundred is meant), and how often a difference of the size said at one station is
called one: at the station where least is seen (four in five are meant), and on the average
of all stations.
"""

import argparse
from collections.abc import Callable

import numpy as np

from analysis.linear.agreement import Agreement, agreement

LENGTHS = (5, 11, 21, 41)


def independent(count: int) -> np.ndarray:
    """A dial against another, station by station."""
    return np.eye(count)


def stepped(count: int) -> np.ndarray:
    """Two levels stepped foot to foot: errors add up along the bed."""
    walk = np.minimum.outer(np.arange(count), np.arange(count))
    return 2.0 * walk


def stepped_and_dial(count: int) -> np.ndarray:
    """A stepped level against a dial as noisy as three of its steps."""
    return stepped(count) / 2 + 9.0 * np.eye(count)


def uneven(count: int) -> np.ndarray:
    """Independent, the middle third five times as uncertain."""
    size = np.where(np.abs(np.arange(count) - count // 2) <= count // 6, 5.0, 1.0)
    return np.diag(size**2)


def smooth(count: int) -> np.ndarray:
    """Errors that resemble their neighbours over a quarter of the bed, as of a drawn level."""
    away = np.subtract.outer(np.arange(count), np.arange(count)) / (count / 4)
    return np.exp(-(away**2) / 2) + 0.05 * np.eye(count)


KINDS: dict[str, Callable[[int], np.ndarray]] = {
    "independent": independent,
    "stepped": stepped,
    "stepped and dial": stepped_and_dial,
    "uneven": uneven,
    "smooth": smooth,
}


class Judge:
    """`agreement` for many differences of one covariance, by the limits that it says."""

    def __init__(self, covariance: np.ndarray):
        count = len(covariance)
        self.station_mm = 100.0 * np.arange(count)
        line = np.column_stack([np.ones(count), self.station_mm])
        self.left = np.eye(count) - line @ np.linalg.pinv(line)
        self.covariance = self.left @ covariance @ self.left.T
        variance, direction = np.linalg.eigh(self.covariance)
        kept = variance > variance.max() * 1e-9
        self.root = direction[:, kept] * np.sqrt(variance[kept])
        self.whiten = (direction[:, kept] / np.sqrt(variance[kept])).T
        self.said = self.judged(np.zeros(count))

    def judged(self, difference: np.ndarray) -> Agreement:
        """The verdict of the program on one difference."""
        return agreement(difference, self.covariance, self.station_mm)

    def disagreements(self, rng: np.random.Generator, draws: int, bump: np.ndarray | None = None) -> float:
        """Share of draws that are called a disagreement, the line of a bump at one station taken off too."""
        drawn = self.root @ rng.standard_normal((self.root.shape[1], draws))
        if bump is not None:
            drawn = drawn + (self.left @ bump)[:, None]
        chi_square = ((self.whiten @ drawn) ** 2).sum(axis=0)
        largest = (np.abs(drawn) / self.said.expanded_uncertainty[:, None]).max(axis=0)
        wrong = (chi_square > self.said.chi_square_by_chance) | (largest > self.said.largest_by_chance)
        if self.judged(drawn[:, 0]).agree == bool(wrong[0]):
            raise AssertionError("the verdict is not that of the limits")
        return float(np.mean(wrong))

    def power(self, rng: np.random.Generator, draws: int) -> np.ndarray:
        """Share of differences of the size said that are seen, station by station."""
        size = self.said.smallest_detectable
        return np.array(
            [self.disagreements(rng, draws, size * unit) for unit in np.eye(len(self.covariance))]
        )


def main() -> None:
    """Print a row for every kind and length."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--draws", type=int, default=40_000)
    draws = parser.parse_args().draws
    rng = np.random.default_rng(7)
    print(f"{'difference':18} {'stations':>8} {'false alarm %':>14} {'seen, least':>12} {'seen, mean':>11}")
    for name, kind in KINDS.items():
        for count in LENGTHS:
            judge = Judge(kind(count))
            alarm, power = judge.disagreements(rng, draws), judge.power(rng, max(draws // 10, 1000))
            print(f"{name:18} {count:8} {100 * alarm:14.2f} {power.min():12.3f} {power.mean():11.3f}")


if __name__ == "__main__":
    main()
