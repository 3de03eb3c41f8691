"""What a recording is made of, from the port to the traverse file: bytes as they came, and what happened."""

from dataclasses import dataclass
from typing import NamedTuple


class Chunk(NamedTuple):
    """Bytes that came together from a port. (A tuple: millions are made of an hour.)"""

    port: str
    time_s: float
    data: bytes


@dataclass(frozen=True, slots=True)
class Event:
    """What happened and when; where it happened to a port, `text` begins with the port's name and a colon.

    Of ports: opened | lost | reopened | silent | speaking | asked | latency | errors | behind.

    Examples
    --------
    >>> Event(0.0, "lost", "level: the port has gone").port, Event(0.0, "mark", "station 350").port
    ('level', '')
    """

    time_s: float
    kind: str
    text: str = ""

    @property
    def port(self) -> str:
        """The port that it happened to; empty where it was none."""
        name, colon, _ = self.text.partition(":")
        return name if colon else ""
