"""How fast commands answer on the demo survey, beside the imports that they cannot do without.

Run: python tests/benchmarks/answers.py [SURVEY] [STEPPED] [ROUNDS]. CPU seconds of whole processes; without
surveys the demo is recorded first, and the quick one, in which nothing is drawn.
"""

import sys
import tempfile

from beside import HEAD, Beside, beside, cpu_of_process

ARRAYS = ("import numpy, h5py", ["-c", "import numpy, h5py"])
CLICK = ("import click", ["-c", "import click"])
ANSWERS = {
    "map SURVEY front-vee": ARRAYS,
    "twist SURVEY": ARRAYS,
    "compare SURVEY rear-flat:level rear-flat:indicator": ARRAYS,
    "combine SURVEY": ARRAYS,
    "next SURVEY": ARRAYS,
    "show SURVEY": ARRAYS,
    "--help": CLICK,
    "record --help": CLICK,
    "import --help": CLICK,
    "map --help": CLICK,
}


STEPPED = "map STEPPED front-vee"


def compared(survey: str, stepped: str, rounds: int) -> list[Beside]:
    """A row for each command."""
    rows = []
    for command, (yardstick, words) in {STEPPED: ARRAYS, **ANSWERS}.items():
        asked = ["-m", "waylog", *command.replace("SURVEY", survey).replace("STEPPED", stepped).split()]
        rows.append(
            beside(
                f"`{command}`",
                lambda asked=asked: cpu_of_process(asked)[0],
                f"`{yardstick}`",
                lambda words=words: cpu_of_process(words)[0],
                rounds,
            )
        )
    return rows


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as folder:
        survey, stepped = sys.argv[1:3] if len(sys.argv) > 2 else (f"{folder}/survey", f"{folder}/stepped")
        if len(sys.argv) <= 2:
            cpu_of_process(["-m", "waylog", "demo", survey])
            cpu_of_process(["-m", "waylog", "demo", stepped, "--quick"])
        rounds = int(sys.argv[3]) if len(sys.argv) > 3 else 3
        print("\n".join([HEAD, *(row.row() for row in compared(survey, stepped, rounds))]))


if __name__ == "__main__":
    main()
