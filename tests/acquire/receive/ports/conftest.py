"""Pseudo-terminals that can be plugged in and out, and a reader's takings."""

import os
import time
import tty
from contextlib import suppress

import pytest

from acquire.model.recorded import Chunk


class Cable:
    """A serial device behind a fixed name, as /dev/serial/by-id gives: a link that follows the replug."""

    def __init__(self, link):
        self.link = link
        self.master = -1
        self.plug_in()

    def plug_in(self):
        self.master, slave = os.openpty()
        tty.setraw(slave)
        self.link.unlink(missing_ok=True)
        self.link.symlink_to(os.ttyname(slave))
        os.close(slave)

    def unplug(self):
        self.link.unlink()
        os.close(self.master)
        self.master = -1

    def send(self, data):
        while data:
            data = data[os.write(self.master, data) :]

    def sent_to_it(self):
        return os.read(self.master, 4096)


@pytest.fixture
def cables(tmp_path):
    """Make cables by number."""
    made = []

    def make(number=0):
        made.append(Cable(tmp_path / f"usb-invented_adapter_{number}"))
        return made[-1]

    yield make
    for cable in made:
        with suppress(OSError):
            os.close(cable.master)


class Takings:
    """What a reader gave, gathered until something is there or 30 s are over."""

    def __init__(self, reader):
        self.reader = reader
        self.items = []

    def bytes_of(self, port):
        return b"".join(item.data for item in self.items if isinstance(item, Chunk) and item.port == port)

    def kinds(self, port=None):
        return [
            item.kind
            for item in self.items
            if not isinstance(item, Chunk) and (port is None or item.port == port)
        ]

    def until(self, is_there):
        deadline = time.monotonic() + 30
        while not is_there(self):
            assert time.monotonic() < deadline, (self.kinds(), self.items[-3:])
            item = self.reader.get(1.0)
            if item is not None:
                self.items.append(item)
        return self

    def rest(self):
        while (item := self.reader.get(0)) is not None:
            self.items.append(item)
        return self


@pytest.fixture
def takings():
    return Takings
