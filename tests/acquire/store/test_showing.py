"""`show` lists what there is: for people as a table, for programs as JSON."""

import dataclasses
import json

import pytest

from acquire.cli import main
from acquire.model.traverse import Setup
from acquire.store import file_name, write_traverse
from acquire.store.journal import begin


@pytest.fixture
def shown(capsys):
    """Runs show on a path; gives what was printed, as JSON where asked."""

    def run(path, *options):
        assert main(["show", str(path), *options]) == 0
        said = capsys.readouterr().out
        return json.loads(said) if "--json" in options else said

    return run


@pytest.fixture
def two_kept(survey, level_traverse, invented_bed_toml):
    roll = Setup("cross-level", "roll", invented_bed_toml, number=12, front="front-vee", rear="rear-flat")
    for setup, complete in ((roll, False), (level_traverse.setup, True)):
        traverse = dataclasses.replace(level_traverse, setup=setup, complete=complete)
        write_traverse(survey / "traverses" / file_name(setup), traverse)
    return survey


def test_json_names_each_traverse_in_order_of_number(two_kept, shown):
    first, second = shown(two_kept, "--json")["traverses"]
    expected = {
        "number": 1,
        "face": "front-vee",
        "instrument": "level",
        "quantity": "slope",
        "direction": "forward",
        "readings": 3,
        "garbled": 1,
        "stations": 2,
        "complete": True,
    }
    assert {key: first[key] for key in expected} == expected
    assert "front" not in first
    assert (second["number"], second["face"], second["front"], second["rear"]) == (
        12,
        None,
        "front-vee",
        "rear-flat",
    )
    assert second["complete"] is False


def test_table_says_what_was_cut_short(two_kept, shown):
    lines = shown(two_kept).splitlines()
    assert "front-vee / rear-flat" in lines[-1] and lines[-1].endswith("cut short")
    assert lines[-2].split()[:4] == ["1", "front-vee", "level", "slope"]
    assert "invented bed of the tests" in lines[0]


def test_recording_under_way_is_mentioned_and_not_listed(two_kept, level_setup, shown):
    with begin(two_kept, level_setup) as writer:
        writer.chunk("level", 12.5, b"+1.0\r\n")
        assert len(shown(two_kept, "--json")["traverses"]) == 2
        said = shown(two_kept)
    assert (
        "013-front-vee-level.journal: under way or cut short (front-vee, level, 6 bytes up to 12.5 s)" in said
    )


def test_single_file_shows_streams_garbled_lines_and_events(two_kept, shown):
    path = two_kept / "traverses" / "001-front-vee-level.h5"
    said = shown(path)
    assert "3 readings in 2.0 s: 3 good; 1 garbled beside them; 22 bytes" in said
    assert "b'@@' is no reading" in said
    found = shown(path, "--json")
    assert found["streams"][0]["garbled"] == 1
    assert len(found["traverses"]) == 1


def test_empty_survey_says_what_to_do(survey, shown):
    assert "no traverse yet" in shown(survey)
    assert shown(survey, "--json")["traverses"] == []


@pytest.mark.parametrize("name", ["nothing.h5", "bed.toml", "nothing.journal"])
def test_file_that_is_none_of_ours_is_one_line_and_exit_code_1(survey, name, capsys):
    assert main(["show", str(survey / name)]) == 1
    said = capsys.readouterr().err
    assert len(said.splitlines()) == 1 and name in said


def test_kind_of_event_that_came_thousands_of_times_is_shown_five_times_and_counted(capsys):
    from acquire.commands.show import events_words

    events = [{"time_s": 0.5 * k, "kind": "asked", "text": "dial: dial"} for k in range(5000)]
    marks = [{"time_s": 10.0 * k, "kind": "mark", "text": f"station {k}"} for k in range(33)]
    lines = events_words(sorted([*events, *marks], key=lambda event: event["time_s"]))
    assert sum("mark" in line for line in lines) == 33
    assert sum("asked" in line for line in lines) == 6
    assert [line for line in lines if "4995 more, the last at 2499.50 s" in line]
