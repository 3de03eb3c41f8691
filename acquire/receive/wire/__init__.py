"""From bytes to readings, for every kind of wire that `bed.toml` can describe."""

from acquire.receive.wire.decoding import Decoded, Decoder, wire_time_s
from acquire.receive.wire.kinds import decoder_for
from acquire.receive.wire.whole import Readings, decode_all

__all__ = ["Decoded", "Decoder", "Readings", "decode_all", "decoder_for", "wire_time_s"]
