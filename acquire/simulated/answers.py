"""Instruments that speak only when asked: lines on request, and Modbus registers."""

import struct
import threading
from collections.abc import Callable, Mapping

from acquire.simulated.ports import SimulatedPort

Answer = Callable[[bytes], tuple[bytes, int]]
"""From what has been asked so far to the answer and how many bytes of the question it used."""


def line_on_request(request: bytes, frame: Callable[[], bytes]) -> Answer:
    """One line for each request, whatever else is on the line before it.

    Examples
    --------
    >>> line_on_request(b"?", lambda: b"+0012.5\\r\\n")(b"x?")
    (b'+0012.5\\r\\n', 2)
    """

    def answer(asked: bytes) -> tuple[bytes, int]:
        at = asked.find(request)
        return (frame(), at + len(request)) if at >= 0 else (b"", 0)

    return answer


def modbus_registers(unit_id: int, registers: Callable[[], Mapping[int, int]]) -> Answer:
    """A Modbus RTU slave with holding and input registers of 16 bits; functions 3 and 4.

    A register it has not is answered by exception 2, another function by exception 1;
    a question to another unit, or with a wrong check, is not answered at all.
    """

    def answer(asked: bytes) -> tuple[bytes, int]:
        if len(asked) < 8:
            return b"", 0
        question, check = asked[:6], asked[6:8]
        if question[0] != unit_id or check_sum(question) != check:
            return b"", 8
        body = bytes([unit_id]) + _registers_answer(question, registers())
        return body + check_sum(body), 8

    return answer


def _registers_answer(question: bytes, values: Mapping[int, int]) -> bytes:
    _, function, first, count = struct.unpack(">BBHH", question)
    if function not in (3, 4):
        return bytes([function | 0x80, 1])
    if any(register not in values for register in range(first, first + count)):
        return bytes([function | 0x80, 2])
    data = b"".join(struct.pack(">H", values[first + n] & 0xFFFF) for n in range(count))
    return bytes([function, len(data)]) + data


def check_sum(data: bytes) -> bytes:
    """CRC-16 as Modbus sends it, bit by bit, low byte first.

    Examples
    --------
    >>> check_sum(bytes.fromhex("01 03 00 00 00 0A")).hex(" ")
    'c5 cd'
    """
    value = 0xFFFF
    for byte in data:
        value ^= byte
        for _ in range(8):
            value = (value >> 1) ^ (0xA001 if value & 1 else 0)
    return struct.pack("<H", value)


def serve(port: SimulatedPort, answer: Answer, is_over: threading.Event) -> threading.Thread:
    """Answer on a line until told that it is over; in a thread of its own."""
    thread = threading.Thread(target=_serve, args=(port, answer, is_over), daemon=True)
    thread.start()
    return thread


def _serve(port: SimulatedPort, answer: Answer, is_over: threading.Event) -> None:
    asked = b""
    while not is_over.wait(0.002):
        asked += port.received()
        reply, used = answer(asked)
        asked = asked[used:]
        if reply:
            port.send(reply)
