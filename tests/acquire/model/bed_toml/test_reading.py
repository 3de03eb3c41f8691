"""bed.toml is checked whole: every mistake in one go, and nothing but a BedError ever comes out."""

import re
import tracemalloc
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from acquire.model.bed_toml.reading import parse_bed, read_bed
from acquire.model.errors import BedError

BED = """
[bed]
name = "invented lathe bed"
origin = "headstock end"
length_mm = 1600
station_pitch_mm = 50
display = "metric"
centre_height_mm = 170
carriage_length_mm = 300
carriage_bears = "ends"
depth_mm = 300
[faces.front-vee]
normal = "up"
shape = "vee"
form = "ridge"
vee_angle_deg = 90
across_mm = 0
carriage = "front"
unworn_mm = [[0, 80], [1450, 1600]]
[faces.rear-flat]
normal = "up"
across_mm = 300
carriage = "rear"
[instruments.long-level]
quantity = "slope"
unit = "um/m"
per_division = 20
base_mm = 200
gravity = true
resolution = 0.5
standard_uncertainty = 1.0
seating_um = 0.5
scale_uncertainty = 0.002
footprint = "feet"
sign = 1
[instruments.long-level.port]
url = "/dev/serial/by-id/invented"
baud = 9600
[instruments.long-level.wire]
kind = "lines"
pattern = '(?P<value>[-+]?\\d+(?:\\.\\d+)?)'
[instruments.indicator]
quantity = "offset"
unit = "thou"
standard_uncertainty = 0.1
carrier_feet_mm = 90
overhang_across_mm = 120
[instruments.scale]
quantity = "position"
unit = "mm"
offset_mm = 12.5
[straightedges.two-foot]
length_mm = 610
supports_mm = [129, 481]
material = "steel"
[wires.steel]
mass_g_per_m = 0.5
tension_n = 50
span_mm = 1800
[state]
stands_on = "blocks"
clamped = false
"""


def changed(old, new):
    assert old in BED
    return BED.replace(old, new)


def mistakes_in(text):
    with pytest.raises(BedError) as refusal:
        parse_bed(text)
    assert "\n" not in str(refusal.value)
    return str(refusal.value)


def test_whole_description_is_read():
    bed = parse_bed(BED)
    assert bed.station_mm[:3] == (0, 50, 100) and bed.station_mm[-1] == 1600
    assert bed.carriage_ways() == ("front-vee", "rear-flat") and bed.gauge_mm("front-vee", "rear-flat") == 300
    assert bed.faces["front-vee"].flank_angles_deg == (45, 45)
    level = bed.instruments["long-level"]
    assert level.uncertainty == 20 and level.to_contract(2) == 40 and level.speaks
    assert bed.instruments["indicator"].uncertainty == pytest.approx(2.54)
    assert bed.text == BED


FACES = BED[BED.index("[faces.front-vee]") : BED.index("[instruments.long")]
MISTAKES = {
    "no name": ('name = "invented lathe bed"', "", "[bed] name: found nothing"),
    "length of none": ("length_mm = 1600", "length_mm = -5", "[bed] length_mm: found -5"),
    "length as text": ("length_mm = 1600", 'length_mm = "1600"', "[bed] length_mm: found '1600'"),
    "pitch and list": ("station_pitch_mm = 50", "station_pitch_mm = 50\nstations_mm = [0]", "one of the two"),
    "neither": ("station_pitch_mm = 50", "", "station_pitch_mm or stations_mm"),
    "falling stations": ("station_pitch_mm = 50", "stations_mm = [0, 50, 40]", "rising"),
    "stations beyond": ("station_pitch_mm = 50", "stations_mm = [0, 1700]", "within 0 to length_mm (1600)"),
    "million stations": ("station_pitch_mm = 50", "station_pitch_mm = 0.001", "2 to 10000 stations"),
    "unknown display": ('display = "metric"', 'display = "imperial"', "metric | inch"),
    "unknown key": ("depth_mm = 300", "dept_mm = 300", "dept_mm: found 300, needed no such key"),
    "unknown table": ("[state]", "[stat]", "[stat]: found"),
    "unknown normal": ('normal = "up"\nacross_mm = 300', 'normal = "left"', "up | down | front | rear"),
    "vee without angle": ("vee_angle_deg = 90", "", "vee_angle_deg or flank_angles_deg"),
    "vee without form": ('form = "ridge"', "", "ridge | groove"),
    "form of a flat": ('shape = "vee"', "", "only with shape"),
    "two front ways": ('carriage = "rear"', 'carriage = "front"', "one face at the front"),
    "unworn beyond the bed": ("[1450, 1600]", "[1450, 1700]", "stretches within 0 to 1600"),
    "unworn backwards": ("[0, 80]", "[80, 0]", "[from, to]"),
    "name with a plus": ("[faces.rear-flat]", '[faces."rear+flat"]', "plain name"),
    "a face called line": ("[faces.rear-flat]", "[faces.line]", "plain name"),
    "unit of another quantity": ('unit = "um/m"', 'unit = "thou"', "for slope"),
    "no base": ("base_mm = 200", "", "[instruments.long-level] base_mm: found nothing"),
    "no uncertainty": ("standard_uncertainty = 1.0", "", "standard_uncertainty: found nothing"),
    "not a number": ("standard_uncertainty = 1.0", "standard_uncertainty = nan", "standard_uncertainty"),
    "infinite": ("base_mm = 200", "base_mm = inf", "base_mm: found inf"),
    "longer than any float": ("base_mm = 200", "base_mm = 1" + "0" * 400, "base_mm: found 1000"),
    "longer than can be shown": ("base_mm = 200", "base_mm = 0x" + "f" * 5000, "thousands of digits"),
    "true for a number": ("base_mm = 200", "base_mm = true", "base_mm: found True"),
    "sign of two": ("sign = 1", "sign = 2", "1 | -1"),
    "base of an indicator": ("carrier_feet_mm = 90", "base_mm = 90", "only for slope"),
    "arms of a level": ("seating_um = 0.5", "arm_height_mm = 5", "only for offset"),
    "offset of a level": ("seating_um = 0.5", "offset_mm = 5", "only for position"),
    "port without wire": ('[instruments.long-level.wire]\nkind = "lines"', "[unused]", "long-level.wire"),
    "unknown wire": ('kind = "lines"', 'kind = "smoke"', "lines | fixed | modbus | counter"),
    "pattern without value": ("(?P<value>", "(", "pattern"),
    "parity of none": ("baud = 9600", 'baud = 9600\nparity = "X"', "N | E | O | M | S"),
    "straightedge without length": ("length_mm = 610", "", "[straightedges.two-foot] length_mm"),
    "wire without tension": ("tension_n = 50", "", "[wires.steel] tension_n"),
    "state as text": ("clamped = false", 'clamped = "no"', "true | false"),
    "no faces": (FACES, "", "one [faces.NAME]"),
    "no TOML": ("[bed]", "[bed", "no valid TOML"),
}  # fmt: skip


@pytest.mark.parametrize(("old", "new", "words"), MISTAKES.values(), ids=MISTAKES)
def test_each_mistake_is_told_with_table_key_and_what_is_needed(old, new, words):
    assert words in mistakes_in(changed(old, new))


def test_warmth_of_a_straightedge_needs_its_depth():
    """What a degree bends hangs on it."""
    warm = changed("length_mm = 610\n", "length_mm = 610\nwarmth_uncertainty_k = 0.2\n")
    said = mistakes_in(warm)
    assert (
        "[straightedges.two-foot] depth_mm: found nothing, needed a depth, with warmth_uncertainty_k" in said
    )
    deep = parse_bed(warm.replace("length_mm = 610\n", "length_mm = 610\ndepth_mm = 60\n"))
    assert deep.straightedges["two-foot"].warmth_uncertainty_k == 0.2


def test_all_mistakes_are_told_in_one_go():
    text = BED.replace("length_mm = 1600", "length_mm = 0").replace('normal = "up"', 'normal = "upwards"')
    text = text.replace("base_mm = 200", "base = 200").replace("tension_n = 50", "tension_n = -1")
    words = mistakes_in(text)
    for table in ("[bed] length_mm", "[faces.front-vee] normal", "[faces.rear-flat] normal", "[wires.steel]"):
        assert table in words
    assert "[instruments.long-level] base:" in words and "or a number as base_mm" in words
    assert re.search(r"\b[5-9] mistakes", words)


def test_missing_file_and_bytes_of_no_text_are_refused(tmp_path):
    with pytest.raises(BedError, match="waylog start"):
        read_bed(tmp_path / "bed.toml")
    (tmp_path / "bed.toml").write_bytes(b'[bed]\nname = "\xff"\n')
    with pytest.raises(BedError, match="UTF-8"):
        read_bed(tmp_path / "bed.toml")
    with pytest.raises(BedError):
        read_bed(tmp_path)


def test_byte_order_mark_of_an_editor_is_no_mistake(tmp_path: Path):
    (tmp_path / "bed.toml").write_text(BED, encoding="utf-8-sig")
    assert read_bed(tmp_path / "bed.toml").name == "invented lathe bed"


LINES = [line for line in BED.splitlines() if line]
VALUES = """
inf nan -1e308 []
[[0,1],[2]] {} {a=1} true "" '(' 1979-05-27 [0,'x'] [nan,1] "up" '\\u0000' 0x7fffffffffffffffff
"""
values = st.one_of(
    st.integers(-3, 3).map(str), st.sampled_from([*VALUES.split(), "9" * 400, "0x" + "f" * 5000])
)
keys = st.sampled_from(
    [line.split(" = ")[0] for line in LINES if " = " in line] + ["range", "lag_s", "scale", "ask"]
)


@st.composite
def spoiled_beds(draw):
    """The bed with a few lines taken out, doubled, moved or given another value."""
    lines = list(LINES)
    for _ in range(draw(st.integers(1, 4))):
        place = draw(st.integers(0, len(lines) - 1))
        what = draw(st.sampled_from(["out", "double", "value", "header", "extra"]))
        if what == "out":
            del lines[place]
        elif what == "double":
            lines.insert(place, draw(st.sampled_from(LINES)))
        elif what == "value" and " = " in lines[place]:
            lines[place] = f"{lines[place].split(' = ')[0]} = {draw(values)}"
        elif what == "header":
            lines.insert(
                place,
                f"[{draw(st.sampled_from(['bed', 'faces', 'faces.x', 'instruments.y.port', 'wires']))}]",
            )
        else:
            lines.insert(place, f"{draw(keys)} = {draw(values)}")
    return "\n".join(lines)


@pytest.mark.statistics
@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.one_of(spoiled_beds(), st.text(max_size=60)))
def test_any_text_is_a_bed_or_a_bed_error(text):
    try:
        bed = parse_bed(text)
    except BedError as refusal:
        assert "\n" not in str(refusal)
        return
    assert bed.faces and len(bed.station_mm) >= 2


@pytest.mark.parametrize(
    "url",
    [
        "/dev/serial/by-id/invented",
        "/tmp/cable one",
        "COM3",
        r"\\.\COM12",
        "usb:0403:6001",
        "USB:0403:6001:A 7",
        "socket://shop.invented:7000",
        "socket://[::1]:7000",
        "rfc2217://192.0.2.7:2217",
        "loop://",
    ],
)
def test_port_may_be_a_device_an_identity_or_a_network_port(url):
    bed = parse_bed(BED.replace("/dev/serial/by-id/invented", url.replace("\\", "\\\\")))
    assert bed.instruments["long-level"].port.url == url


@pytest.mark.parametrize(
    "url",
    [
        "spy:///dev/ttyUSB0?file=/home/somebody/precious",
        "SPY:///dev/ttyUSB0?file=precious",
        "alt:///dev/ttyUSB0?class=VTIMESerial",
        "hwgrep://.*",
        "cp2110://",
        "loop://?logging=debug",
        "/dev/ttyUSB0?file=precious",
        "socket://shop:7000?logging=debug",
        "socket://shop:70000",
        "socket://shop",
        "rfc2217://shop:7000?nonsense",
        "usb:nothing",
        "ttyUSB0",
        "../ttyUSB0",
        "",
        "/dev/tty\u202eUSB0",
    ],
)
def test_port_that_could_write_a_file_or_load_a_module_is_refused(url):
    with pytest.raises(BedError, match=r"\[instruments.long-level.port\] url: found .* needed a port"):
        parse_bed(BED.replace("/dev/serial/by-id/invented", url))


@pytest.mark.parametrize(
    "line",
    [
        ".".join(["a"] * 20_000) + " = 1",
        "[" + " . ".join(["a"] * 9_000) + "]",
        "x = {" + ".".join(['"a"', "'b'"] * 5_000) + " = 1}",
    ],
)
def test_key_of_thousands_of_parts_is_refused_at_once_and_in_little_memory(line):
    """40 kB took 25 s and 1.5 GB: counted in bytes asked for, which a slow machine does not change."""
    tracemalloc.start()
    try:
        with pytest.raises(BedError, match="more than 32 parts"):
            parse_bed(BED + line + "\n")
        assert tracemalloc.get_traced_memory()[1] < 3_000_000
    finally:
        tracemalloc.stop()


def test_texts_and_numbers_with_dots_are_no_keys():
    note = "one. two.three " * 20 + " 1.2.3.4.5.6.7.8.9"
    parse_bed(f"straightedges.a.length_mm = 500\n{BED}# {note}\n")


FEET = """
[bed]
name = "invented"
length_mm = 1000
station_pitch_mm = 100
[faces.way]
normal = "up"
[faces.strip]
normal = "up"
runs = false
[feet.front-head]
station_mm = 100
across_mm = -20
um_per_turn = 2000
hand_step_um = 28
bolted = true
[feet.rear-head]
station_mm = 100
across_mm = 300
"""


def test_feet_and_faces_that_nothing_runs_on_are_read():
    bed = parse_bed(FEET)
    assert bed.feet["front-head"].um_per_turn == 2000 and bed.feet["front-head"].bolted is True
    assert bed.feet["rear-head"].hand_step_um is None
    assert bed.faces["way"].runs and not bed.faces["strip"].runs


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("across_mm = 300", "across_mm = -20", "front-head stands there"),
        ("station_mm = 100\nacross_mm = 300", "station_mm = 3000\nacross_mm = 300", "under the bed"),
        ("um_per_turn = 2000", "um_per_turn = 0", "the lift of one turn"),
        ("across_mm = 300", "across = 300", "or a number as across_mm"),
        ("station_mm = 100\nacross_mm = 300", "across_mm = 300", "its station in mm"),
        ("runs = false", 'runs = false\ncarriage = "front"', "the carriage runs on this face"),
        ("runs = false", 'runs = "no"', "true | false"),
        ("bolted = true", "bolted = 1", "true | false"),
    ],
)
def test_nonsense_about_feet_is_refused(old, new, said):
    with pytest.raises(BedError, match=re.escape(said)):
        parse_bed(FEET.replace(old, new))
