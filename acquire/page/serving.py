"""The server: who asks what, in which thread, and how it ends.

The only file that needs the extra `page`, and not before a page is served.
"""

import json
import socket
from collections.abc import Callable, Mapping
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from acquire.model.errors import EntryError, RecordingError, WaylogError
from acquire.page.desk import Desk
from acquire.page.guard import Guard
from acquire.page.sent import Conflict

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.requests import Request
    from starlette.responses import Response
    from uvicorn import Server

SCRIPTS = ("page", "asking", "queue", "keypad", "entry", "begin", "live")
FILES = {
    "": ("page.html", "text/html"),
    "page.css": ("page.css", "text/css"),
    **{f"{name}.js": (f"{name}.js", "text/javascript") for name in SCRIPTS},
}
"""What a browser gets, and what it is."""
MOST_AT_ONCE = 64
LAST_WORDS_S = 2
"""A phone in the middle of sending is let finish for so long when the server ends."""

Body = Mapping[str, Any]
Endpoint = Callable[["Request"], Any]
Answer = tuple[int, Body]
"""Status and what is said."""


def server(desk: Desk, listener: socket.socket, token: str) -> "Server":
    """A server for one page, not yet running: `server.run(sockets=[listener])`.

    It keeps no log: the token is in every path.
    """
    from uvicorn import Config, Server

    config = Config(
        Guard(_application(desk), token, listener.getsockname()[1]),
        log_config=None,
        access_log=False,
        server_header=False,
        lifespan="off",
        ws="none",
        proxy_headers=False,
        limit_concurrency=MOST_AT_ONCE,
        timeout_graceful_shutdown=LAST_WORDS_S,
    )
    return Server(config)


def _application(desk: Desk) -> "Starlette":
    """All that the page asks for, behind no guard yet."""
    from starlette.applications import Starlette
    from starlette.routing import Route

    asked = {"state": desk.state, "live": desk.live}
    told = {
        "reading": desk.reading,
        "keep": desk.keep,
        "begin": desk.begin_asked,
        "leave": desk.leave,
        "finish": desk.finish,
        "mend": desk.mend,
    }
    routes = [Route(f"/{path}", _file(*which), methods=["GET"]) for path, which in FILES.items()]
    routes += [Route(f"/{path}", _asked(desk, call), methods=["GET"]) for path, call in asked.items()]
    routes += [Route(f"/{path}", _told(desk, call), methods=["POST"]) for path, call in told.items()]
    return Starlette(routes=routes)


def _file(name: str, kind: str) -> Endpoint:
    async def give(_: "Request") -> "Response":
        from starlette.responses import Response

        return Response(files("acquire.page").joinpath("files", name).read_bytes(), media_type=kind)

    return give


def _asked(desk: Desk, call: Callable[[], Body]) -> Endpoint:
    async def give(_: "Request") -> "Response":
        return await _in_its_thread(desk, call)

    return give


def _told(desk: Desk, call: Callable[[Body], Body]) -> Endpoint:
    async def take(request: "Request") -> "Response":
        body = await request.body()
        return await _in_its_thread(desk, lambda: call(_object(body)))

    return take


async def _in_its_thread(desk: Desk, call: Callable[[], Body]) -> "Response":
    """The disk and the adjustment keep nobody else waiting."""
    from starlette.concurrency import run_in_threadpool
    from starlette.responses import JSONResponse

    status, says = await run_in_threadpool(answer, desk, call)
    return JSONResponse(says, status)


def answer(desk: Desk, call: Callable[[], Body]) -> Answer:
    """The answer, or the refusal in one line: what cannot be is 422, what no longer fits 409, a disk 503."""
    try:
        return 200, call()
    except Conflict as error:
        return 409, {
            "refused": desk.in_its_unit(f"{error.found}; needed: {error.needed}"),
            "stands": error.stands,
        }
    except RecordingError as error:
        return 503, {"refused": desk.in_its_unit(str(error))}
    except WaylogError as error:
        return 422, {"refused": desk.in_its_unit(f"{error.found}; needed: {error.needed}")}


def _object(body: bytes) -> Body:
    try:
        found = json.loads(body)
    except ValueError:
        found = None
    if not isinstance(found, dict):
        raise EntryError("page", "found no JSON object", "what the page sends")
    return found
