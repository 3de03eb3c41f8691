"""Finding out how an instrument speaks; the bit-level line is in receive/wire/test_scoring.py."""

import os
import threading
import tty

import click
import pytest

from acquire.bench.identify import identify, stable_name, with_stable_name
from acquire.bench.offered import bed_tables, known_move, meaning_of_move, trial_instrument
from acquire.cli import main
from acquire.model.bed import Port
from acquire.model.bed_toml.reading import parse_bed
from acquire.model.errors import PortError
from acquire.model.units import Reading
from acquire.receive.ports.naming import Found

pytestmark = pytest.mark.whole

BED = """[bed]
name = "invented"
length_mm = 400
station_pitch_mm = 100   # kept
[faces.way]
normal = "up"
"""


def with_parity(line, parity):
    """Seven-bit characters with their parity in the top bit, as a receiver set to 8N1 sees them."""
    odd = parity == "O"
    return bytes(byte | ((byte.bit_count() & 1) ^ odd) << 7 for byte in line)


def pretended(speed, lines, parity="N", request=b""):
    """Listening to an instrument that speaks at one speed, and gives noise at all others."""
    calls = []

    def listening(port, most_s, is_enough, asked):
        calls.append(port)
        if asked != request:
            return b"", 0
        if port.baud != speed:
            return b"\x00\xf8\x80" * 9, 20
        text = b"".join(lines)
        right = (port.bytesize, port.parity) == ((8, "N") if parity == "N" else (7, parity))
        return (text if right or parity == "N" else with_parity(text, parity)), 0

    return listening, calls


LINES = [b"2.5 mm\r\n"] + [b"%+08.3f mm\r\n" % (12.5 + number / 1000) for number in range(8)]


@pytest.mark.parametrize("parity", ["N", "E", "O"])
@pytest.mark.parametrize("speed", [4800, 115200])
def test_speed_parity_and_line_shape_are_found(speed, parity):
    listening, _ = pretended(speed, LINES, parity)
    found = identify("/dev/invented", listening=listening)
    assert (found.port.baud, found.port.parity) == (speed, parity)
    assert found.port.bytesize == (8 if parity == "N" else 7)
    assert found.shape.unit == "mm" and found.doubts == ()
    assert found.lines[0] == "+012.500 mm"


def test_search_ends_at_the_first_speed_that_is_certain():
    listening, calls = pretended(9600, LINES)
    identify("/dev/invented", listening=listening)
    assert len(calls) == 1


def test_silent_instrument_is_tried_with_each_request():
    listening, _ = pretended(2400, LINES, request=b"READ?\r\n")
    found = identify("/dev/invented", ["?", r"READ?\r\n"], listening=listening)
    assert found.ask == r"READ?\r\n" and found.port.baud == 2400


def test_silence_is_said_to_tell_nothing():
    with pytest.raises(PortError, match="Silence tells nothing about speed or wiring"):
        identify("/dev/invented", ["?"], listening=lambda *_: (b"", None))


def test_binary_frames_are_told_as_such_with_their_length():
    frames = b"".join(b"\xaa\x55" + bytes([number, number * 7 % 256, 0x81]) for number in range(40))
    found = identify("/dev/invented", listening=lambda *_: (frames, None))
    assert found.shape is None and any("binary frames, 5 bytes" in doubt for doubt in found.doubts)
    with pytest.raises(PortError, match="by hand"):
        trial_instrument(found)


def test_tables_offered_are_a_bed_toml_that_reads_the_same_lines():
    from acquire.receive.wire.kinds import decoder_for

    listening, _ = pretended(4800, LINES, "E", request=b"R\r")
    found = with_stable_name(identify("/dev/x", [r"R\r"], listening=listening), "usb:1234:5678:SN7")
    text = bed_tables("level", found, quantity="slope", unit="mm/m", base_mm=200, resolution=0.001)
    instrument = parse_bed(BED + text).instruments["level"]
    assert instrument.port == Port("usb:1234:5678:SN7", 4800, 7, "E", 1)
    decoder = decoder_for(instrument)
    assert decoder.request() == b"R\r"
    assert [reading.value for reading in decoder.feed(LINES[1] + LINES[2], 0.0)] == [12.5, 12.501]


def test_tables_offered_hold_a_line_as_it_came_and_no_regular_expression():
    listening, _ = pretended(9600, LINES)
    text = bed_tables("dial", identify("/dev/x", listening=listening), quantity="offset", unit="mm")
    assert "example = '+012.500 mm'" in text and "pattern" not in text


def test_lines_that_no_example_stands_for_keep_their_pattern():
    lines = [f"{value:.9g} mm\r\n".encode() for value in (1.5, 12.25, -3, 0.125, 7.5, 8, 9.5, 10.25)]
    listening, _ = pretended(9600, lines)
    found = identify("/dev/x", listening=listening)
    text = bed_tables("dial", found, quantity="offset", unit="mm")
    assert "(?P<value>" in text and "example" not in text


@pytest.mark.parametrize(
    ("before", "after", "move", "quantity", "sign", "unit", "per_division"),
    [
        ([0.0, 0.01], [0.5, 0.51], (0.5, "mm/m"), "slope", 1, "mm/m", None),
        ([0.0, 0.1], [-103.0, -103.2], (0.5, "mm/m"), "slope", -1, "arcsec", None),
        ([0.0, 0.0], [5.0, 5.1], (0.5, "mm/m"), "slope", 1, "um/m", 99.0),
        ([10.0], [10.0197], (0.5, "mm"), "offset", 1, "in", None),
        ([5.0], [105.2], (100, "mm"), "position", 1, "mm", None),
    ],
)
def test_known_move_gives_sign_and_unit(before, after, move, quantity, sign, unit, per_division):
    meaning = meaning_of_move(before, after, known_move(*move, quantity), quantity)
    assert (meaning.sign, meaning.unit, meaning.per_division) == (sign, unit, per_division)


def test_move_that_hardly_shows_proves_nothing():
    with pytest.raises(PortError, match="Move it farther"):
        meaning_of_move([0.0, 0.1, 0.2], [0.2, 0.1, 0.3], 100.0, "slope")


def test_name_for_bed_toml_outlives_a_replug():
    alike = [
        Found(
            f"/dev/ttyUSB{number}",
            1,
            2,
            None,
            f"1-{number}",
            links=(f"/dev/serial/by-id/same-{number}", f"/dev/serial/by-path/socket-{number}"),
        )
        for number in range(2)
    ]
    assert stable_name(alike[1], alike) == "/dev/serial/by-path/socket-1"
    assert stable_name(Found("/dev/ttyACM0", 1, 2, "SN7"), alike) == "usb:0001:0002:SN7"


@pytest.fixture
def speaking_port():
    """A pseudo-terminal on which an indicator speaks fifty times a second."""
    master, slave = os.openpty()
    tty.setraw(slave)
    stop = threading.Event()

    def speak():
        number = 0
        while not stop.wait(0.02):
            number += 1
            os.write(master, b"%+08.3f mm\r\n" % (1.25 + number % 5 / 1000))

    thread = threading.Thread(target=speak)
    thread.start()
    yield os.ttyname(slave)
    stop.set()
    thread.join()
    os.close(master)
    os.close(slave)


def test_command_identifies_a_real_port_and_writes_it_into_the_survey(speaking_port, tmp_path, capsys):
    (tmp_path / "bed.toml").write_text(BED)
    assert main(["identify", speaking_port, "--into", str(tmp_path), "--name", "dial"]) == 0
    said = capsys.readouterr().out
    assert "It speaks at 9600 baud 8N1." in said and "0 garbled" in said
    text = (tmp_path / "bed.toml").read_text()
    instrument = parse_bed(text).instruments["dial"]
    assert (instrument.quantity, instrument.unit, instrument.resolution) == ("offset", "mm", 0.001)
    assert "# kept" in text
    assert main(["identify", "no-such-port", "--into", str(tmp_path), "--name", "dial"]) == 1
    assert "is there already" in capsys.readouterr().err  # before anything is listened to or asked


def test_person_is_asked_how_far_apart_the_feet_of_a_level_are(speaking_port, tmp_path, monkeypatch):
    (tmp_path / "bed.toml").write_text(BED.replace("[faces", 'display = "inch"\n[faces'))
    asked = []

    def answer(question, **_):
        asked.append(question)
        return Reading(6.0, None) if "feet" in question else ""

    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr(click, "prompt", answer)
    words = ["identify", speaking_port, "--into", str(tmp_path), "--name", "level", "--quantity", "slope"]
    assert main([*words, "--unit", "mm/m"]) == 0
    assert asked[0] == "How far apart are its feet? (in)"
    assert parse_bed((tmp_path / "bed.toml").read_text()).instruments["level"].base_mm == 152.4


@pytest.mark.parametrize(("display", "base_mm"), [("inch", 203.2), ("metric", 8.0)])
def test_bare_number_for_a_base_is_in_the_unit_of_the_survey(speaking_port, tmp_path, display, base_mm):
    (tmp_path / "bed.toml").write_text(BED.replace("[faces", f'display = "{display}"\n[faces'))
    listened = ["identify", speaking_port, "--into", str(tmp_path), "--name", "level", "--base", "8"]
    assert main([*listened, "--quantity", "slope", "--unit", "mm/m"]) == 0
    described = parse_bed((tmp_path / "bed.toml").read_text()).instruments["level"]
    assert described.base_mm == pytest.approx(base_mm)


def test_command_says_what_silence_means_and_ends_with_1(capsys):
    master, slave = os.openpty()
    assert main(["identify", os.ttyname(slave), "--seconds", "0.02"]) == 1
    assert "Silence tells nothing" in capsys.readouterr().err
    os.close(master)
    os.close(slave)


def test_ports_command_names_what_the_survey_expects_and_does_not_find(tmp_path, capsys):
    text = '[instruments.{0}]\nquantity = "offset"\nunit = "mm"\nstandard_uncertainty = 0.001\n'
    port = "[instruments.{0}.port]\nurl = '{1}'\n"
    port += "[instruments.{0}.wire]\nkind = 'lines'\npattern = '(?P<value>.*)'\n"
    bed = BED + text.format("dial") + port.format("dial", "usb:FFFF:FFFE:none")
    bed += text.format("net") + port.format("net", "socket://shop:7000") + text.format("vial")
    (tmp_path / "bed.toml").write_text(bed)
    assert main(["ports", str(tmp_path)]) == 0
    said = capsys.readouterr().out
    assert "dial: usb:FFFF:FFFE:none: is not plugged in" in said
    assert "net: socket://shop:7000" in said and "vial: no port" in said


def test_ports_command_tells_where_an_instrument_is_plugged_in(tmp_path, capsys, monkeypatch):
    adapter = Found("/dev/ttyUSB3", 0xFFFF, 0xFFFE, "SN7")
    monkeypatch.setattr("acquire.receive.ports.naming.found_ports", lambda: [adapter])
    dial = '[instruments.dial]\nquantity = "offset"\nunit = "mm"\nstandard_uncertainty = 0.001\n'
    dial += "[instruments.dial.port]\nurl = 'usb:FFFF:FFFE:SN7'\n"
    dial += "[instruments.dial.wire]\nkind = 'lines'\npattern = '(?P<value>.*)'\n"
    (tmp_path / "bed.toml").write_text(BED + dial)
    assert main(["ports", str(tmp_path)]) == 0
    assert "dial: usb:FFFF:FFFE:SN7 is /dev/ttyUSB3" in capsys.readouterr().out
