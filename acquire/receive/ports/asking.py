"""Which ports to open for a set of instruments, and when to send which request on them.

One request is out at a time: the next waits until the reply has ended (the line has been
quiet) or has not come for so long that it is given up.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from acquire.model.bed import Instrument, Port
from acquire.model.errors import PortError
from acquire.receive.wire.kinds import decoder_for

PATIENCE_S = 0.5
"""A reply that has not begun by then is given up."""

QUIET_S = 0.02
"""A reply has ended when nothing came for so long: longer than a USB adapter withholds bytes (16 ms)."""


@dataclass(frozen=True)
class Request:
    """What to send for a reading of one instrument, and how often."""

    instrument: str
    data: bytes
    every_s: float


class Asking:
    """The timetable of one port.

    Examples
    --------
    >>> asking = Asking([Request("dial", b"?", 1.0)], now_s=0.0)
    >>> asking.due(0.0)
    Request(instrument='dial', data=b'?', every_s=1.0)
    >>> asking.sent(0.0); asking.heard(0.1)
    >>> asking.due(0.5), asking.due(1.0).data
    (None, b'?')
    """

    def __init__(self, requests: Sequence[Request], now_s: float):
        self._requests = list(requests)
        self._next_s = [now_s] * len(self._requests)
        self._out: int | None = None
        self._sent_s = self._heard_s = float("-inf")
        shortest = min((request.every_s for request in requests), default=1.0)
        self._quiet_s = QUIET_S if len(self._requests) > 1 else min(QUIET_S, shortest / 4)

    def due(self, now_s: float) -> Request | None:
        """The request to send now, if any."""
        if not self._requests or now_s < self._free_s():
            return None
        first = min(range(len(self._requests)), key=self._next_s.__getitem__)
        if self._next_s[first] > now_s:
            return None
        self._out = first
        return self._requests[first]

    def sent(self, now_s: float) -> None:
        """Note that the request given by `due` has gone out; a missed turn is not made up for."""
        if self._out is not None:
            every_s = self._requests[self._out].every_s
            on_time = self._next_s[self._out] + every_s
            self._next_s[self._out] = on_time if on_time > now_s else now_s + every_s
        self._sent_s = now_s

    def heard(self, now_s: float) -> None:
        """Note that bytes arrived."""
        self._heard_s = now_s

    def wait_s(self, now_s: float) -> float:
        """How long nothing is due; infinite where nothing is ever asked."""
        if not self._requests:
            return float("inf")
        return max(0.0, max(self._free_s(), min(self._next_s)) - now_s)

    def _free_s(self) -> float:
        answered = self._heard_s >= self._sent_s
        return self._heard_s + self._quiet_s if answered else self._sent_s + PATIENCE_S


ASKED_EVERY_S = 0.5
"""How often an instrument is asked where its wire table does not say."""


@dataclass(frozen=True)
class PortPlan:
    """Ports by name (the name of the first instrument on each)."""

    specs: Mapping[str, Port]
    requests: Mapping[str, tuple[Request, ...]]
    port_of: Mapping[str, str]
    """Port name of each instrument."""


def plan_ports(instruments: Iterable[Instrument]) -> PortPlan:
    """Group instruments by the port they speak on.

    Raises
    ------
    PortError
        If an instrument has no port, or two of them want one port set differently.

    Examples
    --------
    >>> text = {"kind": "lines", "pattern": "(?P<value>.*)"}
    >>> port = Port("socket://shop:7000")
    >>> plan = plan_ports([Instrument(name, "slope", "um/m", port=port, wire=text) for name in ("a", "b")])
    >>> plan.port_of
    {'a': 'a', 'b': 'a'}
    """
    specs: dict[str, Port] = {}
    requests: dict[str, tuple[Request, ...]] = {}
    port_of: dict[str, str] = {}
    for instrument in instruments:
        if instrument.port is None:
            raise PortError(
                f"instruments.{instrument.name}", "has no port", "a [port] table", "or use `waylog enter`"
            )
        name = _port_named(specs, instrument.port, instrument.name)
        specs.setdefault(name, instrument.port)
        port_of[instrument.name] = name
        data = decoder_for(instrument).request()
        if data is not None:
            every_s = instrument.wire.get("every_s", ASKED_EVERY_S)
            requests[name] = (*requests.get(name, ()), Request(instrument.name, data, every_s))
    return PortPlan(specs, requests, port_of)


def _port_named(specs: Mapping[str, Port], port: Port, instrument: str) -> str:
    for name, other in specs.items():
        if other.url == port.url:
            if other != port:
                raise PortError(
                    f"instruments.{instrument}.port",
                    f"{port.url} is set otherwise than for {name}",
                    "the same speed and framing for all instruments on one port",
                )
            return name
    return instrument
