"""Works out how an unknown instrument speaks: speed, framing and line shape.

They come from the bytes alone (`acquire.receive.wire.scoring`). A silent port proves nothing, and
that is what is said of it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from acquire.model.bed import Port
from acquire.model.errors import PortError
from acquire.receive.ports.naming import Found
from acquire.receive.ports.opening import listen
from acquire.receive.wire.decoding import request_bytes
from acquire.receive.wire.scoring import (
    Heard,
    LineShape,
    frame_length,
    framing_of,
    is_certain,
    line_shape,
    score,
    whole_lines,
)

SPEEDS = (9600, 4800, 2400, 1200, 19200, 38400, 57600, 115200, 14400)
ENOUGH_BYTES = 240
ENOUGH_LINES = 6
MOSTLY = 0.8
"""Of printable bytes, to be taken for text at all."""

Listen = Callable[[Port, float, Callable[[bytes], bool], bytes], tuple[bytes, int | None]]
Say = Callable[[str], None]


@dataclass(frozen=True)
class Identified:
    """What was found out about a port."""

    port: Port
    lines: tuple[str, ...]
    """Some whole lines as they came; none where it does not speak lines."""
    shape: LineShape | None
    ask: str | None
    """The request that it answered; None where it speaks by itself."""
    doubts: tuple[str, ...]
    """What speaks against the finding, in words."""


def stable_name(port: Found, ports: Sequence[Found]) -> str:
    """The name by which `bed.toml` should call a port: one that outlives a replug.

    Examples
    --------
    >>> adapter = Found("/dev/ttyUSB0", 0x1234, 0x5678, "SN7")
    >>> stable_name(adapter, [adapter]), stable_name(Found("/dev/ttyS0"), [])
    ('usb:1234:5678:SN7', '/dev/ttyS0')
    """
    alike = [other for other in ports if other.usb_name == port.usb_name]
    if port.usb_name and port.serial and len(alike) <= 1:
        return port.usb_name
    by_path = [link for link in port.links if "/by-path/" in link]
    return next(iter([*by_path, *port.links]), port.device)


def identify(
    url: str,
    requests: Sequence[str] = (),
    *,
    most_s: float = 3.0,
    listening: Listen = listen,
    say: Say = lambda words: None,
) -> Identified:
    """Listen through speeds and framings, then with each request, until a port is understood.

    Raises
    ------
    PortError
        If the port cannot be opened, or nothing at all was heard.
    """
    for ask in (None, *requests):
        request = b"" if ask is None else request_bytes({"ask": ask}) or b""
        heard = _heard_at_speeds(url, most_s, listening, request, say)
        if heard:
            return _understood(url, max(heard, key=score), ask, request, most_s, listening)
    raise PortError(
        url,
        "nothing was heard at any speed" + (", asked or not" if requests else ""),
        "an instrument that sends",
        "silence tells nothing about speed or wiring: check that it is switched on and set to send, "
        "press its send key while this listens, or give the request in its manual with --ask",
    )


def _is_enough(data: bytes) -> bool:
    return len(whole_lines(data)) >= ENOUGH_LINES or len(data) >= ENOUGH_BYTES


def _heard_at_speeds(url: str, most_s: float, listening: Listen, request: bytes, say: Say) -> list[Heard]:
    """What was heard at each speed that gave anything; the first that is certain ends the search."""
    found = []
    for baud in SPEEDS:
        say(f"listening at {baud} baud" + (f", asking {request!r}" if request else ""))
        data, errors = listening(Port(url, baud), most_s, _is_enough, request)
        if data:
            found.append(Heard(baud, data, errors))
            if is_certain(found[-1]):
                break
    return found


def _understood(
    url: str, best: Heard, ask: str | None, request: bytes, most_s: float, listening: Listen
) -> Identified:
    framing = framing_of(best)
    doubts = [framing.doubt] if framing.doubt else []
    port = Port(url, best.baud, framing.bytesize, framing.parity, framing.stopbits)
    data = best.data
    if (framing.bytesize, framing.parity) != (8, "N"):
        again, errors = listening(port, most_s, _is_enough, request)
        if errors:
            doubts.append(f"{errors} line errors at this setting")
        data = again or data
    lines = [line.decode("ascii").strip() for line in whole_lines(data)]
    shape = line_shape(lines)
    if not is_certain(Heard(best.baud, data)):
        doubts.append(_what_it_sends(data, lines))
    elif shape is None:
        doubts.append("its lines are not all of one form: write the pattern by hand")
    return Identified(port, tuple(lines), shape, ask, tuple(doubts))


def _what_it_sends(data: bytes, lines: Sequence[str]) -> str:
    printable = sum(32 <= byte & 0x7F < 127 or byte & 0x7F in b"\r\n\t" for byte in data)
    if len(lines) >= 2 and printable >= MOSTLY * len(data):
        return "few or odd lines: this speed is a guess; send more readings and try again"
    length = frame_length(data)
    if length is not None:
        return f"no lines but binary frames, {length} bytes each it seems: {data[: 2 * length].hex(' ')}"
    return f"{len(data)} bytes that are no lines: {data[:24].hex(' ')}"


def with_stable_name(found: Identified, name: str) -> Identified:
    """The same, under the name that outlives a replug."""
    return replace(found, port=replace(found.port, url=name))
