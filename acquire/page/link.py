"""Where the page is to be found: an address of this machine, a port, a token, and the three as a link."""

import ipaddress
import secrets
import socket

from acquire.model.errors import AcquireError

PORT = 8737
"""Nothing else is registered or usual there; a phone's unsent readings are kept by address and port."""
TOKEN_BYTES = 16
_ELSEWHERE = ("192.0.2.1", 9)
"""An address for documentation (RFC 5737): asking the way to it sends nothing."""


def new_token() -> str:
    """128 random bits, as letters for a link."""
    return secrets.token_urlsafe(TOKEN_BYTES)


def own_address() -> str:
    """The address that this machine has in the local network; the loopback where it is in none.

    Raises
    ------
    AcquireError
        If it can be reached from everywhere: such an address has to be asked for.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect(_ELSEWHERE)
            found = str(asking.getsockname()[0])
        except OSError:
            return "127.0.0.1"
    if not ipaddress.ip_address(found).is_private:
        raise AcquireError(
            "page",
            f"found {found}, which the whole internet may reach",
            "an address in a network of your own",
            "give one with --address (127.0.0.1: this machine alone)",
        )
    return found


def listening(address: str, port: int) -> socket.socket:
    """A socket that listens there.

    Raises
    ------
    AcquireError
        If that is no address of this machine, or something else has the port.
    """
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        raise AcquireError("--address", f"found {address[:60]!r}", "an IP address of this machine") from None
    made = socket.socket(socket.AF_INET6 if found.version == 6 else socket.AF_INET, socket.SOCK_STREAM)
    try:
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        made.bind((address, port))
        made.listen(16)
    except OSError as error:
        made.close()
        do = "end what has it, or give another --port (0: any free one)"
        raise AcquireError(f"{address} port {port}", f"cannot be used ({error.strerror})", "", do) from error
    return made


def link_to(address: str, port: int, token: str) -> str:
    """The link, as a browser takes it.

    Examples
    --------
    >>> link_to("192.168.1.5", 8737, "t0ken"), link_to("::1", 8737, "t0ken")
    ('http://192.168.1.5:8737/t0ken/', 'http://[::1]:8737/t0ken/')
    """
    return f"http://{f'[{address}]' if ':' in address else address}:{port}/{token}/"


def who_can_reach(address: str) -> str:
    """Who comes as far as the door, in words."""
    found = ipaddress.ip_address(address)
    if found.is_loopback:
        return "only this machine can reach it (--address gives it to a phone)"
    where = "every network that this machine is in" if found.is_unspecified else "the local network"
    return (
        f"everybody in {where} who has this link can see the survey and type readings into it; "
        "it goes unencrypted (http): use it only in a network that you trust"
    )
