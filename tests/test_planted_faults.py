"""The tables of planted faults stay true: each finds its place in the code, once, and the tests that it names."""

import tomllib
from pathlib import Path

import pytest

TOP = Path(__file__).parents[1]
TABLES = sorted((TOP / "tests" / "benchmarks" / "planted").glob("*.toml"))


@pytest.mark.parametrize("path", TABLES, ids=lambda path: path.stem)
def test_every_planted_fault_finds_its_place_and_its_tests(path):
    table = tomllib.loads(path.read_text(encoding="utf-8"))
    texts = {row["file"]: (TOP / row["file"]).read_text(encoding="utf-8") for row in table["fault"]}
    lost = [row for row in table["fault"] if texts[row["file"]].count(row["old"]) != 1]
    named = {test for row in [table, *table["fault"]] for test in row.get("tests", [])}
    assert not lost and texts
    assert not [test for test in named if not (TOP / test).exists()]


def test_no_fault_is_planted_twice_and_each_changes_something():
    rows = [row for path in TABLES for row in tomllib.loads(path.read_text(encoding="utf-8"))["fault"]]
    faults = [(row["file"], row["old"], row["new"]) for row in rows]
    assert len(faults) == len(set(faults)) > 500
    assert not [old for _, old, new in faults if old == new]
