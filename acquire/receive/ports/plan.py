"""Which ports to open for a set of instruments, and what to ask on them."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from acquire.model.bed import Instrument, Port
from acquire.model.errors import PortError
from acquire.receive.ports.asking import Request
from acquire.receive.wire import decoder_for

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
