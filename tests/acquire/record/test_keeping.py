"""An entry that was cut short is gone on with by one that asks the same, and by no other."""

import dataclasses

import pytest

from acquire.record.keeping import keep_line, resumable
from acquire.reduce.written import TypedLine
from acquire.store.journal import begin


@pytest.fixture
def entered(survey, level_setup):
    """An entry of one line that was cut short, and what it had asked."""
    setup = dataclasses.replace(level_setup, source="enter", position="file")
    with begin(survey, setup) as journal:
        keep_line(journal, TypedLine(100.0, 1, 0.5, "+1"))
    return setup, journal.path


@pytest.mark.parametrize(
    "changes", [{}, {"created_utc": "2025-11-25T09:00:00Z"}, {"state": {}}, {"number": 7}]
)
def test_entry_is_gone_on_with_by_one_that_asks_the_same(survey, entered, changes):
    setup, path = entered
    assert resumable(survey, dataclasses.replace(setup, **changes)) == path


@pytest.mark.parametrize(
    "changes",
    [
        {"turned": True},
        {"direction": "reverse"},
        {"face": "rear-flat"},
        {"instrument": "vial"},
        {"unit": "thou"},
    ],
)
def test_entry_is_not_gone_on_with_by_one_whose_readings_mean_something_else(survey, entered, changes):
    setup, _ = entered
    assert resumable(survey, dataclasses.replace(setup, **changes)) is None
