"""Every figure that the answers tell, held against invented truth, on surveys of any mix of habits.

Run: OPENBLAS_NUM_THREADS=1 python tests/benchmarks/told_answers.py [--surveys N] [--first K]
     [--odd | --habit NAME] [--maps]

For each kind of figure: how many were told, the share within ± (k = 2), the worst error in its own
standard uncertainties; figures beyond 4.5 u are named with their survey, and whether the readings showed
that something is wrong. `--habit`: surveys in which one thing more is the matter
(`tests/told_answers/further_habits.py`); `--maps`: heights and straightness alone, which takes a third of
the time. Simulation proves the arithmetic, not the bench.
"""

import argparse
import sys
import time
from collections import defaultdict
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from analysis.adjust.combination import combine
from tests.told_answers.comparing import figures, of_faces
from tests.told_answers.figures import MOST_U
from tests.told_answers.further_habits import HABITS
from tests.told_answers.inventing import Told, invent
from tests.told_answers.odd_habits import invent_odd


def described(told: Told) -> str:
    """The runs of a survey in one line."""
    words = []
    for run in told.runs:
        setup = run.setup
        options = [name for name in ("turned",) if getattr(setup, name)]
        options += [f"along {setup.reference}"] if setup.reference else []
        words.append(
            " ".join([setup.instrument, setup.subject, setup.direction, str(len(run.stations)), *options])
        )
    return f"{told.kind}, {told.bed.length_mm:g} mm by {told.bed.station_mm[1]:g}: {'; '.join(words)}"


def noticed(told: Told) -> str:
    """Whether the map says that its readings contradict each other."""
    found = combine(told.runs, told.bed)
    is_seen = found.slips or found.suspects or found.contests or found.variance_factor > 1.0
    return "noticed" if is_seen else "not noticed"


def main() -> int:
    """Print the table; 1 where a figure lies too far from the truth."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--surveys", type=int, default=300)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--odd", action="store_true", help="of people with odd but ordinary habits")
    parser.add_argument("--habit", choices=HABITS, help="one thing more is the matter")
    parser.add_argument("--maps", action="store_true", help="heights and straightness alone")
    asked = parser.parse_args()
    start, found, far = time.perf_counter(), defaultdict(list), 0
    for number in range(asked.first, asked.first + asked.surveys):
        told = HABITS[asked.habit](number) if asked.habit else (invent_odd if asked.odd else invent)(number)
        for name, ratios in of_faces(told, combine(told.runs, told.bed)) if asked.maps else figures(told):
            found[name].append(np.abs(ratios))
            if not np.all(found[name][-1] <= MOST_U):
                far += 1
                print(
                    f"survey {number}: {name} off by {found[name][-1].max():.1f} u, {noticed(told)}; "
                    f"{described(told)}",
                    flush=True,
                )
    print(f"{'figure':<28}{'told':>7}{'held %':>8}{'worst, u':>10}")
    for name, ratios in sorted(found.items()):
        all_of_it = np.concatenate(ratios)
        print(f"{name:<28}{len(all_of_it):>7}{100 * np.mean(all_of_it <= 2):>8.1f}{all_of_it.max():>10.2f}")
    lasted = time.perf_counter() - start
    print(f"{asked.surveys} surveys, {lasted:.0f} s. Simulation proves the arithmetic, not the bench.")
    return 1 if far else 0


if __name__ == "__main__":
    raise SystemExit(main())
