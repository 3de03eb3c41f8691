"""An invented survey in inches, and what a function is asked when a command is given on it."""

import importlib
import inspect

import pytest

from acquire.cli import main
from acquire.model.errors import AnalysisError
from analysis.answers.surveys import load
from tests.invented import bed_toml, cross_level, flat, imported, level, survey_in, vee

BED = bed_toml(
    None,
    None,
    bed={"length": "40 in", "station_pitch": "4 in", "display": "inch", "carriage_length": "8 in"},
    faces={
        "vee": vee(0, "front"),
        "flat": flat(254, "rear"),
        "tail": flat(127),
        "wall": {"normal": "rear", "across_mm": -60},
    },
    instruments={"level": level(base_mm=101.6), "cross": cross_level()},
    straightedges={"long": {"length": "36 in"}, "short": {"length": "12 in"}},
)


@pytest.fixture(scope="session")
def survey(tmp_path_factory):
    """A level forward on the vee, one turned on the flat, a cross level: two ways alike, without wind."""
    folder = survey_in(tmp_path_factory.mktemp("asked") / "now", BED)
    places = [4.0 * step + 2 for step in range(10)]
    slopes = [round(at * (40 - at) / 20, 2) for at in places]
    turned = [-each for each in slopes]
    across = ("--across", "vee", "flat", "-i", "cross")
    imported(folder, places, slopes, "--face", "vee", "-i", "level", head="station")
    imported(folder, places, turned, "--face", "flat", "-i", "level", "--turned", head="station")
    imported(folder, [4.0 * step for step in range(11)], [0.0] * 11, *across, head="station")
    return folder


@pytest.fixture(scope="session")
def loaded(survey):
    """Opened once: it remembers its maps."""
    return load(survey)


@pytest.fixture
def asked(survey, loaded, monkeypatch):
    """What a function is asked by a command, by name: one of the answers, or, behind a /, any other."""
    monkeypatch.setattr("analysis.answers.surveys.load", lambda _: loaded)

    def run(words, where):
        module, name = where.rsplit(".", 1)
        owner = importlib.import_module(module[1:] if module[0] == "/" else f"analysis.answers.{module}")
        signature, caught = inspect.signature(getattr(owner, name)), []

        def stops(*arguments, **options):
            bound = signature.bind(*arguments, **options)
            bound.apply_defaults()
            caught.append(bound.arguments)
            raise AnalysisError("asked", "all that was wanted")

        monkeypatch.setattr(owner, name, stops)
        assert main([word.replace("SURVEY", str(survey)) for word in words]) == 1
        (found,) = caught
        return found

    return run
