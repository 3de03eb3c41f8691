"""Taper of two faces measured across: its size, sign, uncertainty, and what it does not tell."""

import json

import numpy as np
import pytest

from acquire.cli import main
from acquire.model.errors import AnalysisError
from analysis.adjust.combination import combine
from analysis.answers.datums import datums
from analysis.answers.taper import tapers
from analysis.words.taper import tapers_words
from tests.invented import bed_toml, caliper, flat, imported, survey_in

X = np.arange(0.0, 1001.0, 100.0)
BEND = -30 * np.sin(np.pi * X / 1000)


@pytest.fixture
def across(invented_bed, make_traverse):
    """A caliper of 1 µm across two faces; nothing else was measured."""

    def make(reading, inside=False, faces=None):
        bed = invented_bed(faces=faces)
        a, b = ("front-flat", "front-under") if faces is None else tuple(faces)
        return combine([make_traverse(bed, "caliper", X, reading, face=a, other=b, inside=inside)], bed)

    return make


def test_taper_and_its_uncertainty_are_those_of_the_line_through_the_readings(across):
    """Against the textbook line with independent errors of 1 µm: u = 1/√Σ(x - x̄)²."""
    reading = 0.02 * X + np.random.default_rng(3).normal(0, 1, X.size)
    found = tapers(across(reading)).pairs[0]
    slope = np.polyfit(X, reading, 1)[0]
    assert found.taper_um_per_m == pytest.approx(1000 * slope, abs=1e-6)
    assert found.taper_expanded_um_per_m == pytest.approx(2000 / np.sqrt(np.sum((X - 500) ** 2)), rel=1e-6)
    assert found.over_um == pytest.approx(1000 * slope, abs=1e-6)
    assert found.shapes_known == ()


def test_taper_is_that_of_the_stations_beside_it(invented_bed, make_traverse):
    """Every second place by one caliper run, the others by another with a zero of its own: how the two lie to
    each other is not known, but by chance a line through all of them is, and its taper was told."""
    bed, thick = invented_bed(), 20 * (X / 1000) ** 4
    runs = [
        make_traverse(bed, "caliper", X[part], thick[part] + zero, face="front-flat", other="front-under")
        for part, zero in ((slice(0, None, 2), 3.0), (slice(1, None, 2), -50.0))
    ]
    found = tapers(combine(runs, bed)).pairs[0]
    slope, _ = np.polyfit(found.station_mm, 20 * (found.station_mm / 1000) ** 4, 1)
    assert found.station_mm.size == 6
    assert found.taper_um_per_m == pytest.approx(1000 * slope, abs=1e-6)
    assert found.over_um == pytest.approx(slope * np.ptp(found.station_mm), abs=1e-6)


def test_words_say_thicker_and_that_the_shape_of_neither_is_known(across):
    words = tapers_words(tapers(across(0.02 * X)), False)
    assert "what lies between is thicker towards the far end, by 20" in words[0]
    assert any("neither face is not known" in each for each in words)


def test_bend_common_to_both_faces_leaves_what_lies_between_even(across):
    found = tapers(across(0.0 * X)).pairs[0]
    assert not found.is_seen
    assert found.is_even


def test_place_that_is_thinner_is_named(across):
    found = tapers(across(BEND)).pairs[0]
    assert not found.is_even
    assert found.lowest.station_mm == 500
    assert any("thinnest at 500 mm" in words for words in tapers_words(tapers(across(BEND)), False))


def test_gap_that_reads_less_grows_narrower(across):
    faces = {"left": 'normal = "rear"\nacross_mm = 0', "right": 'normal = "front"\nacross_mm = 80'}
    bed_map = across(-0.02 * X, inside=True, faces=faces)
    assert tapers(bed_map).pairs[0].is_gap
    assert "the gap between grows narrower towards the far end" in tapers_words(tapers(bed_map), False)[0]


@pytest.mark.parametrize(("left", "is_gap"), [("rear", True), ("front", False)])
def test_faces_that_were_not_measured_across_make_a_gap_where_they_look_at_each_other(
    invented_bed, make_traverse, left, is_gap
):
    """Two walls 80 mm apart, one read from a stand that rides the other: a slot between them, or a rib."""
    right = {"rear": "front", "front": "rear"}[left]
    bed = invented_bed(
        faces={"a": f'normal = "{left}"\nacross_mm = 0', "b": f'normal = "{right}"\nacross_mm = 80'}
    )
    run = make_traverse(bed, "dial", X, 0 * X, face="b", reference="a")
    assert tapers(combine([run], bed), ("a", "b")).pairs[0].is_gap is is_gap


def test_datums_know_the_taper_of_two_faces_of_unknown_shape(across):
    pair = datums(across(0.02 * X)).parallel[0]
    assert {pair.a, pair.b} == {"front-flat", "front-under"}
    assert pair.taper_um_per_m == pytest.approx(20, abs=1e-6)


def test_two_faces_read_from_one_line_taper_as_by_hand(invented_bed, make_traverse):
    """Derived: slope of h_B − h_A at 0, 200 ... 1000 mm, each height to 1 µm: −7.43 ± 1.69 µm/m (one u)."""
    bed = invented_bed(pitch_mm=200)
    x = np.arange(0.0, 1001.0, 200.0)
    runs = []
    for face, height in {
        "front-flat": [0, -6, -11, -9, -2, 1.0], "rear-flat": [3, 1, -3, -4, -8, 2.0]
    }.items():  # fmt: skip
        same = {"same_zero_as": runs[0].number} if runs else {}
        runs.append(
            make_traverse(
                bed, "dial", x, height, face=face, reference="line", standard_uncertainty=1.0, **same
            )
        )
    (pair,) = tapers(combine(runs, bed), ("front-flat", "rear-flat")).pairs
    assert pair.taper_um_per_m == pytest.approx(-7.43, abs=0.005)
    assert pair.taper_expanded_um_per_m == pytest.approx(2 * 1.69, abs=0.01)


def test_pair_whose_taper_is_left_open_is_refused_with_what_would_tell(invented_bed, make_traverse):
    bed = invented_bed()
    runs = [
        make_traverse(bed, "level", X[:-1] + 50, np.zeros(10), face=f) for f in ("front-flat", "rear-flat")
    ]
    with pytest.raises(AnalysisError, match="leave open how they taper"):
        tapers(combine(runs, bed), ("front-flat", "rear-flat"))
    with pytest.raises(AnalysisError, match="no pair of faces was measured across"):
        tapers(combine(runs, bed))


@pytest.mark.whole
def test_command_answers_in_words_json_and_picture(tmp_path, capsys):
    faces = {"top": flat(0), "under": {"normal": "down", "across_mm": 0}}
    bed = bed_toml(faces=faces, instruments={"caliper": caliper(0.001, unit="mm", seating_um=0)})
    folder = survey_in(tmp_path / "survey", bed)
    how = ("--face", "top", "--other", "under", "--instrument", "caliper")
    imported(folder, X, np.round(50 + 0.00002 * X, 5), *how)
    capsys.readouterr()
    assert main(["taper", str(folder), "--json", "--picture", str(tmp_path / "t.png")]) == 0
    assert json.loads(capsys.readouterr().out)["pairs"][0]["taper_um_per_m"] == pytest.approx(20, abs=0.1)
    assert (tmp_path / "t.png").stat().st_size > 5000
    assert main(["taper", str(folder), "--inch"]) == 0
    assert "thicker" in capsys.readouterr().out
    assert main(["taper", str(folder), "top"]) == 2
