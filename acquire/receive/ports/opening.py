"""Opening one port: for us alone, without restarting what hangs on it, without delay; and listening to it."""

import errno
import time
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from typing import Any

import serial

from acquire.model.bed import Port
from acquire.model.errors import PortError
from acquire.model.system import (
    IS_POSIX,
    close_to_others,
    hold_lines_at_closing,
    line_counters,
    terminal_faults,
)
from acquire.receive.ports.naming import resolve

PORT_FAULTS: tuple[type[BaseException], ...] = (OSError, serial.SerialException, *terminal_faults())
"""What pyserial's calls raise at a hang-up: `termios.error` is neither of the first two, and several
calls raise it."""

OPENING_FAULTS: tuple[type[BaseException], ...] = (*PORT_FAULTS, ValueError, NotImplementedError)
LATENCY_FAULTS: tuple[type[BaseException], ...] = (*OPENING_FAULTS, AttributeError)

_POLLABLE = ("serial.serialposix",)


def open_port(port: Port, device: str) -> tuple[Any, list[str]]:
    """Open a port as described; the handle, and what could not be had, in words.

    Raises
    ------
    PortError
        If it is missing, busy, not allowed, or cannot be set as described.
    """
    try:
        handle = _opened(port, device)
    except OPENING_FAULTS as error:
        raise PortError(port.url, *_explained(error, device, port)) from error
    return handle, [] if not is_pollable(handle) else _settled(handle, port)


def _opened(port: Port, device: str) -> Any:
    is_url = "://" in device
    handle = serial.serial_for_url(
        device,
        do_not_open=True,
        baudrate=port.baud,
        bytesize=port.bytesize,
        parity=port.parity,
        stopbits=port.stopbits,
        timeout=0.1,
        write_timeout=None if is_url else 2.0,
        exclusive=True if IS_POSIX and not is_url else None,
    )
    lines_on = port.reset_on_open or port.line_power
    handle.dtr, handle.rts = lines_on, lines_on
    handle.close = partial(_closed, handle, handle.close)
    try:
        handle.open()
    except OPENING_FAULTS:
        close_port(handle)
        raise
    return handle


def close_port(handle: Any) -> None:
    """Close a port, whatever state it is in."""
    with suppress(*OPENING_FAULTS):
        handle.close()


def _closed(handle: Any, close: Callable[[], None]) -> None:
    """Close it as pyserial does, which also closes a port that it could not open, and its connection.

    pyserial leaves a connection open that the other end has reset: it cannot be shut down any more.
    """
    connection = getattr(handle, "_socket", None)
    try:
        close()
    finally:
        if connection is not None:
            connection.close()


def is_pollable(handle: Any) -> bool:
    """Whether the port is an ordinary terminal device that one thread can wait on with others."""
    return IS_POSIX and type(handle).__module__ in _POLLABLE


def _settled(handle: Any, port: Port) -> list[str]:
    """Settings that pyserial leaves out: closed to other programs, lines held at closing, low latency."""
    descriptor = handle.fileno()
    with suppress(*PORT_FAULTS):
        close_to_others(descriptor)
    if not port.reset_on_open:
        with suppress(*PORT_FAULTS):
            hold_lines_at_closing(descriptor)
    try:
        handle.set_low_latency_mode(True)
    except LATENCY_FAULTS:
        return ["no low-latency mode here: a USB adapter may hold bytes back for up to 16 ms"]
    return []


def _explained(error: BaseException, device: str, port: Port) -> tuple[str, str, str]:
    number = getattr(error, "errno", None) or (error.args[0] if error.args else None)
    if number in (errno.EAGAIN, errno.EBUSY):
        return "is in use by another program", "the port to ourselves", "close the other program"
    if number in (errno.EACCES, errno.EPERM):
        do = "add the user to the group of the device (often dialout), then log in again"
        return "may not be opened by this user", "permission", do
    if number in (errno.ENOENT, errno.ENODEV, errno.ENXIO, errno.EIO):
        return f"{device} has gone", "a port that is plugged in", "see `waylog ports`"
    return f"cannot be opened at {port.settings} ({error})", "a serial port that can", "see `waylog ports`"


_COUNTERS = ("framing errors", "overruns", "parity errors", "breaks", "buffer overruns")


def error_counters(handle: Any) -> dict[str, int]:
    """What the driver counted since it was loaded; empty where it keeps no count.

    pyserial switches parity checking off, so a wrong speed or parity shows only here.
    """
    try:
        return dict(zip(_COUNTERS, line_counters(handle.fileno()), strict=False))
    except OPENING_FAULTS:
        return {}


def listen(
    port: Port,
    most_s: float,
    is_enough: Callable[[bytes], bool] = lambda data: False,
    request: bytes = b"",
    clock: Callable[[], float] = time.monotonic,
) -> tuple[bytes, int | None]:
    """Bytes heard until they are enough or the time is over, and the framing errors counted meanwhile.

    Parameters
    ----------
    port : Port
        How to set it.
    most_s : float
        Longest time to listen.
    is_enough : callable, optional
        Told all bytes so far.
    request : bytes, optional
        Sent first, and again every second.

    Returns
    -------
    data : bytes
        What was heard.
    framing_errors : int or None
        None where the driver keeps no count.

    Raises
    ------
    PortError
        If the port cannot be opened, or goes while it is listened to.
    """
    handle, _ = open_port(port, resolve(port.url))
    try:
        before = error_counters(handle).get("framing errors")
        data = _heard(handle, most_s, is_enough, request, clock)
        after = error_counters(handle).get("framing errors")
    except PORT_FAULTS as error:
        raise PortError(
            port.url, f"went while it was listened to ({error})", "a port that stays", "check its plug"
        ) from error
    finally:
        close_port(handle)
    return data, None if before is None or after is None else after - before


def _heard(
    port: Any, most_s: float, is_enough: Callable[[bytes], bool], request: bytes, clock: Callable[[], float]
) -> bytes:
    data = bytearray()
    began_s = clock()
    asked_s = float("-inf")
    while (now_s := clock()) - began_s < most_s and not is_enough(bytes(data)):
        if request and now_s - asked_s >= 1.0:
            port.write(request)
            asked_s = now_s
        first = port.read(1)
        if first:
            data += first + port.read(port.in_waiting)
    return bytes(data)
