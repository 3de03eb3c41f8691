"""The adjustment against a second estimator on as many invented surveys as there is time for.

Run: OPENBLAS_NUM_THREADS=1 python tests/benchmarks/second_estimator.py [--surveys N] [--first K]
     [--anywhere | --between]

Each survey is invented from its number (bed, instruments, set-ups, gaps, orders, truth
and noise), adjusted by the program and by tests/second_estimator, and compared: heights,
uncertainties, what is known, redundancy, chi-square, and that every height told lies
within 4.5 u of the truth. Disagreements are printed with the survey's number and runs.
`--anywhere`: carriers also stand on ways that nothing else read; held against the truth alone.
`--between`: feet fall between the stations; held against a second estimator of what lies there.
"""

import argparse
import sys
import time
from collections import Counter
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.second_estimator.comparing import beyond_truth, faults, faults_between
from tests.second_estimator.inventing import Survey, invent
from tests.second_estimator.inventing_between import invent_between


def described(survey: Survey) -> str:
    """The runs of a survey, one a line."""
    lines = []
    for run in survey.runs:
        on = run.face or f"{run.front}/{run.rear}"
        words = [f"{run.number:>4} {run.instrument} on {on}"]
        words += [f"and {run.other}"] if run.other else []
        words += [f"along {run.reference}"] if run.reference else []
        words += [run.direction, f"{len(run.station_mm)} readings"]
        words += [name for name in ("turned", "turned_over", "inside") if getattr(run, name)]
        words += [f"zero of {run.same_zero_as}"] if run.same_zero_as else []
        lines.append(" ".join(words))
    return "\n".join(lines)


def compared(chance: Random, asked: argparse.Namespace) -> tuple[Survey, list[str]]:
    """One survey, and what disagrees in it."""
    if asked.between:
        survey: Survey = invent_between(chance)
        return survey, faults_between(survey)
    survey = invent(chance, asked.anywhere)
    return survey, beyond_truth(survey) if asked.anywhere else faults(survey)


def main() -> None:
    """Print what disagrees, and how much was compared."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--surveys", type=int, default=1000)
    parser.add_argument("--first", type=int, default=0)
    which = parser.add_mutually_exclusive_group()
    which.add_argument("--anywhere", action="store_true")
    which.add_argument("--between", action="store_true")
    asked = parser.parse_args()
    start, tally = time.perf_counter(), Counter()
    for number in range(asked.first, asked.first + asked.surveys):
        survey, found = compared(Random(number), asked)
        tally["surveys"] += 1
        tally["runs"] += len(survey.runs)
        tally["readings"] += sum(len(run.station_mm) for run in survey.runs)
        if found:
            tally["disagreements"] += 1
            print(
                f"survey {number}: {len(found)} disagreements, first: {found[0]}\n{described(survey)}",
                flush=True,
            )
    counts = ", ".join(f"{tally[name]} {name}" for name in ("surveys", "runs", "readings", "disagreements"))
    print(f"{counts}; {time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
