"""A column with a dovetail, out of square, its guide hollow; invented truth.

At each step what is said must be right within what is said.  Simulation proves the arithmetic, not the
bench.
"""

import numpy as np
import pytest

from tests.invented import bed_toml, caliper, dial

pytestmark = [pytest.mark.whole, pytest.mark.statistics]

X = np.arange(0.0, 601.0, 50.0)
"""Up the column."""
BED = bed_toml(
    600,
    50,
    bed={"origin": "foot of the column"},
    faces={
        "guide": {"normal": "front", "across_mm": 0},
        "left": {"normal": "front", "across_mm": 0},
        "right": {"normal": "rear", "across_mm": 160},
    },
    instruments={"dial": dial(0.7, seating_um=0.3), "caliper": caliper(1.5, seating_um=0.3)},
    straightedges={"edge": {"length_mm": 700}},
)
PIN, ANGLE = 10.0, 60.0
EDGE = 4.0 * np.sin(np.pi * X / 600) + 2.0 * np.sin(2 * np.pi * X / 600)
"""The straightedge is not straight either."""


def read_guide(night, height):
    """A dial along the edge, as it lies and turned over: both ways round, the edge's own shape cancels."""
    for turned in (1, -1):
        for direction in ("forward", "reverse"):
            read = height - turned * EDGE + 0.03 * X + night.rng.normal(0, 0.82, X.size)
            order = slice(None, None, 1 if direction == "forward" else -1)
            words = ["--face", "guide", "--instrument", "dial", "--reference", "straightedge:edge"]
            words += ["--direction", direction, *(["--turned-over"] if turned < 0 else [])]
            night.write(X[order], read[order], *words)


def within(found, truth, slack=1.4):
    return abs(found["value"] - truth) <= slack * 2 * found["standard_uncertainty"]


def blanks(values):
    return " ".join(f"{value:.4f}um" for value in values)


def test_evening_at_a_column_out_of_square_with_a_tapered_dovetail(evening, make_machine, tmp_path):
    lean, square = 60.0, 25.0
    hollow = -30 * np.sin(np.pi * X / 600) ** 2
    machine = make_machine(X, {"guide": 0.0}, {"guide": hollow}, 0 * X, 0 * X)
    night = evening(BED, machine, seed=21)
    folder = str(night.folder)

    height = np.linspace(0, 300, 5)
    runs = [
        sign * height * square / 1000 + height * lean / 1000 + night.rng.normal(0, 1, 5) for sign in (1, -1)
    ]
    told = night.ask(
        "square",
        "blade",
        folder,
        "--height",
        "300 mm",
        "--first",
        blanks(runs[0]),
        "--turned",
        blanks(runs[1]),
    )
    assert within(told["lean_um_per_m"], lean)
    assert within(told["tool_um_per_m"], square)

    taper = 40.0
    width = 160 + taper * X[::3] / 1e6
    measure = width + PIN * (1 + 1 / np.tan(np.radians(ANGLE / 2))) + night.rng.normal(0, 2e-3, width.size)
    told = night.ask(
        "dovetail", "pins", folder, "--angle", "60", "--pin", f"{PIN} mm",
        "--at", " ".join(f"{mm:g}mm" for mm in X[::3]), "--measure", " ".join(f"{m:.4f}mm" for m in measure),
    )  # fmt: skip
    assert within(told["taper_um_per_m"], taper)
    gib = night.ask("dovetail", "gib", folder, "--play", "40 um", "--angle", "60", "--taper", "60")
    assert gib["thicker_um"] == pytest.approx(40 * np.sin(np.radians(60)), rel=1e-3)

    across = 0.05 * X + night.rng.normal(0, 1.53, X.size)
    night.write(X, across, "--face", "left", "--other", "right", "--instrument", "caliper")
    pair = night.ask("taper", folder)["pairs"][0]
    assert abs(pair["taper_um_per_m"] - 50) <= 1.4 * pair["taper_expanded_um_per_m"]
    assert pair["shapes_known"] == []

    read_guide(night, machine.metal["guide"])
    datums = night.ask("datums", folder)
    assert not next(each for each in datums["faces"] if each["face"] == "guide")["can_be_trusted"]
    spent, first = [], night.keep_copy(tmp_path / "before-any")
    for round_ in ("second", "third"):
        plan = night.ask("plan", str(night.folder), "guide")
        spent.append(plan["greatest_um"])
        before, metal = night.keep_copy(tmp_path / f"before-{round_}"), machine.metal["guide"]
        night.scrape(plan)
        night.begin(tmp_path / round_)
        read_guide(night, machine.metal["guide"])
        done = night.ask("plan", str(night.folder), "guide", "--after", before)["after"]["guide"]
        away = np.array(done["done_um"]) - (metal - machine.metal["guide"])
        away -= np.polyval(np.polyfit(X, away, 1), X)
        assert np.mean(np.abs(away) <= np.array(done["expanded_um"])) >= 0.9
    (shown,) = night.ask("history", first, str(night.folder), "--scraped=guide")["faces"]
    assert (shown["face"], shown["verdict"]) == ("guide", "better")
    proof = night.ask("map", str(night.folder), "guide", "--line", "least-squares")
    truth = machine.metal["guide"] - np.polyval(np.polyfit(X, machine.metal["guide"], 1), X)
    assert np.all(
        np.abs(np.array(proof["height_um"]) - truth) <= 1.5 * 2 * np.array(proof["standard_uncertainty_um"])
    )
    last = night.ask("plan", str(night.folder), "guide")["greatest_um"]
    assert last < 0.7 * spent[0]
