"""What a notebook imports: cheap to import, the whole job from a survey to a picture."""

import subprocess
import sys

import numpy as np
import pytest

import analysis
from acquire.model.bed_toml.reading import parse_bed
from acquire.store import write_traverse
from tests.invented import bed_toml, level, survey_in

BED = bed_toml(name="invented bed", faces=("way",), instruments={"level": level(base_mm=100)})


@pytest.fixture
def survey_folder(tmp_path, make_traverse):
    """A way hollow by 25 µm: the slopes of h = −25·sin(πx/L) between the feet."""
    survey_in(tmp_path, BED)
    station = np.arange(0, 1001, 100.0)
    slope = np.diff(-25 * np.sin(np.pi * station / 1000)) / 0.1
    traverse = make_traverse(parse_bed(BED), "level", station[:-1] + 50, slope, face="way")
    write_traverse(tmp_path / "traverses" / "001-way-level.h5", traverse)
    return tmp_path


def test_importing_analysis_imports_no_arithmetic():
    heavy = "{'numpy', 'scipy', 'h5py', 'matplotlib'}"
    code = f"import sys, analysis; raise SystemExit(len({heavy} & set(sys.modules)))"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_every_public_name_is_there_and_others_are_not():
    for name in analysis.__all__:
        assert callable(getattr(analysis, name))
        assert name in dir(analysis)
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = analysis.nothing


@pytest.mark.whole
def test_from_a_survey_to_a_profile_and_a_picture(survey_folder, tmp_path):
    from analysis import bed_figure, load, map_face, profile_figure, save

    survey = load(survey_folder)
    profile = survey.profile("way")
    ends = profile.height_um[0] + (profile.height_um[-1] - profile.height_um[0]) * profile.station_mm / 1000
    # noiseless slopes: the sum gives the heights back to rounding
    np.testing.assert_allclose(
        profile.height_um - ends, -25 * np.sin(np.pi * profile.station_mm / 1000), atol=1e-9
    )
    answer = map_face(survey.map(), "way")
    assert answer.sense == "hollow" and answer.lowest.station_mm == 500
    save(profile_figure(answer), tmp_path / "way.png")
    save(bed_figure(survey.whole_bed(), survey.bed), tmp_path / "bed.svg")
    assert (tmp_path / "way.png").read_bytes().startswith(b"\x89PNG")
    assert "−25" in (tmp_path / "bed.svg").read_text(encoding="utf-8")


def test_survey_and_map_are_short_whatever_they_hold(survey_folder):
    survey = analysis.load(survey_folder)
    assert repr(survey) == f"Survey({str(survey_folder)!r}: invented bed, 1 faces, 1 traverses)"
    assert "<td>way</td>" in survey._repr_html_()
    bed_map = survey.map()
    assert repr(bed_map).startswith("BedMap(invented bed: way; 11 heights")
    assert "<td>1000</td>" in bed_map._repr_html_()
    for each in (
        survey.traverses[0],
        analysis.map_face(bed_map, "way"),
        survey.whole_bed(),
        survey.profile("way"),
    ):
        assert len(repr(each)) < 260 and "\n" not in repr(each)
