"""Further answers on the page: there where the survey holds what they need, and only there."""

import json
from datetime import UTC, datetime

import numpy as np
import pytest

from acquire.cli import main
from analysis.answers.surveys import load
from analysis.draw.figures.side_view import Strip, side_view_figure
from analysis.report.contents import gather
from analysis.report.page import render
from analysis.report.tables import StationTable
from analysis.words.cautions import JACKS, LIFTING, SOLVENTS

BED = """
[bed]
name = "invented bed"
length_mm = 1000
station_pitch_mm = 100
carriage_length_mm = 300
centre_height_mm = 150
[faces.front-flat]
normal = "up"
across_mm = 0
carriage = "front"
unworn_mm = [[0, 250], [750, 1000]]
[faces.rear-flat]
normal = "up"
across_mm = 300
carriage = "rear"
unworn_mm = [[0, 250], [750, 1000]]
[instruments.level]
quantity = "slope"
unit = "um/m"
base_mm = 100
standard_uncertainty = 2.0
[instruments.cross]
quantity = "roll"
unit = "um/m"
standard_uncertainty = 2.0
"""
MORE = """
[straightedges.short]
length_mm = 500
depth_mm = 60
material = "cast iron"
[limits]
straightness_um = { front-flat = 200 }
[feet.front-head]
station_mm = 0
across_mm = 0
um_per_turn = 1000
hand_step_um = 3
[feet.rear-head]
station_mm = 0
across_mm = 300
um_per_turn = 1000
hand_step_um = 3
[feet.front-tail]
station_mm = 1000
across_mm = 0
um_per_turn = 1000
hand_step_um = 3
[feet.rear-tail]
station_mm = 1000
across_mm = 300
um_per_turn = 1000
hand_step_um = 3
"""
MADE = datetime(2030, 1, 2, 3, 4, tzinfo=UTC)
STATIONS = np.arange(0, 1001, 100.0)


def measured(folder, bed):
    """Straight ways, the rear one twisted up by 200 µm/m over the length; read by two levels."""
    noise = np.random.default_rng(5)
    (folder / "bed.toml").write_text(bed, encoding="utf-8")
    middles, roll = STATIONS[:-1] + 50, 0.2 * STATIONS
    runs = [
        (["--face", "front-flat", "-i", "level"], middles, noise.normal(0, 1, 10)),
        (["--face", "rear-flat", "-i", "level"], middles, 60.0 + noise.normal(0, 1, 10)),
        (["--across", "front-flat", "rear-flat", "-i", "cross"], STATIONS, roll + noise.normal(0, 1, 11)),
    ]
    for number, (options, station_mm, reading) in enumerate(runs):
        table = folder / f"run-{number}.csv"
        rows = "".join(f"{x:g},{y:.3f}\n" for x, y in zip(station_mm, reading, strict=True))
        table.write_text("station_mm,reading\n" + rows, encoding="utf-8")
        assert main(["-q", "import", str(folder), str(table), *options]) == 0
    return folder


@pytest.fixture(scope="module")
def survey(tmp_path_factory):
    folder = measured(tmp_path_factory.mktemp("whole"), BED + MORE)
    marks = ["0-150 bare", "150-350 full", "350-500 bare"]
    assert main(["marks", str(folder), "front-flat", "--edge", "short", *marks]) == 0
    return folder


@pytest.fixture(scope="module")
def contents(survey):
    return gather(load(survey), inch=False)


def part(contents, title):
    return next(each for each in contents.parts if each.title == title)


def test_feet_to_turn_stand_on_the_sheet_and_in_their_part(survey, contents, capsys):
    capsys.readouterr()
    assert main(["feet", str(survey), "--json"]) == 0
    moves = json.loads(capsys.readouterr().out)["moves"]
    assert moves
    feet = part(contents, "Feet")
    table = next(block for block in feet.blocks if isinstance(block, StationTable))
    assert [row[0] for block in table.blocks for row in block] == [each["foot"] for each in moves]
    assert feet.cautions == (JACKS.line,)
    assert feet.picture is not None
    first = contents.wall.things[0]
    assert first.deed == "Turn the feet" and all(each["foot"] in first.words for each in moves)
    for each in moves:
        assert ("up" if each["lift_um"] > 0 else "down") in contents.wall.picture


def test_nothing_is_scraped_before_the_feet_are_turned(contents):
    assert "turn the feet first" in contents.wall.not_yet
    assert all(plan.not_yet for plan in contents.plans.values())


def test_marks_that_contradict_the_map_are_told_with_the_weight_of_the_edge(contents):
    """Bare ends under an edge whose middle marks full: a straight face does not do that."""
    blue = part(contents, "Blue seen on front-flat")
    assert any("One of the two is wrong there" in str(block) for block in blue.blocks)
    assert blue.cautions == (LIFTING.line, SOLVENTS.line)


def test_limits_and_the_part_it_turns_have_their_place(contents):
    assert str(part(contents, "Your own limits").blocks[0]).startswith("Of 1 limits of your own: 1 meets")
    assert "A part of Ø50 mm" in str(part(contents, "The part it turns").blocks[0])


def test_faces_are_ranked_beside_which_to_trust(contents):
    table = next(block for block in contents.standing if isinstance(block, StationTable))
    assert {row[1] for block in table.blocks for row in block} == {"front-flat", "rear-flat"}


def test_contents_name_every_part(contents):
    html = render(contents, MADE)
    for each in contents.parts:
        assert f'<a href="#{each.key}">{each.title}</a>' in html and f'id="{each.key}"' in html


def test_survey_that_holds_no_more_gets_no_further_part(tmp_path):
    """Neither feet nor limits, nor which ways the carriage rides."""
    lines = [line for line in BED.splitlines() if not line.startswith(("centre_height", "carriage"))]
    contents = gather(load(measured(tmp_path, "\n".join(lines) + "\n")), inch=False)
    assert contents.parts == () and contents.wall.picture is not None
    assert not contents.wall.feet


def test_many_faces_go_on_to_further_sheets(survey):
    from analysis.answers.plan import plan_faces

    bed_map = load(survey).map()
    plan = plan_faces(bed_map, ["front-flat"]).plans["front-flat"]
    figure = side_view_figure([Strip(plan, True)] * 9, bed_map.bed)
    assert (
        figure.get_figheight() < 9.3
    )  # inches between the margins of Letter: 11 less twice 0.35, and a head
    assert len(figure.axes) == 1
