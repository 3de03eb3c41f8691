"""What is imported before a command can answer: names of modules, and no time is taken.

Most of a short answer's time would be imports otherwise. scipy.optimize, scipy.interpolate and
scipy.stats each take as long as numpy and h5py together; matplotlib is for pictures alone.
"""

import json
import subprocess
import sys
from statistics import NormalDist

import numpy as np
import pytest

from analysis.answers.bed_or_wear import CHANCE, ndtri
from tests.invented import bed_toml, flat, imported, level, survey_in

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
    bed = bed_toml(
        pitch_mm=200,
        faces={"front": flat(0, "front"), "rear": flat(300, "rear")},
        instruments={"level": level()},
    )
    folder = survey_in(tmp_path_factory.mktemp("survey"), bed)
    place = np.arange(100.0, 1000.0, 200.0)
    imported(folder, place, 5.0 * np.sin(place / 300), "--face", "front", "-i", "level")
    imported(
        folder, place, 10.0 * np.sin(place / 300), "--face", "rear", "-i", "level", "--same-zero-as", "1"
    )
    return folder


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


def test_limit_of_chance_is_that_of_pythons_own_normal_distribution():
    for count in (1, 7, 400):
        assert ndtri(CHANCE / count) == pytest.approx(NormalDist().inv_cdf(CHANCE / count), rel=1e-12)
