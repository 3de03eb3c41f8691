"""A level on a guide that stands: it reads how far the face leans out, no turn about the plumb line."""

import numpy as np
import pytest

from acquire.cli import main
from acquire.model.errors import AnalysisError
from analysis.adjust.combination import combine
from analysis.answers.face_map import map_face
from analysis.answers.taper import tapers
from analysis.words.datums import datums_answer
from analysis.words.taper import tapers_words

X = np.arange(0.0, 1001.0, 100.0)
MIDDLE = X[:-1] + 50
UPRIGHT = 'stands = "upright"\nfar_end = "head"\n'
HOLLOW = -25 * np.sin(np.pi * X / 1000)


@pytest.mark.parametrize("normal", ["front", "rear", "up", "down"])
def test_frame_level_reads_the_lean_of_a_face_that_stands_whichever_way_it_looks(
    invented_bed, make_traverse, normal
):
    """Invented truth: hollow by 25 µm; leaning out where heights rise along the guide."""
    bed = invented_bed(bed=UPRIGHT, faces={"guide": f'normal = "{normal}"\nacross_mm = 0'})
    run = make_traverse(bed, "level", MIDDLE, np.diff(HOLLOW) / 0.1, face="guide")
    found = map_face(combine([run], bed), "guide")
    assert found.height_um == pytest.approx(HOLLOW, abs=1e-6)


def test_side_face_of_a_bed_that_lies_is_refused_and_what_stands_is_named(invented_bed, make_traverse):
    bed = invented_bed(faces={"guide": 'normal = "front"\nacross_mm = 0'})
    with pytest.raises(AnalysisError, match="cannot see sideways"):
        combine([make_traverse(bed, "level", MIDDLE, 0 * MIDDLE, face="guide")], bed)


def test_level_across_a_guide_that_stands_is_refused_for_the_plumb_line(invented_bed, make_traverse):
    bed = invented_bed(bed=UPRIGHT)
    run = make_traverse(bed, "cross", X, 0 * X, front="front-flat", rear="rear-flat")
    with pytest.raises(AnalysisError, match="plumb line"):
        combine([run], bed)


@pytest.mark.parametrize(("stands", "hollow"), [(UPRIGHT, False), ("", True)])
def test_straightedge_that_stands_does_not_sag(invented_bed, make_traverse, stands, hollow):
    edge = (
        '[straightedges.edge]\nlength_mm = 1000\nsupports_mm = [0, 1000]\ndepth_mm = 40\nmaterial = "steel"\n'
    )
    bed = invented_bed(bed=stands, faces={"guide": 'normal = "up"\nacross_mm = 0'}, more=edge)
    runs = [
        make_traverse(bed, "dial", X, 0 * X, face="guide", reference="straightedge:edge", turned_over=over)
        for over in (False, True)
    ]
    assert bool(np.ptp(map_face(combine(runs, bed), "guide").height_um) > 1.0) is hollow


def test_door_for_typed_and_imported_readings_lets_the_level_in(tmp_path, capsys):
    (tmp_path / "traverses").mkdir()
    text = (
        '[bed]\nname = "invented"\nlength_mm = 400\nstation_pitch_mm = 100\n{}'
        '[faces.guide]\nnormal = "front"\nacross_mm = 0\n[faces.other]\nnormal = "front"\nacross_mm = 300\n'
        '[instruments.level]\nquantity = "slope"\nunit = "um/m"\nbase_mm = 100\nstandard_uncertainty = 1\n'
        "seating_um = 0\n"
    )
    (tmp_path / "run.csv").write_text("station_mm,reading\n50,0\n150,1\n250,0\n350,2\n")
    words = ["import", str(tmp_path), str(tmp_path / "run.csv"), "-i", "level"]
    (tmp_path / "bed.toml").write_text(text.format(""))
    assert main([*words, "--face", "guide"]) == 1
    assert "a guide that stands" in capsys.readouterr().err
    (tmp_path / "bed.toml").write_text(text.format(UPRIGHT))
    assert main([*words, "--face", "guide"]) == 0
    assert main([*words, "--across", "guide", "other"]) == 1
    assert "plumb line" in capsys.readouterr().err


def test_ends_are_called_as_the_survey_calls_them(invented_bed, make_traverse):
    from analysis.answers.datums import datums

    bed = invented_bed(bed=UPRIGHT)
    rng = np.random.default_rng(4)

    runs = [
        make_traverse(
            bed, "caliper", X, 0.03 * X + rng.normal(0, 1, 11), face="front-flat", other="front-under"
        ),
        *(
            make_traverse(bed, "level", MIDDLE, rng.normal(0, 1, 10), face="front-flat", direction=way)
            for way in ("forward", "reverse")
        ),
    ]
    bed_map = combine(runs, bed)
    said = "\n".join([*tapers_words(tapers(bed_map), False), *datums_answer(datums(bed_map), False)])
    assert said.count("towards the head") >= 2
    assert "far end" not in said
