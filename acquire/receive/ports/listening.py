"""Listening to a port for a while, to find out what hangs on it."""

import time
from collections.abc import Callable
from typing import Any

from acquire.model.bed import Port
from acquire.model.errors import PortError
from acquire.receive.ports.naming import resolve
from acquire.receive.ports.opening import PORT_FAULTS, close_port, error_counters, open_port


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
