"""A page served for an invented bed, and whoever asks it: with plain HTTP, as any browser does."""

import http.client
import json
import os
import re
import signal
import socket
import subprocess
import sys
import threading
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.util import find_spec

import pytest

from acquire.model.companion import Mend, RunDoubt
from acquire.page.beginning import Wish
from acquire.page.desk import Desk
from tests.invented import bed_toml, dial, flat, level, survey_in

TOKEN = "T0ken-of-the-tests_22"
VIAL = level(0.1, unit="mm/m", per_division=0.02, resolution=0.1)
BED = bed_toml(
    800,
    name="invented lathe bed",
    faces={"way": flat(0), "rear": flat(300)},
    instruments={"level": level(), "vial": VIAL, "dial": dial(0.5, resolution=1)},
)
INCH_BED = bed_toml(
    None,
    name="invented bed in inches",
    bed={"length": "32 in", "display": "inch"},
    faces={"way": flat(0), "rear": flat(300)},
    instruments={"dial": dial(0.5, resolution=1)},
)
HAS_EXTRA = all(find_spec(name) for name in ("starlette", "uvicorn", "segno"))
needs_extra = pytest.mark.skipif(
    not HAS_EXTRA and "WAYLOG_EVERY_PEER_IS_HERE" not in os.environ, reason="no extra `page` here"
)
SLOPES = [1.0, 2.0, 3.0, 4.0]
"""Stations of the level, stepped by its base of 200 mm: 100, 300, 500 and 700 mm."""


@pytest.fixture
def survey(tmp_path):
    return survey_in(tmp_path / "survey", BED)


def wish(instrument="level", **more):
    return Wish({"instrument": instrument, "face": "way", **more})


@dataclass
class Asker:
    """Asks one server; answers are (status, what it says, headers)."""

    port: int
    token: str = TOKEN

    @property
    def link(self):
        return f"http://127.0.0.1:{self.port}/{self.token}/"

    def raw(self, method, path, body=b"", **headers):
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        try:
            kind = {"Content-Type": "application/json"} if method == "POST" else {}
            connection.request(method, path, body or None, {**kind, **headers})
            reply = connection.getresponse()
            return reply.status, reply.read(), dict(reply.getheaders())
        finally:
            connection.close()

    def get(self, path):
        status, data, _ = self.raw("GET", f"/{self.token}/{path}")
        return status, json.loads(data)

    def post(self, path, **body):
        status, data, _ = self.raw("POST", f"/{self.token}/{path}", json.dumps(body).encode())
        return status, json.loads(data)

    @property
    def run(self):
        return self.get("state")[1]["run"]

    def reading(self, words, station_mm=100.0, repeat=1, before=None, sent_as="reading-1", **more):
        run = more.pop("run", None) or self.run["name"]
        return self.post(
            "reading",
            run=run, sent_as=sent_as, station_mm=station_mm, repeat=repeat, words=words, before=before,
            age_s=0, **more,
        )  # fmt: skip


@contextmanager
def serving(desk, port=0):
    """Serve a desk in this process; to be served again under the same link it must be told the port."""
    from acquire.page.serving import server

    with socket.create_server(("127.0.0.1", port)) as listener:
        serving = server(desk, listener, TOKEN)
        thread = threading.Thread(target=serving.run, kwargs={"sockets": [listener]}, daemon=True)
        thread.start()
        try:
            yield Asker(listener.getsockname()[1])
        finally:
            serving.should_exit = True
            thread.join(20)


@contextmanager
def run_served(survey):
    """A run of the level, served; without what the other house could add."""
    desk = Desk(survey)
    desk.begin(wish())
    with serving(desk) as asker:
        yield asker
    desk.close()


@pytest.fixture
def served(survey):
    with run_served(survey) as asker:
        yield asker


@contextmanager
def command(survey, *arguments, port=0):
    """`waylog page` in a process of its own; gives the process and an asker, or ends it with SIGINT."""
    process = subprocess.Popen(
        [sys.executable, "-m", "acquire.cli", "page", str(survey), *arguments,
         "--address", "127.0.0.1", "--port", str(port)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        link = process.stdout.readline()
        found = re.fullmatch(r"http://127\.0\.0\.1:(\d+)/([\w-]+)/\n", link)
        assert found, (link, process.stderr.read())
        yield process, Asker(int(found[1]), found[2])
    finally:
        if process.poll() is None:
            process.send_signal(signal.SIGINT)
        process.communicate(timeout=60)


QUESTION = "Was the sign of every reading of run 2 turned?"


def in_doubt(survey, number):
    """The other house, which finds the sign of a run turned where another run contradicts it."""
    return (
        None
        if number == 1
        else RunDoubt(f"run {number} has its sign turned", (Mend((number,), ("sign",), QUESTION),))
    )
