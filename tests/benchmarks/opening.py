"""Opening a survey of many traverses beside h5py reading their root attributes.

Run: python tests/benchmarks/opening.py [TRAVERSES] [ROUNDS].
"""

import sys
import tempfile
from pathlib import Path

import h5py
import numpy as np
from beside import HEAD, Beside, beside, cpu_of

from acquire.model.traverse import Events, Setup, Stations, Traverse
from acquire.store import read_survey, write_traverse

BED = """[bed]
name = "invented bed of many traverses"
length_mm = 1600
station_pitch_mm = 200
[faces.front]
normal = "up"
[instruments.level]
quantity = "slope"
unit = "um/m"
base_mm = 200
standard_uncertainty = 1.0
"""


def write_survey(folder: Path, count: int) -> None:
    """So many traverses of one face, all alike but for their noise."""
    (folder / "traverses").mkdir()
    (folder / "bed.toml").write_text(BED, encoding="utf-8")
    random = np.random.default_rng(5)
    place = np.arange(100.0, 1600.0, 200.0)
    ones = np.ones(len(place))
    for number in range(1, count + 1):
        setup = Setup("level", "slope", BED, face="front", number=number, source="enter")
        reading = random.normal(size=len(place))
        stations = Stations(place, reading, ones, 0 * ones, ones.astype(int), ones.astype(int), np.nan * ones)
        path = folder / "traverses" / f"{number:03d}-front-level.h5"
        write_traverse(path, Traverse(setup, {}, stations, Events.none(), "stepped", True))


def root_attributes(folder: Path) -> list[dict]:
    """What every reader of these files must do."""
    found = []
    for path in sorted((folder / "traverses").glob("*.h5")):
        with h5py.File(path, "r", locking=False) as file:
            found.append(dict(file.attrs))
    return found


def compared(count: int, rounds: int) -> Beside:
    """The row of the table."""
    with tempfile.TemporaryDirectory(prefix="waylog-opening-") as name:
        folder = Path(name)
        write_survey(folder, count)
        return beside(
            f"opening a survey of {count} traverses",
            lambda: cpu_of(lambda: read_survey(folder)),
            "h5py: their root attributes",
            lambda: cpu_of(lambda: root_attributes(folder)),
            rounds,
        )


def main() -> None:
    """Print the row."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    rounds = int(sys.argv[2]) if len(sys.argv) > 2 else 3
    print(f"{HEAD}\n{compared(count, rounds).row()}")


if __name__ == "__main__":
    main()
