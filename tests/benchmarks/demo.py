"""The whole demo beside its recordings alone, CPU seconds of processes and all that they start.

Run: python tests/benchmarks/demo.py [ROUNDS]. A round takes a minute or two.
"""

import itertools
import sys
import tempfile
from pathlib import Path

from beside import HEAD, Beside, beside, cpu_of_process

RECORDINGS = """
import sys
from pathlib import Path
from acquire import demo
folder, bed = Path(sys.argv[1]), demo.InventedBed(1)
with demo.open_lines(demo.SPEAKING) as ports:
    demo.make_survey(folder, bed, ports)
    demo.record_all(folder, bed, demo.jobs_of(bed, False), 1, ports)
"""


def compared(rounds: int) -> Beside:
    """The row of the table."""
    with tempfile.TemporaryDirectory() as name:
        folders = (str(Path(name) / str(number)) for number in itertools.count())
        cpu_of_process(["-m", "waylog", "demo", next(folders), "--quick"])  # compiles what is imported
        return beside(
            "the whole demo",
            lambda: cpu_of_process(["-m", "waylog", "demo", next(folders)])[0],
            "its recordings alone",
            lambda: cpu_of_process(["-c", RECORDINGS, next(folders)])[0],
            rounds,
        )


def main() -> None:
    """Print the row."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 2
    print(f"{HEAD}\n{compared(rounds).row()}")


if __name__ == "__main__":
    main()
