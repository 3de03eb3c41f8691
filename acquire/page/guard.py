"""Who is let in: only who has the link, asks by this machine's own name, and comes from the page itself.

The token is the first part of the path.  Everybody else gets 403 and not a word.  A Host that
is a name of somebody else's is refused (a page elsewhere could have its name point here), and a
request that another page makes a browser send is known by its Origin.
"""

import hmac
import ipaddress
import socket
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from typing import Any

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
Application = Callable[[Message, Receive, Send], Awaitable[None]]

LONGEST_BODY = 8192
HEADERS = {
    # drawings carry their inks as style attributes; nothing else is allowed that is not this server's
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; style-src-attr 'unsafe-inline'; "
        "img-src data:; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-store",
}


class Guard:
    """Stands before an application, which sees paths without the token.

    Parameters
    ----------
    application : callable
        As ASGI has them.
    token : str
    port : int
        Where it is served.
    """

    def __init__(self, application: Application, token: str, port: int):
        self._application, self._token, self._port = application, token.encode(), port

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        """Let a request through, or refuse it."""
        if scope["type"] != "http":
            return
        headers = {
            name.decode("latin-1").lower(): value.decode("latin-1") for name, value in scope["headers"]
        }
        token, slash, rest = str(scope["path"]).removeprefix("/").partition("/")
        if not self._has_link(token) or not slash or not self._is_own(scope["method"], headers):
            await _refuse(send, 403)
        elif _is_too_long(scope["method"], headers):
            await _refuse(send, 413)
        else:
            within = {**scope, "path": f"/{rest}", "raw_path": f"/{rest}".encode(), "root_path": ""}
            await self._application(within, receive, _with_headers(send))

    def _has_link(self, token: str) -> bool:
        return hmac.compare_digest(token.encode("utf-8", "replace"), self._token)

    def _is_own(self, method: str, headers: MutableMapping[str, str]) -> bool:
        host = headers.get("host", "")
        is_from_here = headers.get("sec-fetch-site", "none") in OWN_SITE
        if not is_own_host(host, self._port) or not (is_from_here or _is_visit(method, headers)):
            return False
        if method == "GET":
            return True
        origin = headers.get("origin", f"http://{host}")
        kind = headers.get("content-type", "").partition(";")[0].strip()
        return method == "POST" and origin == f"http://{host}" and kind == "application/json"


OWN_SITE = ("none", "same-origin")
"""What browsers say of a request that a person or the page itself made (Fetch Metadata, W3C)."""


def _is_visit(method: str, headers: MutableMapping[str, str]) -> bool:
    """Whether somebody follows the link from a message: the page itself is opened, and nothing is done."""
    opens = (headers.get("sec-fetch-mode"), headers.get("sec-fetch-dest")) == ("navigate", "document")
    return method == "GET" and opens


def is_own_host(host: str, port: int) -> bool:
    """Whether a Host header names this machine: by a number, which nobody can point elsewhere, or its name.

    Examples
    --------
    >>> is_own_host("192.168.1.5:8737", 8737), is_own_host("[::1]:8737", 8737)
    (True, True)
    >>> is_own_host("shop.example:8737", 8737), is_own_host("192.168.1.5", 8737)
    (False, False)
    """
    name, colon, given = host.rpartition(":")
    if not colon or given != str(port):
        return False
    try:
        ipaddress.ip_address(name.removeprefix("[").removesuffix("]"))
    except ValueError:
        return name.lower() in _own_names()
    return True


def _own_names() -> Iterable[str]:
    name = socket.gethostname().lower()
    return ("localhost", name, f"{name.partition('.')[0]}.local")


def _is_too_long(method: str, headers: MutableMapping[str, str]) -> bool:
    """A body must say how long it is, and be short."""
    length = headers.get("content-length", "" if method == "POST" else "0")
    return not length.isdecimal() or int(length) > LONGEST_BODY


async def _refuse(send: Send, status: int) -> None:
    await send({"type": "http.response.start", "status": status, "headers": [(b"content-length", b"0")]})
    await send({"type": "http.response.body", "body": b""})


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            own = [(name.encode(), value.encode()) for name, value in HEADERS.items()]
            message = {**message, "headers": [*message.get("headers", []), *own]}
        await send(message)

    return sending
