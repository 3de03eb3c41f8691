"""The tables of planted faults stay true: each finds its place in the code, once, and the tests it names."""

import re
import tomllib
from pathlib import Path

import pytest

from tests.benchmarks.planted_faults import rows_of

TOP = Path(__file__).parents[1]
TABLES = sorted((TOP / "tests" / "benchmarks" / "planted").glob("*.toml"))


@pytest.mark.parametrize("path", TABLES, ids=lambda path: path.stem)
def test_every_planted_fault_finds_its_place_and_its_tests(path):
    table = tomllib.loads(path.read_text(encoding="utf-8"))
    assert table.keys() <= {"tests", "module", "fact"}
    rows = list(rows_of(table))
    texts = {row["file"]: (TOP / row["file"]).read_text(encoding="utf-8") for row in rows}
    lost = [row for row in rows if texts[row["file"]].count(row["old"]) != 1]
    named = {test for row in [table, *rows] for test in row.get("tests", [])}
    assert not lost and texts
    assert not [test for test in named if not (TOP / test).exists()]


def test_no_fault_is_planted_twice_and_each_changes_something():
    rows = [row for path in TABLES for row in rows_of(tomllib.loads(path.read_text(encoding="utf-8")))]
    faults = [(row["file"], row["old"], row["new"]) for row in rows]
    assert len(faults) == len(set(faults)) > 500
    assert not [old for _, old, new in faults if old == new]


ALWAYS_BELONGS = {
    "BeforeMetal": "beside every plan",
    "InSurvey": "only says of which survey another fact is",
}
"""Facts that cannot stand where they do not belong, and why."""


def test_every_fact_is_planted_as_never_said_and_as_always_said():
    """So that for each there is a claim that it appears, and one that it does not (`planted_faults.py`)."""
    planted = tomllib.loads((TABLES[0].parent / "facts.toml").read_text(encoding="utf-8"))["fact"]
    files = sorted((TOP / "analysis").rglob("*.py"))
    text = "\n".join(file.read_text(encoding="utf-8") for file in files)
    facts = set(re.findall(r"^class (\w+)\(Fact\):", text, re.MULTILINE))
    assert facts == {fact["name"] for fact in planted if "never" in fact}
    assert facts - set(ALWAYS_BELONGS) == {fact["name"] for fact in planted if "always" in fact}
