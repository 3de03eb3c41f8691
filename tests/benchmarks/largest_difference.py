"""How often the interval of a largest difference holds the truth: twist anywhere, and over a carriage.

Run: OPENBLAS_NUM_THREADS=1 python tests/benchmarks/largest_difference.py [--results N]

Rolls of known shape, with noise as a cross level has it (independent) and as two stepped
levels have it (it adds up along the bed), at 5 to 41 stations; sizes in standard
uncertainties of one reading. A row gives the share of intervals that hold the true largest
difference anywhere and over three stations, how often a difference is said to be seen, and
the mean width of the interval; the last column is how often a wind of the size that "would
have been seen" is seen (80 % is claimed). Simulation proves the arithmetic, not the bench.
"""

import argparse

import numpy as np

from analysis.linear.largest_difference import detectable_difference, largest_difference

STATIONS = (5, 11, 21, 41)
OVER = 3
SIZE = 8.0


def shapes(count: int) -> dict[str, np.ndarray]:
    """Rolls along the bed without noise."""
    x = np.linspace(0, 1, count)
    return {
        "none": 0 * x,
        "faint wind": 0.25 * SIZE * x,
        "wind": SIZE * x,
        "bow": 4 * SIZE * x * (1 - x),
        "step": SIZE * (x > 0.5),
        "one station": SIZE * (np.arange(count) == count // 2),
    }


def covariances(count: int) -> dict[str, np.ndarray]:
    """Of a cross level, and of two levels stepped along."""
    x = np.arange(count)
    return {
        "cross level": np.eye(count),
        "two levels": 0.2 * np.minimum.outer(x, x) + 0.1 * np.eye(count),
    }


def neighbours(count: int) -> np.ndarray:
    """Which stations lie no further apart than the carriage is long."""
    x = np.arange(count)
    return np.abs(x[:, None] - x[None, :]) <= OVER


def held(
    shape: np.ndarray, covariance: np.ndarray, results: int, rng: np.random.Generator
) -> tuple[float, float, float, float]:
    """Shares held anywhere and over a carriage, share seen, mean width of the interval."""
    near, root = neighbours(len(shape)), np.linalg.cholesky(covariance)
    anywhere = np.ptp(shape)
    over = np.max(np.where(near, np.abs(shape[:, None] - shape[None, :]), 0.0))
    rows = []
    for _ in range(results):
        read = shape + root @ rng.standard_normal(len(shape))
        found, worst = largest_difference(read, covariance), largest_difference(read, covariance, near)
        rows.append(
            (
                found.interval[0] <= anywhere + 1e-9 and anywhere <= found.interval[1],
                worst.interval[0] <= over + 1e-9 and over <= worst.interval[1],
                found.is_seen,
                found.interval[1] - found.interval[0],
            )
        )
    told = np.mean(np.array(rows, float), axis=0)
    return float(told[0]), float(told[1]), float(told[2]), float(told[3])


def power(covariance: np.ndarray, results: int, rng: np.random.Generator) -> float:
    """How often a wind of the size that would have been seen is seen."""
    shape = detectable_difference(covariance) * np.linspace(0, 1, len(covariance))
    return held(shape, covariance, results, rng)[2]


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--results", type=int, default=400)
    results = parser.parse_args().results
    print(
        f"{'noise of':<13}{'stations':>9}  {'shape':<13}{'anywhere':>9}{'over 3':>8}{'seen':>7}{'width':>7}"
    )
    for count in STATIONS:
        for name, covariance in covariances(count).items():
            rng = np.random.default_rng([count, len(name)])
            for shape, roll in shapes(count).items():
                row = held(roll, covariance, results, rng)
                shares = "".join(f"{100 * share:>8.1f}" for share in row[:3])
                print(f"{name:<13}{count:>9}  {shape:<13}{shares}{row[3]:>8.2f}", flush=True)
            seen = 100 * power(covariance, results, rng)
            print(f"{name:<13}{count:>9}  {'just seen':<13}{'':>16}{seen:>8.1f}", flush=True)
    print("Intervals of 95 %. Simulation proves the arithmetic, not the bench.")


if __name__ == "__main__":
    main()
