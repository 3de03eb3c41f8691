"""Opening a survey of many traverses beside h5py reading their root attributes.

Run: python tests/benchmarks/opening.py [TRAVERSES] [ROUNDS].
"""

import sys
import tempfile
from pathlib import Path

import h5py
import numpy as np
from beside import HEAD, Beside, beside, cpu_of

from acquire.model.bed_toml.reading import parse_bed
from acquire.store import read_survey, write_traverse

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
from tests.invented import bed_toml, level, traverse

BED = parse_bed(bed_toml(1600, 200, instruments={"level": level()}))


def write_survey(folder: Path, count: int) -> None:
    """So many traverses of one face, all alike but for their noise."""
    (folder / "traverses").mkdir()
    (folder / "bed.toml").write_text(BED.text, encoding="utf-8")
    random = np.random.default_rng(5)
    place = np.arange(100.0, 1600.0, 200.0)
    for number in range(1, count + 1):
        run = traverse(BED, "level", place, random.normal(size=len(place)), face="front", number=number)
        path = folder / "traverses" / f"{number:03d}-front-level.h5"
        write_traverse(path, run)


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
