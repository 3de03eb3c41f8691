"""A port by its identity: which device a name in `bed.toml` stands for just now.

A name is a device, a link below /dev/serial/by-id or by-path, `usb:VID:PID[:SERIAL]`
(hexadecimal ids), or a port over the network. Numbers such as ttyUSB0 are given anew at every
replug, so identities are looked up at every opening.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from acquire.model.bed_toml.port_names import NEEDED, port_name_is_allowed
from acquire.model.errors import PortError

LINK_FOLDERS = (Path("/dev/serial/by-id"), Path("/dev/serial/by-path"))
_USB = re.compile(r"usb:([0-9a-f]{1,4}):([0-9a-f]{1,4})(?::(.+))?", re.IGNORECASE)


@dataclass(frozen=True)
class Found:
    """One serial port of this computer, with every name it can be called by."""

    device: str
    vendor_id: int | None = None
    product_id: int | None = None
    serial: str | None = None
    socket: str | None = None
    """Bus and port that it is plugged into."""
    words: str = ""
    links: tuple[str, ...] = ()
    is_cdc: bool = False
    """A USB device that is its own adapter: a speed in baud means nothing to it."""

    @property
    def usb_name(self) -> str | None:
        """Its `usb:VID:PID:SERIAL`, or None where it is no USB port."""
        if self.vendor_id is None or self.product_id is None:
            return None
        name = f"usb:{self.vendor_id:04x}:{self.product_id:04x}"
        return f"{name}:{self.serial}" if self.serial else name

    def is_same_as(self, other: "Found") -> bool:
        """Whether it is the same adapter: by serial number, or without one by the socket it is in."""
        if (self.vendor_id, self.product_id) != (other.vendor_id, other.product_id):
            return False
        if self.serial or other.serial:
            return self.serial == other.serial
        return self.socket is not None and self.socket == other.socket


def found_ports() -> list[Found]:
    """All serial ports of this computer, by device name."""
    from serial.tools import list_ports

    links = _links()
    ports = [
        Found(
            port.device,
            port.vid,
            port.pid,
            port.serial_number,
            port.location,
            port.description if port.description != "n/a" else "",
            tuple(link for link, target in links if target == str(Path(port.device).resolve())),
            "ttyACM" in port.device,
        )
        for port in list_ports.comports()
    ]
    return sorted(ports, key=lambda port: port.device)


def _links() -> list[tuple[str, str]]:
    folders = [folder for folder in LINK_FOLDERS if folder.is_dir()]
    return [(str(link), str(link.resolve())) for folder in folders for link in sorted(folder.iterdir())]


def resolve(url: str, ports: Sequence[Found] | None = None) -> str:
    """The device or URL to open for a name of `bed.toml`.

    Raises
    ------
    PortError
        If it is no name of a port, nothing here answers to it, or more than one port does.

    Examples
    --------
    >>> here = [Found("/dev/ttyUSB3", 0x0403, 0x6001, "A7"), Found("/dev/ttyUSB4", 0x0403, 0x6001, "B2")]
    >>> resolve("usb:0403:6001:B2", here), resolve("socket://shop:7000", here)
    ('/dev/ttyUSB4', 'socket://shop:7000')
    """
    if not port_name_is_allowed(url):
        raise PortError(url, "is no name of a port", NEEDED)
    if url.lower().startswith("usb:"):
        return _resolve_usb(url, found_ports() if ports is None else ports)
    if url.startswith("/") and not Path(url).exists():
        raise PortError(
            url, "is not there", _what_is_here(ports), "plug it in, or name one of those in bed.toml"
        )
    return str(Path(url).resolve()) if url.startswith("/") else url


def _resolve_usb(url: str, ports: Sequence[Found]) -> str:
    match = _USB.fullmatch(url)
    assert match is not None, url
    vendor, product, serial = int(match[1], 16), int(match[2], 16), match[3]
    fitting = [port for port in ports if (port.vendor_id, port.product_id) == (vendor, product)]
    if serial is not None:
        fitting = [port for port in fitting if port.serial == serial]
    if not fitting:
        raise PortError(
            url, "is not plugged in", _what_is_here(ports), "plug it in, or name one of those in bed.toml"
        )
    if len(fitting) > 1:
        raise PortError(
            url,
            f"{len(fitting)} ports answer to it: {_listed(fitting)}",
            "one",
            "add the serial number, or where they have none name the socket by its /dev/serial/by-path link",
        )
    return fitting[0].device


def _what_is_here(ports: Sequence[Found] | None) -> str:
    here = found_ports() if ports is None else list(ports)
    return f"one of {_listed(here)}" if here else "a serial port; this computer shows none"


def _listed(ports: Sequence[Found]) -> str:
    named = [f"{port.device} ({port.usb_name})" if port.usb_name else port.device for port in ports]
    return ", ".join(named[:8]) + (f" and {len(named) - 8} more" if len(named) > 8 else "")
