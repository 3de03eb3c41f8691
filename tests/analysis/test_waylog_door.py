"""`import waylog`: what `analysis` gives, and never a foreign module in place of ours."""

import importlib.metadata
import os
import subprocess
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest

import analysis

ROOT = Path(analysis.__file__).parents[1]
DOOR = ROOT / "analysis" / "door"
PLANTED = "import pathlib; pathlib.Path(__file__).with_suffix('.ran').touch()\n"


def python(folder, code):
    """A session started in `folder`, as a notebook is: the folder comes before all else."""
    paths = os.pathsep.join(["", str(ROOT), str(DOOR)])
    return subprocess.run(
        [sys.executable, "-c", code], check=False, cwd=folder, env={**os.environ, "PYTHONPATH": paths},
        capture_output=True, text=True, timeout=60,
    )  # fmt: skip


def test_every_name_of_analysis_comes_through_the_door():
    import waylog

    assert set(waylog.__all__) == {*analysis.__all__, "__version__"}
    for name in analysis.__all__:
        assert getattr(waylog, name) is getattr(analysis, name)
        assert name in dir(waylog)
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = waylog.nothing


def test_importing_waylog_imports_no_arithmetic(tmp_path):
    heavy = "{'numpy', 'scipy', 'h5py', 'matplotlib', 'analysis.answers'}"
    done = python(tmp_path, f"import sys, waylog; raise SystemExit(len({heavy} & set(sys.modules)))")
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize("house", ["acquire", "analysis"])
@pytest.mark.parametrize("is_package", [False, True])
def test_foreign_module_is_named_and_not_run(tmp_path, house, is_package):
    planted = tmp_path / house / "__init__.py" if is_package else tmp_path / f"{house}.py"
    planted.parent.mkdir(exist_ok=True)
    planted.write_text(PLANTED)
    done = python(tmp_path, "import waylog")
    assert done.returncode == 1
    last = done.stderr.splitlines()[-1]
    assert last.startswith("ImportError: ") and str(planted) in last and "Rename it" in last
    assert not planted.with_suffix(".ran").exists()


def test_foreign_module_that_was_imported_before_is_named(tmp_path):
    (tmp_path / "analysis.py").write_text("")
    done = python(tmp_path, "import analysis, waylog")
    assert done.returncode == 1 and str(tmp_path / "analysis.py") in done.stderr.splitlines()[-1]


def test_version_is_the_one_that_is_installed():
    import waylog

    assert waylog.__version__ == importlib.metadata.version("waylog")
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    assert "version" in project["dynamic"]


def test_each_house_says_that_it_is_typed():
    import waylog

    for package in (ROOT / "acquire", ROOT / "analysis", Path(waylog.__file__).parent):
        assert (package / "py.typed").is_file()


def test_program_runs_by_the_name_of_the_door(tmp_path):
    done = python(tmp_path, "import sys; sys.argv = ['waylog', '--version']; import waylog; waylog.run()")
    assert done.returncode == 0 and "waylog" in done.stdout


class TestShown:
    """Results in a session: one line, a table, a frame."""

    @pytest.fixture
    def shape(self):
        from analysis.answers.whole_bed import FaceHeights

        station_mm = np.arange(0.0, 20_000.0, 100.0)
        return FaceHeights(station_mm, np.sin(station_mm), np.full(station_mm.size, np.nan))

    def test_repr_is_one_short_line(self, shape):
        assert repr(shape) == "FaceHeights(200 stations)"

    def test_notebook_gets_a_table_with_units_that_is_cut_off(self, shape):
        shown = shape._repr_html_()
        assert "<th>height, µm</th>" in shown and "– </td>" not in shown and "<td>–</td>" in shown
        assert shown.count("<tr>") == 1 + 60 + 1 and "… 140 more" in shown

    def test_names_in_a_table_cannot_be_markup(self):
        from analysis.linear.shown import table_html

        assert "<b>" not in table_html("<b>way", {"<b>": ["<b>"]})

    @pytest.mark.whole  # xarray takes longer to load than all of this file
    def test_xarray_gets_the_columns_with_their_units(self, shape):
        pytest.importorskip("xarray")
        frame = shape.to_xarray()
        assert frame.height_um.attrs["units"] == "µm" and frame.station_mm.attrs["units"] == "mm"
        np.testing.assert_array_equal(frame.height_um.sel(station_mm=100.0), shape.height_um[1])

    def test_pandas_gets_the_columns_by_station(self, shape):
        pytest.importorskip("pandas")
        frame = shape.to_pandas()
        assert frame.index.name == "station_mm" and list(frame) == ["height_um", "standard_uncertainty_um"]


def test_what_is_no_public_name_does_not_come_through_the_door():
    """`analysis.linear` is a room."""
    import waylog

    import analysis.linear

    assert analysis.linear
    for name in ("linear", "nothing"):
        with pytest.raises(AttributeError, match=f"module 'waylog' has no attribute '{name}'"):
            getattr(waylog, name)
