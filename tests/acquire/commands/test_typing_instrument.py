"""An instrument that types like a keyboard, a foot switch and a presenter's remote, at a pseudo-terminal."""

import os
import select
import subprocess
import sys
import threading

import pytest

from acquire.store import files_of, read_traverse
from tests.invented import bed_toml, dial, survey_in
from tests.terminals import DEADLINE_S, gather, wait_for

pytestmark = [
    pytest.mark.whole,
    pytest.mark.skipif(not hasattr(os, "openpty"), reason="needs a pseudo-terminal"),
]
BED = bed_toml(500, faces=("way",), instruments={"dial": dial(0.5, resolution=1)})


class Desk:
    """A terminal with `waylog enter` on it, a hand and an instrument that types."""

    def __init__(self, survey, start):
        self.master, slave = os.openpty()
        self.shown, self.rung, self.read = bytearray(), 0, 0
        threading.Thread(target=gather, args=(self.master, self.shown), daemon=True).start()
        words = ["enter", str(survey), "way", "-i", "dial", "-r", "line"]
        self.process = start(
            [sys.executable, "-m", "acquire.cli", *words],
            stdin=slave, stdout=slave, stderr=subprocess.STDOUT, env={**os.environ, "TERM": "xterm"},
        )  # fmt: skip
        os.close(slave)

    def rings(self, times):
        """So many bells were rung since it was asked last."""
        wait_for(lambda: self.shown.count(b"\a") >= self.rung + times, f"{times} bells")
        self.rung += times
        assert self.shown.count(b"\a") == self.rung

    def says(self, words):
        wait_for(lambda: words.encode() in self.shown[self.read :], words)
        self.read = self.shown.index(words.encode(), self.read) + len(words.encode())

    def by_instrument(self, text):
        select.select([], [], [], 1.1)  # nobody is at the next station sooner
        os.write(self.master, text)

    def by_hand(self, text):
        for key in text:
            select.select([], [], [], 0.12)  # as quick as a practised hand
            os.write(self.master, bytes([key]))


def test_readings_come_in_bursts_and_only_the_hand_answers_a_question(tmp_path, start):
    survey_in(tmp_path, BED)
    desk = Desk(tmp_path, start)
    for station, text in ((0, b"+003 um\t"), (100, b"+004 um\t"), (200, b"+0.003 mm\r")):
        desk.says(f"{station} mm, {station // 100 + 1} of 6")
        desk.by_instrument(text)
    desk.says("300 mm, 4 of 6")
    desk.rings(3)
    desk.by_instrument(b"+400 um\r")
    desk.says("read again (a: by the instrument's key), or k keeps +400 um")
    desk.rings(2)
    desk.by_instrument(b"+004 um\r")
    desk.says("came while a question stands, and is not taken")
    desk.by_hand(b"a\n")
    desk.says("its key now")
    desk.by_instrument(b"+004 um\r\n")
    desk.says("400 mm, 5 of 6")
    desk.by_hand(b"5\n")
    desk.says("500 mm, 6 of 6")
    os.write(desk.master, b"\x1b[5~")  # Page Up of a presenter's remote: back
    desk.says("400 mm, 5 of 6")
    desk.by_hand(b"n\n")
    desk.says("500 mm, 6 of 6")
    desk.by_instrument(b"6\t")
    desk.says("traverse 1")
    assert desk.process.wait(DEADLINE_S) == 0
    stations = read_traverse(files_of(tmp_path)[1]).stations
    assert stations.station_mm.tolist() == [0, 100, 200, 300, 400, 500]
    assert stations.reading.tolist() == pytest.approx([3, 4, 3, 4, 5, 6])
    assert stations.note[3] == "first read +400 um"
