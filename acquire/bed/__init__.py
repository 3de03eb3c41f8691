"""The machine under measurement: its bed, faces, instruments; and reading `bed.toml`."""

from acquire.bed.model import (
    Bed,
    Face,
    Instrument,
    Port,
    Straightedge,
    TautWire,
)
from acquire.bed.reading import parse_bed, read_bed

__all__ = ["Bed", "Face", "Instrument", "Port", "Straightedge", "TautWire", "parse_bed", "read_bed"]
