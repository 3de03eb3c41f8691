"""bed.toml takes a text with its unit wherever a number under a key with a unit may stand."""

import pytest

from acquire.model.bed_toml.composing import INSTRUMENT_KINDS, PRESETS, NewBed, compose, preset_faces
from acquire.model.bed_toml.reading import parse_bed
from acquire.model.errors import BedError
from tests.invented import bed_toml, level

METRIC = """
[bed]
name = "invented"
length_mm = 1066.8
station_pitch_mm = 165.1
carriage_length_mm = 304.8
[faces.way]
normal = "up"
across_mm = 317.5
unworn_mm = [[0, 76.2], [990.6, 1066.8]]
[instruments.level]
quantity = "slope"
unit = "um/m"
base_mm = 203.2
standard_uncertainty = 1
seating_um = 0.508
[feet.one]
station_mm = 101.6
across_mm = 0
um_per_turn = 2116.666667
hand_step_um = 25.4
[straightedges.edge]
length_mm = 609.6
supports_mm = [127, 482.6]
[limits]
straightness_um = { way = 12.7 }
twist_um_per_m = 25
[state]
temperature_top_degC = 20
"""
INCH = """
[bed]
name = "invented"
length = "42 in"
station_pitch = "6 1/2 in"
carriage_length = "1 ft"
[faces.way]
normal = "up"
across = "12½″"
unworn = [["0 in", "3 in"], ["3' 3\\"", "42\\""]]
[instruments.level]
quantity = "slope"
unit = "um/m"
base = "8 in"
standard_uncertainty = 1
seating = "0.02 thou"
[feet.one]
station = "4 in"
across = "0 in"
lift_per_turn = "1/12 in"
hand_step = "1 thou"
[straightedges.edge]
length = "24 in"
supports = ["5 in", "19 in"]
[limits]
straightness = { way = "0.5 thou" }
twist = "0.3 thou/ft"
[state]
temperature_top = "68 °F"
"""


def described(text):
    bed = parse_bed(text)
    return {name: value for name, value in vars(bed).items() if name != "text"}


def test_texts_with_units_say_what_the_numbers_say():
    assert described(INCH) == described(METRIC)


@pytest.mark.parametrize(
    ("was", "becomes", "said"),
    [
        ('length = "42 in"', 'length = "42 in"\nlength_mm = 1066.8', "length or length_mm, one of the two"),
        ('length = "42 in"', 'length = "42"', "as text with its unit"),
        ('length = "42 in"', "length = 42", "as text with its unit"),
        ('length = "42 in"', 'length = "-42 in"', "length_mm"),
        ('base = "8 in"', 'base = "8 furlong"', "base: found '8 furlong'"),
        ('"3 in"]', "3]", "unworn"),
        ('"0.3 thou/ft"', '"0.3 thou"', "twist"),
        ('"68 °F"', '"68"', "temperature_top"),
        ('hand_step = "1 thou"', 'hand_step = "1 thou"\nhand_step_um = 25', "one of the two"),
        ('name = "invented"', 'name = "invented"\nlenght = "42 in"', "no such key"),
    ],
)
def test_text_that_cannot_be_taken_is_refused_once_and_in_one_line(was, becomes, said):
    assert was in INCH
    with pytest.raises(BedError) as refused:
        parse_bed(INCH.replace(was, becomes, 1))
    assert said in str(refused.value) and "\n" not in str(refused.value)
    assert "found nothing" not in str(refused.value)


def new_bed(preset, display, **more):
    faces = preset_faces(preset, 254.0)
    return NewBed("invented", 1524.0, 101.6, faces, list(INSTRUMENT_KINDS), 203.2, display, **more)


@pytest.mark.parametrize("display", ["metric", "inch"])
@pytest.mark.parametrize("preset", list(PRESETS))
def test_first_bed_toml_is_in_its_own_units_and_reads_back(display, preset):
    state = {"temperature_top_degC": 20.0, "clamped": True, "stands_on": 'a "block" of $5'}
    text = compose(new_bed(preset, display, state=state))
    bed = parse_bed(text)
    assert (bed.length_mm, bed.station_mm[1]) == (1524.0, 101.6) and bed.state == state
    assert bed.instruments["level"].base_mm == 203.2
    other = ('in"', "thou") if display == "metric" else ("_mm", "_um", "degC")
    keys = [line.split("#")[0] for line in text.splitlines() if not line.startswith("#")]
    assert not any(word in line for line in keys for word in other)


def test_offered_lines_of_a_first_bed_toml_can_be_taken_as_they_stand():
    offered = ("carriage_length", "depth", "seating", "carrier_feet", "overhang", "unworn", "centre_height")
    marked = tuple(f"# {each}" for each in offered)
    lines = compose(new_bed("vee-and-flat", "inch")).splitlines()
    taken = [line[2:] if line.startswith(marked) and " = " in line[:24] else line for line in lines]
    bed = parse_bed("\n".join(taken))
    assert bed.carriage_length_mm == pytest.approx(304.8) and bed.depth_mm == pytest.approx(304.8)
    assert bed.instruments["level"].seating_um == pytest.approx(0.508)


@pytest.mark.parametrize(
    ("written", "unit", "um_per_m"),
    [
        ("0.0005 in/10 in", "in/ft", 50.0),  # 0.0005 / 10
        ("0.0005 in / 10 in", "um/m", 50.0),
        ("0.5 thou/10 in", "thou/ft", 50.0),
        ("0,02 mm/m", "mm/m", 20.0),
        ("0.02 mm/1000 mm", "in/ft", 20.0),
        ("4 arcsec", "um/m", 19.3925),  # 4 π/648000 rad
    ],
)
def test_division_of_a_vial_may_be_given_as_it_is_written_on_the_level(written, unit, um_per_m):
    vial = level(per_division=written, unit=unit)
    found = parse_bed(bed_toml(instruments={"vial": vial})).instruments["vial"]
    assert found.contract_per_reading == pytest.approx(um_per_m, rel=1e-5)


@pytest.mark.parametrize("written", ["0.0005 in", "10", "0 in/10 in", "-1 thou/10 in", "1 in/0 in", ""])
def test_text_that_is_no_division_of_a_level_is_refused_with_an_example(written):
    with pytest.raises(BedError, match=r'per_division: found .* such as "0.0005 in/10 in", above 0'):
        parse_bed(bed_toml(instruments={"vial": level(per_division=written, unit="in/ft")}))
