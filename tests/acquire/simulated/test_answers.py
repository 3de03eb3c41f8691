import threading

import pytest

from acquire.simulated.answers import check_sum, line_on_request, modbus_registers, serve
from acquire.simulated.ports import open_lines


def test_check_sum_of_the_catalogue():
    # Published (catalogue of CRC parameters): CRC-16/MODBUS of 123456789 is 0x4B37, low byte first.
    assert check_sum(b"123456789") == b"\x37\x4b"


@pytest.mark.parametrize(
    ("frame", "check"),
    [("01 03 00 02 00 01", "25 CA"), ("10 06 02 02 00 03", "6A F2"), ("01 03 02 01 84", "B9 B7")],
)
def test_check_sum_of_frames_read_in_public_threads(frame, check):
    assert check_sum(bytes.fromhex(frame)) == bytes.fromhex(check)


def ask(function, first, count, unit=1):
    question = bytes([unit, function, 0, first, 0, count])
    return question + check_sum(question)


def test_slave_answers_with_its_registers():
    answer = modbus_registers(1, lambda: {0: 258, 1: -2})
    reply, used = answer(ask(3, 0, 2))
    assert (used, reply[:-2]) == (8, bytes.fromhex("01 03 04 01 02 ff fe"))
    assert check_sum(reply[:-2]) == reply[-2:]


@pytest.mark.parametrize(
    ("question", "reply"),
    [(ask(3, 9, 1), "01 83 02 c0 f1"), (ask(6, 0, 1), "01 86 01 83 a0"), (ask(3, 0, 1, unit=2), "")],
)
def test_slave_refuses_as_the_protocol_says(question, reply):
    # 01 83 02 C0 F1 was read from an independent server asked for a register it has not.
    assert modbus_registers(1, lambda: {0: 1})(question)[0] == bytes.fromhex(reply)


@pytest.mark.whole
def test_line_is_given_once_for_each_request():
    over, count = threading.Event(), iter(range(10))
    with open_lines(["gauge"], loopback=True) as ports:
        import serial

        with serial.serial_for_url(ports["gauge"].url, timeout=5) as line:
            ports["gauge"].await_listener()
            thread = serve(ports["gauge"], line_on_request(b"?\r", lambda: b"%d\r\n" % next(count)), over)
            line.write(b"?\r")
            first = line.read_until(b"\n")
            line.write(b"?\r")
            second = line.read_until(b"\n")
        over.set()
        thread.join(10)
    assert (first, second) == (b"0\r\n", b"1\r\n")
