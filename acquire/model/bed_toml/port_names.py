"""What may be named as a port: a device, an adapter by its identity, or a port over the network.

A survey may come from somebody else. Of the URLs that pyserial knows, some write a file of
any name (`spy://`), load other modules (`alt://`) or look for whatever is plugged in
(`hwgrep://`); options after a question mark can name files too. None of these is taken.
"""

import re

NEEDED = (
    "a port in quotes: /dev/... or COM3, usb:VID:PID:SERIAL, socket://HOST:PORT, rfc2217://HOST:PORT, loop://"
)
LONGEST = 200
_HOST_AND_PORT = r"(?:[A-Za-z0-9._-]+|\[[0-9A-Fa-f:.]+\]):(\d{1,5})/?"
_KINDS = (
    re.compile(r"/[^?#]*"),
    re.compile(r"(?:\\\\\.\\)?COM\d{1,3}", re.IGNORECASE),
    re.compile(r"usb:[0-9a-f]{1,4}:[0-9a-f]{1,4}(?::.+)?", re.IGNORECASE),
    re.compile(rf"(?:socket|rfc2217)://{_HOST_AND_PORT}"),
    re.compile(r"loop://"),
)
_LARGEST_PORT = 65535


def port_name_is_allowed(name: object) -> bool:
    """Whether a port may be named so.

    Examples
    --------
    >>> [port_name_is_allowed(name) for name in ("/dev/ttyUSB0", "usb:0403:6001:A7", "socket://shop:7000")]
    [True, True, True]
    >>> [port_name_is_allowed(name) for name in ("spy:///dev/ttyUSB0?file=notes", "loop://?logging=debug")]
    [False, False]
    """
    if not isinstance(name, str) or len(name) > LONGEST or not name.isprintable():
        return False
    matches = [match for kind in _KINDS if (match := kind.fullmatch(name))]
    numbers = [int(number) for match in matches for number in match.groups()]
    return bool(matches) and all(0 < number <= _LARGEST_PORT for number in numbers)
