"""Ports by identity."""

from types import SimpleNamespace

import pytest
from serial.tools import list_ports

from acquire.model.bed import Instrument, Port
from acquire.model.errors import PortError
from acquire.receive.ports import naming
from acquire.receive.ports.asking import plan_ports
from acquire.receive.ports.naming import Found, found_ports, resolve

TWO_ALIKE = [
    Found("/dev/ttyUSB0", 0x1234, 0x5678, None, "1-1.2"),
    Found("/dev/ttyUSB1", 0x1234, 0x5678, None, "1-1.3"),
    Found("/dev/ttyACM0", 0x2222, 0x0001, "SN7", "1-1.4"),
]


def test_usb_name_finds_its_port_whatever_its_number_is_today():
    assert resolve("usb:2222:0001:SN7", TWO_ALIKE) == "/dev/ttyACM0"
    assert resolve("usb:2222:1", TWO_ALIKE) == "/dev/ttyACM0"


def test_two_ports_that_answer_to_one_name_are_listed_and_none_is_guessed():
    with pytest.raises(PortError, match=r"2 ports answer .*ttyUSB0.*ttyUSB1.*by-path"):
        resolve("usb:1234:5678", TWO_ALIKE)


def test_missing_port_is_told_with_what_is_there():
    with pytest.raises(PortError, match=r"not plugged in.*ttyACM0 \(usb:2222:0001:SN7\)"):
        resolve("usb:2222:0001:SN8", TWO_ALIKE)


def test_missing_link_is_told_with_what_is_there(tmp_path):
    with pytest.raises(PortError, match="is not there"):
        resolve(str(tmp_path / "usb-gone"), TWO_ALIKE)


@pytest.mark.parametrize("name", ["usb:", "usb:12", "usb:zzzz:1", "usb:12345:1"])
def test_misspelt_usb_name_is_refused(name):
    with pytest.raises(PortError, match="no name of a port"):
        resolve(name, TWO_ALIKE)


def test_link_is_followed_to_the_device_of_the_moment(tmp_path):
    (tmp_path / "ttyX3").touch()
    (tmp_path / "usb-adapter").symlink_to(tmp_path / "ttyX3")
    assert resolve(str(tmp_path / "usb-adapter")) == str(tmp_path / "ttyX3")


def test_adapter_is_known_again_by_serial_number_or_else_by_its_socket():
    first, second, third = TWO_ALIKE
    assert first.is_same_as(Found("/dev/ttyUSB7", 0x1234, 0x5678, None, "1-1.2"))
    assert not first.is_same_as(second) and not first.is_same_as(third)
    assert third.is_same_as(Found("/dev/ttyACM5", 0x2222, 0x0001, "SN7", "2-4"))


def test_one_port_set_in_two_ways_is_refused():
    text = {"kind": "lines", "pattern": "(?P<value>.*)"}
    pair = [
        Instrument(f"level-{baud}", "slope", "um/m", port=Port("loop://", baud), wire=text)
        for baud in (4800, 9600)
    ]
    with pytest.raises(PortError, match="set otherwise than for level-4800"):
        plan_ports(pair)


def test_instrument_without_a_port_cannot_be_listened_to():
    with pytest.raises(PortError, match="has no port"):
        plan_ports([Instrument("vial", "slope", "um/m")])


def test_every_port_is_listed_with_all_its_names(tmp_path, monkeypatch):
    """The system's own list is pretended; its links are real ones."""
    device = tmp_path / "ttyUSB3"
    device.touch()
    for folder in ("by-id", "by-path"):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "usb-invented-port0").symlink_to(device)
    plain = {"vid": None, "pid": None, "serial_number": None, "location": None, "description": "n/a"}
    usb = {"vid": 0x12, "pid": 0x34, "serial_number": "SN7", "location": "1-1", "description": "invented"}
    listed = [
        SimpleNamespace(device=str(device), **usb),
        SimpleNamespace(device="/dev/ttyS0", **plain),
        SimpleNamespace(device="/dev/ttyACM1", **usb),
    ]
    monkeypatch.setattr(list_ports, "comports", lambda: listed)
    monkeypatch.setattr(naming, "LINK_FOLDERS", (tmp_path / "by-id", tmp_path / "by-path"))
    found = {port.device: port for port in found_ports()}
    assert found[str(device)].links == tuple(
        str(tmp_path / folder / "usb-invented-port0") for folder in ("by-id", "by-path")
    )
    assert found[str(device)].usb_name == "usb:0012:0034:SN7" and not found[str(device)].is_cdc
    assert found["/dev/ttyS0"].usb_name is None and found["/dev/ttyS0"].words == ""
    assert found["/dev/ttyACM1"].is_cdc
