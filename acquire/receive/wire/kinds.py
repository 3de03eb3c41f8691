"""The table of wire kinds, and the events that bear on decoding."""

from collections.abc import Callable, Mapping

from acquire.model.bed import Instrument
from acquire.model.recorded import Event
from acquire.receive.wire.counter import CounterDecoder
from acquire.receive.wire.decoding import Decoder
from acquire.receive.wire.fixed import FixedDecoder
from acquire.receive.wire.lines import LinesDecoder
from acquire.receive.wire.modbus import ModbusDecoder

DECODERS: Mapping[str, Callable[[Instrument], Decoder]] = {
    "lines": LinesDecoder,
    "fixed": FixedDecoder,
    "modbus": ModbusDecoder,
    "counter": CounterDecoder,
}

ASKED, OPENED, REOPENED, LOST = "asked", "opened", "reopened", "lost"
"""Kinds of events that bear on decoding; the text of `asked` ends with the name of who was asked."""


def decoder_for(instrument: Instrument) -> Decoder:
    """A fresh decoder for what the instrument's wire table describes.

    Examples
    --------
    >>> level = Instrument("level", "slope", "um/m", wire={"kind": "lines", "pattern": r"(?P<value>\\S+)"})
    >>> [reading.value for reading in decoder_for(level).feed(b"+12.5\\r\\n-3.0\\r\\n+4", 7.0)]
    [12.5, -3.0]
    """
    return DECODERS[instrument.wire["kind"]](instrument)


def tell(decoder: Decoder, event: Event) -> None:
    """Let a decoder know of an event on its own port."""
    if event.kind == ASKED:
        decoder.asked(event.text.partition(":")[2].strip(), event.time_s)
    elif event.kind in (OPENED, REOPENED, LOST):
        decoder.started(event.time_s)
