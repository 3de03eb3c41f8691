"""An entry that was cut short is gone on with by one that asks the same, and by no other."""

import dataclasses

import pytest

from acquire.model.recorded import Chunk
from acquire.record.keeping import keep_line, lines_of, resumable
from acquire.reduce.written.typed import TypedLine
from acquire.store.journal import begin, records


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


def test_of_two_entries_cut_short_the_latest_is_gone_on_with(survey, entered):
    setup, path = entered
    with begin(survey, dataclasses.replace(setup, number=setup.number + 1)) as journal:
        keep_line(journal, TypedLine(200.0, 1, 0.7, "+2"))
    assert resumable(survey, setup) == journal.path != path


def test_line_typed_keeps_when_it_was_typed(survey, entered):
    """By the journal's own times as well, which the drift of typed readings is counted by."""
    _, path = entered
    assert [each.time_s for each in lines_of(path)] == [0.5]
    assert [record.time_s for record in records(path) if isinstance(record, Chunk)] == [0.5]
