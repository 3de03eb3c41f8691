"""What is imported before a command can answer: names of modules, and no time is taken.

Most of a short answer's time would be imports otherwise. scipy.optimize, scipy.interpolate and
scipy.stats each take as long as numpy and h5py together; matplotlib is for pictures alone.
"""

import json
import subprocess
import sys

import numpy as np
import pytest
from scipy.stats import norm

from acquire.model.traverse import Stations
from acquire.store import write_traverse
from analysis.answers.bed_or_wear import CHANCE, ndtri
from tests.invented import survey_in

HEAVY = (
    "scipy.optimize",
    "scipy.interpolate",
    "scipy.stats",
    "scipy.spatial",
    "scipy.integrate",
    "scipy.ndimage",
    "scipy.fft",
    "matplotlib",
    "jinja2",
    "rich",
    "serial",
)
HELP = """
import sys
from acquire.cli import COMMANDS, main
for name in COMMANDS:
    main([name, "--help"])
    print(f"@{name}: {sorted({module.partition('.')[0] for module in sys.modules})}")
"""
ANSWER = """
import json, sys
from acquire.cli import main
code = main(sys.argv[1:])
print("@" + json.dumps([code, sorted(sys.modules)]))
"""


def run(program, *arguments):
    done = subprocess.run(
        [sys.executable, "-c", program, *map(str, arguments)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return [line[1:] for line in done.stdout.splitlines() if line.startswith("@")]


@pytest.mark.whole
def test_what_a_command_does_is_told_without_loading_what_does_it():
    """All in one process: what one of them loaded would be there for all that follow."""
    for line in run(HELP):
        name, _, loaded = line.partition(": ")
        heavy = {"numpy", "h5py", "scipy", "matplotlib", "rich", "serial", "jinja2", "starlette", "uvicorn"}
        found = heavy & set(json.loads(loaded.replace("'", '"')))
        assert not found, f"{name} --help loads {found}"


@pytest.fixture(scope="module")
def survey(tmp_path_factory):
    """Two ways stepped by one level, all in heights that are invented."""
    from acquire.model.traverse import Events, Setup, Traverse

    bed_toml = """[bed]
name = "invented"
length_mm = 1000
station_pitch_mm = 200
[faces.front]
normal = "up"
across_mm = 0
carriage = "front"
[faces.rear]
normal = "up"
across_mm = 300
carriage = "rear"
[instruments.level]
quantity = "slope"
unit = "um/m"
base_mm = 200
standard_uncertainty = 1.0
"""
    folder = tmp_path_factory.mktemp("survey")
    survey_in(folder, bed_toml)
    place = np.arange(100.0, 1000.0, 200.0)
    for number, face in enumerate(("front", "rear"), start=1):
        setup = Setup("level", "slope", bed_toml, face=face, number=number, source="enter")
        setup = setup if number == 1 else Setup(**{**vars_of(setup), "same_zero_as": 1})
        ones = np.ones(len(place))
        reading = 5.0 * number * np.sin(place / 300)
        stations = Stations(place, reading, ones, 0 * ones, ones.astype(int), ones.astype(int), np.nan * ones)
        write_traverse(
            folder / "traverses" / f"{number:03d}-{face}-level.h5",
            Traverse(setup, {}, stations, Events.none(), "stepped", True),
        )
    return folder


def vars_of(setup):
    """The fields of a setup, without what it worked out of them."""
    from dataclasses import fields

    return {field.name: getattr(setup, field.name) for field in fields(setup)}


@pytest.mark.whole
@pytest.mark.parametrize("words", [["map", "front"], ["twist"], ["compare", "1", "1"], ["combine"]])
def test_answers_load_no_more_than_their_sums_need(survey, words):
    command, *rest = words
    code, loaded = json.loads(run(ANSWER, command, survey, *rest)[-1])
    assert code in (0, 1)
    assert not set(HEAVY) & set(loaded)
    assert "analysis.level.continuous" not in loaded, "nothing was drawn"


@pytest.mark.whole
def test_lag_of_drawn_readings_loads_no_more_than_its_sums_need():
    """A smooth curve is fitted to them, which one could leave to scipy.interpolate."""
    program = """
import json, sys
import numpy as np
from analysis.level.lag import lag_from_passes, pass_of
t = np.arange(0, 60, 0.1)
lag_from_passes([pass_of(t, x, np.sin(x / 40), 1.0) for x in (5 * t, 300 - 5 * t)])
print("@" + json.dumps(sorted(sys.modules)))
"""
    assert not set(HEAVY) & set(json.loads(run(program)[-1]))


@pytest.mark.whole
def test_list_of_traverses_loads_no_sums_at_all(survey):
    code, loaded = json.loads(run(ANSWER, "show", survey)[-1])
    assert code == 0 and "h5py" in loaded
    assert not {"scipy", "matplotlib", "rich", "tomlkit", "serial"} & set(loaded)


def test_a_command_ends_without_going_through_all_that_it_loaded(survey):
    """Python looks for cycles among all objects as it ends, three times, but not among frozen ones."""
    program = """
import atexit, gc, sys
from acquire.cli import run
atexit.register(lambda: print("@", gc.get_freeze_count() > 1000))
run()
"""
    assert run(program, "show", survey)[-1].strip() == "True"


def test_limit_of_chance_is_that_of_scipy():
    for count in (1, 7, 400):
        assert -ndtri(CHANCE / count) == norm.isf(CHANCE / count)
