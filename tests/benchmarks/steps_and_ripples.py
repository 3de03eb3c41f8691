"""False alarms and power of the search for steps and ripples, and whether joints hold what they state.

    python tests/benchmarks/steps_and_ripples.py [--ways 100] [--stations 33]

Invented ways 50 mm from station to station; heights known to 1 µm each (a dial), or to 0.7 µm a step (a
level).  A search raises a false alarm where anything at all is named on a smooth way.
"""

import argparse

import numpy as np

from analysis.linear.steps_and_ripples import find_features
from analysis.linear.two_pieces import joint_columns, step_and_kink

PITCH_MM = 50.0
SHAPES = {
    "straight": lambda x, length: 0 * x,
    "hollow by 40": lambda x, length: -40 * np.sin(np.pi * x / length) ** 2,
    "dip of 50, 500 mm long": lambda x, length: np.where(
        abs(x - length / 2) < 250, -25 * (1 + np.cos(2 * np.pi * (x - length / 2) / 500)), 0.0
    ),
    "worn flat by 30, with corners": lambda x, length: (
        -30 * np.clip(np.minimum((x - 200) / 300, (length - 200 - x) / 300), 0, 1)
    ),
    "worn at the headstock": lambda x, length: -40 * np.exp(-(((x - 300) / 250) ** 2)),
}


def errors(kind, count, rng):
    """Covariance and one draw of the errors of the heights."""
    if kind == "dial":
        return np.eye(count), rng.normal(0, 1, count)
    steps = rng.normal(0, 0.7, count)
    return 0.49 * np.minimum.outer(np.arange(count), np.arange(count)), np.cumsum(steps) - steps[0]


def named(shape, kind, count, ways, rng):
    """What is named on each of several ways."""
    x = PITCH_MM * np.arange(count)
    found = []
    for _ in range(ways):
        covariance, error = errors(kind, count, rng)
        found.append(find_features(x, shape(x, x[-1]) + error, covariance))
    return found


def false_alarms(count, ways, rng):
    """A table: shares of smooth ways with an alarm."""
    for name, shape in SHAPES.items():
        for kind in ("dial", "level"):
            alarms = sum(bool(each) for each in named(shape, kind, count, ways, rng))
            print(f"{name:32} {kind:6} {alarms:4} of {ways}", flush=True)


def power(count, ways, rng):
    """A table: shares of steps and ripples that are found, in the right gap and of the right length."""
    middle = 0.45 * PITCH_MM * (count - 1)
    for under in ("straight", "hollow by 40"):
        for size in (4.0, 5.0, 8.0, 12.0):
            ways_found = named(
                lambda x, length, size=size, under=under: SHAPES[under](x, length) + size * (x > middle),
                "dial", count, ways, rng,
            )  # fmt: skip
            hits = sum(
                any(f.kind == "step" and f.from_mm - PITCH_MM <= middle <= f.to_mm + PITCH_MM for f in each)
                for each in ways_found
            )
            print(f"step of {size:g} u on {under:16} {hits:4} of {ways}", flush=True)
        waved = named(
            lambda x, length, under=under: SHAPES[under](x, length) + 1.5 * np.sin(2 * np.pi * x / 137),
            "dial", count, ways, rng,
        )  # fmt: skip
        hits = sum(
            any(f.kind == "ripple" and abs(f.wavelength_mm / 137 - 1) < 0.05 for f in each) for each in waved
        )
        print(f"ripple of 1.5 u on {under:16} {hits:4} of {ways}", flush=True)


def coverage(count, ways, rng):
    """A table: shares of steps and kinks of a joint within 2 u, ten stations or more a side."""
    x = PITCH_MM * np.arange(count) + 25.0
    at = PITCH_MM * (count // 2)
    columns = joint_columns(x, at)
    for name, shape in SHAPES.items():
        held = np.zeros(2)
        for _ in range(ways):
            covariance, error = errors("dial", count, rng)
            truth = np.array([12.0, -30.0])
            heights = shape(x, x[-1]) + columns @ truth + error
            made = step_and_kink(x, heights, covariance, at)
            spread = np.diag(made.covariance(covariance))
            held += np.abs(made.value - truth) <= 2 * np.sqrt(spread)
        print(
            f"{name:32} step {100 * held[0] / ways:5.1f} %   kink {100 * held[1] / ways:5.1f} %", flush=True
        )


def main():
    """All three tables."""
    options = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    options.add_argument("--ways", type=int, default=100)
    options.add_argument("--stations", type=int, default=33)
    given = options.parse_args()
    rng = np.random.default_rng(1)
    for title, table in (("false alarms", false_alarms), ("found", power), ("joints held", coverage)):
        print(f"\n{title}, {given.stations} stations")
        table(given.stations, given.ways, rng)


if __name__ == "__main__":
    main()
