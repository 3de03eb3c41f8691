"""Pseudo-terminals that instruments speak on and people sit at, and waiting for what must come."""

import os
import pty
import select
import time
import tty

DEADLINE_S = 60.0


class Line:
    """A pseudo-terminal that an instrument speaks on, behind a link with a lasting name."""

    def __init__(self, link):
        self.link = link
        self.plug_in()

    def plug_in(self):
        self.master, self._slave = pty.openpty()
        tty.setraw(self._slave)
        self.link.unlink(missing_ok=True)
        self.link.symlink_to(os.ttyname(self._slave))

    def pull_out(self):
        os.close(self.master)
        os.close(self._slave)
        self.link.unlink()

    def send(self, data: bytes):
        os.write(self.master, data)


def gather(handle, into: bytearray):
    """All that a program writes to a terminal, until it is gone."""
    while True:
        try:
            into += os.read(handle, 4096)
        except OSError:
            return


def wait_for(is_so, what):
    """Wait until `is_so()`, a minute at most."""
    end = time.monotonic() + DEADLINE_S
    while not is_so():
        assert time.monotonic() < end, f"waited {DEADLINE_S:.0f} s for {what}"
        select.select([], [], [], 0.02)
