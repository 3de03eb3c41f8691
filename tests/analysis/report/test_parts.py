"""Further answers on the page: there where the survey holds what they need, and only there."""

import json
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from acquire.cli import main
from analysis.answers.surveys import Survey, load
from analysis.draw.figures.side_view import Strip, side_view_figure
from analysis.report.contents import gather
from analysis.report.page import render
from analysis.report.parts import further_parts
from analysis.report.tables import StationTable
from analysis.words.cautions import JACKS, LIFTING, SOLVENTS
from tests.invented import bed_toml, cross_level, flat, imported, level

BED = bed_toml(
    bed={"carriage_length_mm": 300, "centre_height_mm": 150},
    faces={
        "front-flat": flat(0, "front", unworn_mm=[[0, 250], [750, 1000]]),
        "rear-flat": flat(300, "rear", unworn_mm=[[0, 250], [750, 1000]]),
    },
    instruments={"level": level(2.0, base_mm=100), "cross": cross_level(2.0)},
)
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
    for options, station_mm, reading in runs:
        imported(folder, station_mm, np.round(reading, 3), *options)
    return folder


@pytest.fixture(scope="module")
def survey(tmp_path_factory):
    folder = measured(tmp_path_factory.mktemp("whole"), BED + MORE)
    marks = ["0-150 bare", "150-350 full", "350-500 bare"]
    assert main(["marks", str(folder), "front-flat", "--edge", "short", *marks]) == 0
    return folder


@pytest.fixture(scope="module")
def contents(survey):
    """What stands in the report, but for its pictures, which take longer than all the rest."""
    with pytest.MonkeyPatch.context() as patch:
        for file in ("contents", "parts"):
            patch.setattr(f"analysis.report.{file}.inline_svg", lambda *_: "a picture")
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
    assert str(part(contents, "Your own limits").blocks[0]).startswith("Your own limits: 1 meets")
    assert "A part of Ø50 mm" in str(part(contents, "The part it turns").blocks[0])


def test_faces_are_ranked_beside_which_to_trust(contents):
    table = next(block for block in contents.standing if isinstance(block, StationTable))
    assert {row[1] for block in table.blocks for row in block} == {"front-flat", "rear-flat"}


def test_contents_name_every_part(contents):
    html = render(contents, MADE)
    for each in contents.parts:
        assert f'<a href="#{each.key}">{each.title}</a>' in html and f'id="{each.key}"' in html


@pytest.mark.whole
def test_survey_that_holds_no_more_gets_no_further_part(tmp_path, monkeypatch):
    """Neither feet nor limits, nor which ways the carriage rides."""
    monkeypatch.setattr("analysis.report.contents.inline_svg", lambda *_: "a picture of a face")
    lines = [line for line in BED.splitlines() if not line.startswith(("centre_height", "carriage"))]
    contents = gather(load(measured(tmp_path, "\n".join(lines) + "\n")), inch=False)
    assert contents.parts == () and contents.wall.picture is not None
    assert not contents.wall.feet


@pytest.mark.whole
def test_many_faces_go_on_to_further_sheets(survey):
    from analysis.answers.plan import plan_faces

    bed_map = load(survey).map()
    plan = plan_faces(bed_map, ["front-flat"]).plans["front-flat"]
    figure = side_view_figure([Strip(plan, True)] * 9, bed_map.bed)
    assert (
        figure.get_figheight() < 9.3
    )  # inches between the margins of Letter: 11 less twice 0.35, and a head
    assert len(figure.axes) == 1


DIP = -np.exp(-(((STATIONS - 500) / 150) ** 2)) * ((STATIONS > 250) & (STATIONS < 750))
OWN = "standard_uncertainty = 1.0\nseating_um = 0"
LEVEL = f'quantity = "slope"\nunit = "um/m"\nbase_mm = 100\n{OWN}'


@pytest.fixture(scope="module")
def parts_of(invented_bed, from_one):
    """The further parts of runs made in memory, by title; a run: instrument, stations, readings, setup."""
    make_traverse = from_one()

    def make(runs, **described):
        bed = invented_bed(**described)
        made = tuple(make_traverse(bed, *run[:3], **run[3]) for run in runs)
        survey = Survey(Path("invented"), bed, made)
        return {each.title: each for each in further_parts(survey, survey.map(), None, inch=False)}

    return make


def by_level(face, height, noise, stations=STATIONS):
    """A level stepped along a face there and back."""
    slope, middles = np.diff(height) / np.diff(stations) * 1000, (stations[:-1] + stations[1:]) / 2
    return [
        ("level", middles, slope + noise.normal(0, 1, slope.size), {"face": face, "direction": way})
        for way in ("forward", "reverse")
    ]


def test_faces_measured_across_have_their_taper_on_the_page(parts_of):
    """Invented: a bar that grows by 30 µm/m."""
    noise = np.random.default_rng(9)
    read = 0.03 * STATIONS + noise.normal(0, 1, STATIONS.size)
    taper = parts_of([("caliper", STATIONS, read, {"face": "front-flat", "other": "front-under"})])["Taper"]
    answer = str(taper.blocks[0])
    assert answer.startswith(
        "front-flat and front-under: what lies between is thicker towards the far end, by "
    )
    assert float(answer.split("by ")[1].split()[0]) == pytest.approx(30, abs=3)
    assert any(isinstance(block, StationTable) for block in taper.blocks)
    assert "thicker" not in taper.picture.split("thicker by")[0]  # the answer stands above it, once


@pytest.mark.parametrize("apron", ["", "apron_mm = -100\n"])
def test_saddle_has_its_part_where_bed_toml_says_where_the_apron_is(parts_of, apron):
    """Invented: 60 and 40 µm off over 300 mm, the apron 100 mm in front: 66.7 µm down."""
    noise = np.random.default_rng(9)
    unworn = "unworn_mm = [[0, 250], [750, 1000]]"
    faces = {
        "front-flat": f'normal = "up"\nacross_mm = 0\ncarriage = "front"\n{unworn}',
        "rear-flat": f'normal = "up"\nacross_mm = 300\ncarriage = "rear"\n{unworn}',
    }
    roll = (40 - 60) * DIP / 0.3 + noise.normal(0, 1, STATIONS.size)
    runs = [
        *by_level("front-flat", 60 * DIP, noise),
        *by_level("rear-flat", 40 * DIP, noise),
        ("cross", STATIONS, roll, {"front": "front-flat", "rear": "rear-flat"}),
    ]
    found = parts_of(runs, bed=apron, faces=faces)
    title = "The saddle, once the ways are planned"
    if not apron:
        assert title not in found
        return
    assert float(str(found[title].blocks[0]).split("comes down by ")[1].split()[0]) == pytest.approx(
        66.7, abs=3
    )
    assert "apron" in found[title].picture


def test_flanks_of_a_vee_that_was_read_sideways_have_their_part(parts_of):
    """Invented: the front flank alone is worn, 20 µm square to it, so that both contacts shift as much."""
    noise = np.random.default_rng(2)
    faces = {
        "vee": 'normal = "up"\nshape = "vee"\nform = "ridge"\nvee_angle_deg = 90\nacross_mm = 0\n'
        "unworn_mm = [[0, 200], [800, 1000]]",
        "wall": 'normal = "rear"\nacross_mm = -60',
    }
    moved = 20 / np.sqrt(2) * DIP
    runs = [
        *by_level("vee", moved, noise),
        ("dial", STATIONS, noise.normal(0, 1, 11), {"face": "wall", "reference": "line"}),
        ("dial", STATIONS, moved + noise.normal(0, 1, 11), {"face": "wall", "reference": "vee"}),
    ]
    flanks = parts_of(runs, faces=faces)["Flanks of vee"]
    table = next(block for block in flanks.blocks if isinstance(block, StationTable))
    rows = {row[0]: row for block in table.blocks for row in block}
    front, rear = (float(rows["500"][table.heads.index(head)].replace("−", "-")) for head in heads_of(table))
    assert front == pytest.approx(-20, abs=4)
    assert rear == pytest.approx(0, abs=4)


def heads_of(table):
    """The columns of the front and of the rear flank."""
    return [next(head for head in table.heads if side in head) for side in ("front", "rear")]


FINE = np.arange(0, 2001, 50.0)


@pytest.fixture(scope="module")
def planer(parts_of):
    """Invented truth: the second piece 60 µm high from 1025 mm on, an undeclared step of 30 µm at 525 mm,
    after which a step at a joint of that way is unsure by as much."""
    noise = np.random.default_rng(3)
    height = 60.0 * (FINE > 1025)
    runs = [
        *by_level("front-flat", height + 30.0 * (FINE > 525), noise, FINE),
        *by_level("rear-flat", height, noise, FINE),
    ]
    level = LEVEL.replace("base_mm = 100", "base_mm = 50")
    faces = {name: f'normal = "up"\nacross_mm = {at}' for name, at in (("front-flat", 0), ("rear-flat", 300))}
    return parts_of(
        runs,
        length_mm=2000,
        pitch_mm=50,
        bed="joints_mm = [1025]\n",
        instruments={"level": level},
        faces=faces,
    )


@pytest.mark.whole
def test_joint_has_its_part_with_its_step(planer):
    said = str(planer["Joints"].blocks[0])
    assert "1025 mm" in said
    assert any(word.replace(".", "").isdigit() and abs(float(word) - 60) < 2 for word in said.split())
    assert planer["Joints"].picture is not None


@pytest.mark.whole
def test_step_that_no_joint_explains_has_its_part(planer):
    said = " ".join(map(str, planer["Steps and ripples"].blocks))
    assert "500 to 550 mm" in said
    assert planer["Steps and ripples"].picture is not None


def test_smooth_faces_get_no_part_of_steps_and_ripples(contents):
    assert not any(each.key == "ripples" for each in contents.parts)
