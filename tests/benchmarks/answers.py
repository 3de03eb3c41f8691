"""How fast the analysis commands answer on the demo survey: python tests/benchmarks/answers.py [SURVEY].

Each command runs three times in a process of its own, as a person runs it; the quickest is printed.
Without a SURVEY the quick demo is recorded first.
"""

import subprocess
import sys
import tempfile
import time
from pathlib import Path

COMMANDS = (
    ["--help"],
    ["show"],
    ["map", "front-vee"],
    ["twist"],
    ["compare", "rear-flat:level", "rear-flat:indicator"],
    ["combine"],
    ["next"],
    ["report"],
)


def seconds(words: list[str]) -> float:
    """Time of one command, in seconds."""
    start = time.perf_counter()
    subprocess.run([sys.executable, "-m", "acquire.cli", *words], check=True, capture_output=True)
    return time.perf_counter() - start


def main() -> None:
    """Time every command and print the quickest of three runs."""
    with tempfile.TemporaryDirectory() as folder:
        survey = sys.argv[1] if len(sys.argv) > 1 else str(Path(folder) / "survey")
        if len(sys.argv) < 2:
            subprocess.run([sys.executable, "-m", "acquire.cli", "demo", survey, "--quick"], check=True)
        for name, *rest in COMMANDS:
            words = [name] if name == "--help" else [name, survey, *rest]
            print(f"{min(seconds(words) for _ in range(3)):6.2f} s  waylog {' '.join(words)}")


if __name__ == "__main__":
    main()
