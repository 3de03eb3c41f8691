"""Published cases as a person would take them in: a CSV file, `waylog import`, `waylog map`.

The cases and their standing are in tests/references. Teaching material: it tests the
arithmetic, it is no authority.
"""

import json
import tomllib
from pathlib import Path

import numpy as np
import pytest

from acquire.cli import main

ARCSEC = 4.84813681109536
"""µm/m: one arcsecond, exactly to the last digit of a float."""
BED = """
[bed]
name = "invented bed"
length_mm = {length}
station_pitch_mm = 100
[faces.way]
normal = "up"
[instruments.level]
quantity = "slope"
unit = "{unit}"
per_division = {division!r}
base_mm = 100
standard_uncertainty = {uncertainty}
"""


@pytest.fixture
def case():
    def load(name):
        text = (Path(__file__).parent / "references" / f"{name}.toml").read_text(encoding="utf-8")
        return tomllib.loads(text)

    return load


@pytest.fixture
def mapped(tmp_path, capsys):
    """Import runs (lines of a CSV, options) into a new survey and give the map of its way."""

    def make(runs, length, unit="um/m", division=1.0, line="ends", uncertainty=0.5):
        (tmp_path / "traverses").mkdir()
        (tmp_path / "bed.toml").write_text(
            BED.format(length=length, unit=unit, division=division, uncertainty=uncertainty), encoding="utf-8"
        )
        for number, (rows, options) in enumerate(runs):
            path = tmp_path / f"{number}.csv"
            path.write_text("\n".join(rows) + "\n", encoding="utf-8")
            words = ["import", str(tmp_path), str(path), "--face", "way", "-i", "level", *options]
            assert main(words) == 0, capsys.readouterr().err
        capsys.readouterr()
        assert main(["map", str(tmp_path), "way", "--line", line, "--json"]) == 0
        return json.loads(capsys.readouterr().out)

    return make


def by_middle(readings):
    return ["station_mm,reading", *(f"{50 + 100 * k},{value!r}" for k, value in enumerate(readings))]


def seconds(pairs):
    return [60 * minutes + rest for minutes, rest in pairs]


def there_and_back(found):
    """Position 0 repeats position 1: the steps are those after it."""
    return [
        (by_middle(seconds(found["forward_arcminutes_arcseconds"])[1:]), ()),
        (by_middle(seconds(found["backward_arcminutes_arcseconds"])[1:]), ("--direction", "reverse")),
    ]


def test_surface_by_autocollimator_there_and_back_at_the_scale_of_its_source(case, mapped):
    """Published: 3 µm against the end-point line, +2 and −1; the source takes 0.5 µm an arcsecond."""
    known = case("autocollimator_slides_six_steps")
    found = mapped(there_and_back(known), 600, "arcsec", known["um_per_arcsecond"] * 10 / ARCSEC)
    published, derived = known["published"], known["derived"]
    assert found["straightness_um"]["ends"] == pytest.approx(published["end_point_range_um"], abs=1e-9)
    assert found["highest"]["height_um"] == pytest.approx(published["highest_um"], abs=1e-9)
    assert found["lowest"]["height_um"] == pytest.approx(published["lowest_um"], abs=1e-9)
    assert found["height_um"] == pytest.approx(derived["deviation_um"], abs=1e-9)
    assert found["straightness_um"]["least_squares"] == pytest.approx(
        derived["least_squares_range_um"], abs=1e-6
    )
    assert found["straightness_um"]["minimum_zone"] == pytest.approx(derived["minimum_zone_um"], abs=1e-9)


def test_surface_by_autocollimator_in_true_arcseconds(case, mapped):
    """Derived from the published readings with the exact arcsecond."""
    known = case("autocollimator_slides_six_steps")
    found = mapped(there_and_back(known), 600, "arcsec")
    expected = known["derived"]["end_point_range_with_exact_scale_um"]
    assert found["straightness_um"]["ends"] == pytest.approx(expected, abs=1e-6)


def test_beam_by_autocollimator_from_the_places_of_its_feet(case, mapped):
    """Published readings of a student's report; its ranges are derived."""
    known = case("autocollimator_student_report_eight_steps")
    rows = [
        f"{100 * k};{100 * k + 100};{value!r}".replace(".", ",")
        for k, value in enumerate(seconds(known["reading_arcminutes_arcseconds"]))
    ]
    division = known["um_per_arcminute"] / 60 * 10 / ARCSEC
    found = mapped([(["from_mm;to_mm;reading", *rows], ())], 800, "arcsec", division)
    assert found["mode"] == "stepped" and found["station_mm"] == [100.0 * k for k in range(9)]
    assert found["straightness_um"] == {
        "ends": pytest.approx(98.9417, abs=1e-4),
        "least_squares": pytest.approx(104.845, abs=1e-4),
        "minimum_zone": pytest.approx(98.9417, abs=1e-4),
    }
    assert found["sense"] == "hollow"


SLOPES = [12, 8.5, 3, -1.5, -6, -4, 0.5, 2, 5.5, 9]


@pytest.mark.parametrize("zero", [0, 37])
def test_ten_steps_of_a_level_by_every_line(mapped, zero):
    """Derived, to be checked by hand: heights 0 1.2 2.05 2.35 2.2 1.6 1.2 1.25 1.45 2 2.9."""
    found = mapped([(by_middle([s + zero for s in SLOPES]), ())], 1000)
    assert found["straightness_um"] == {
        "ends": pytest.approx(2.35, abs=1e-9),
        "least_squares": pytest.approx(2.0036363636, abs=1e-9),
        "minimum_zone": pytest.approx(1.8142857143, abs=1e-9),
    }
    heights = np.array([0, 1.2, 2.05, 2.35, 2.2, 1.6, 1.2, 1.25, 1.45, 2.0, 2.9])
    assert found["height_um"] == pytest.approx(heights - np.linspace(0, 2.9, 11), abs=1e-9)


@pytest.mark.parametrize(
    ("line", "known"), [("ends", {5: 0.3873, 10: 0.4472}), ("least-squares", {0: 0.2999, 10: 0.2643})]
)
def test_uncertainty_of_twenty_steps_depends_on_the_line(mapped, line, known):
    """Derived closed forms: σ²·i(n − i)/n from the ends; M·K·M from the least-squares line."""
    found = mapped([(by_middle([0] * 20), ())], 2000, line=line, uncertainty=2.0)
    for station, expected in known.items():
        assert found["standard_uncertainty_um"][station] == pytest.approx(expected, abs=1e-4)
    assert found["sense"] == "straight within what could be seen"
