"""Readings put into bytes, and now and then damaged.

The shapes are everyday ones; each is written here from nothing, so that what reads
them back is tested against something that it does not share.
"""

from collections.abc import Callable

import numpy as np

Format = Callable[[float], bytes]
"""From a reading, as the display shows it, to what goes over the line."""


def fixed_line(decimals: int = 1, digits: int = 7, end: bytes = b"\r\n") -> Format:
    """Sign, leading zeros, fixed width: `+00012.5`.

    Examples
    --------
    >>> fixed_line(1, 7)(12.46)
    b'+00012.5\\r\\n'
    """
    return lambda value: f"{value:+0{digits + 1}.{decimals}f}".encode() + end


def labelled_line(label: str, unit: str, decimals: int = 2, digits: int = 8) -> Format:
    """A letter for the channel, the number, its unit: `B -00012.46 arcsec`."""
    number = fixed_line(decimals, digits, b"")
    return lambda value: label.encode() + b" " + number(value) + b" " + unit.encode() + b"\r\n"


def comma_line(decimals: int = 3, digits: int = 7) -> Format:
    """The decimal comma: `+000,012`.

    Examples
    --------
    >>> comma_line(3, 7)(-0.0124)
    b'-000,012\\r'
    """
    number = fixed_line(decimals, digits, b"\r")
    return lambda value: number(value).replace(b".", b",")


def damaged(rng: np.random.Generator, frame: bytes) -> bytes:
    """A frame as a bad cable leaves it: a byte lost, cut short, or turned into another.

    The turned byte has its second-highest bit flipped, so that a digit never turns
    into another digit: that no reader of a line without checksum could tell.
    """
    at = int(rng.integers(0, max(1, len(frame) - 2)))
    kind = int(rng.integers(0, 3))
    if kind == 0:
        return frame[:at] + frame[at + 1 :]
    if kind == 1:
        return frame[: max(1, at)]
    return frame[:at] + bytes([frame[at] ^ 0x40]) + frame[at + 1 :]
