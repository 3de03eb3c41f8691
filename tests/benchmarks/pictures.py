"""The pictures of the report beside matplotlib drawing as many plain axes into SVG.

Run: python tests/benchmarks/pictures.py [SURVEY] [ROUNDS]. CPU seconds in one process, imports apart;
without a SURVEY the quick demo is recorded first.
"""

import io
import sys
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
from beside import HEAD, Beside, beside, cpu_of, cpu_of_process
from matplotlib.figure import Figure

from analysis.answers.comparison import compare
from analysis.answers.face_map import map_face
from analysis.answers.surveys import load
from analysis.answers.twist import twist_of
from analysis.draw.figures import bed_figure, comparison_figure, inline_svg, profile_figure, twist_figure


def of_report(folder: str) -> list[Callable[[], Figure]]:
    """What draws each picture that the report of the demo survey has, the answers being known."""
    survey = load(folder)
    bed, bed_map = survey.bed, survey.map()
    maps = [map_face(bed_map, face) for face in ("front-vee", "rear-flat")]
    twist = twist_of(survey.measuring, bed)
    held = compare(survey.measuring, bed, "rear-flat:level", "rear-flat:indicator")
    whole = survey.whole_bed()
    return [
        *(lambda found=found: profile_figure(found, False) for found in maps),
        lambda: twist_figure(twist, False),
        lambda: comparison_figure(held, False),
        lambda: bed_figure(whole, bed, False),
    ]


def drawn(pictures: Sequence[Callable[[], Figure]]) -> None:
    """Each as it stands in the page."""
    for number, picture in enumerate(pictures):
        inline_svg(picture(), f"picture-{number}")


def plain(shapes: Sequence[tuple[float, float, int, int]]) -> None:
    """As many axes of the same size with as many lines of 17 points, named, laid out and kept as SVG."""
    x = np.linspace(0, 1600, 17)
    for width, height, axes, lines in shapes:
        figure = Figure(figsize=(width, height), layout="constrained")
        for axis in np.atleast_1d(figure.subplots(axes)):
            for line in range(lines // axes):
                axis.plot(x, np.sin(x / 300 + line))
            axis.set(xlabel="along the bed, mm", ylabel="height, µm", title="a picture")
            axis.grid(True)
        figure.savefig(io.StringIO(), format="svg")


def shape_of(figure: Figure) -> tuple[float, float, int, int]:
    """Its size in inches, and how many axes and lines it has."""
    width, height = figure.get_size_inches()
    lines = sum(len(axes.lines) + len(axes.collections) for axes in figure.axes)
    return float(width), float(height), len(figure.axes), lines


def compared(survey: str, rounds: int) -> Beside:
    """The row of the table."""
    pictures = of_report(survey)
    shapes = [shape_of(picture()) for picture in pictures]
    axes = sum(each[2] for each in shapes)
    return beside(
        f"pictures of the report, {len(shapes)} of {axes} axes",
        lambda: cpu_of(lambda: drawn(pictures)),
        "matplotlib: as many axes and lines",
        lambda: cpu_of(lambda: plain(shapes)),
        rounds,
    )


def main() -> None:
    """Print the row."""
    with tempfile.TemporaryDirectory() as folder:
        survey = sys.argv[1] if len(sys.argv) > 1 else str(Path(folder) / "survey")
        if len(sys.argv) < 2:
            cpu_of_process(["-m", "waylog", "demo", survey, "--quick"])
        rounds = int(sys.argv[2]) if len(sys.argv) > 2 else 3
        print(f"{HEAD}\n{compared(survey, rounds).row()}")


if __name__ == "__main__":
    main()
