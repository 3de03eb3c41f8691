"""An evening at a machine: an invented bed, a person who reads, moves feet and scrapes, and what is said.

The truth is made here from a section that moves as a body (rise and roll), a second piece that may lie
otherwise, and metal that is gone.  Nothing of the analysis is used to make it.
"""

import json
import os
import select
import shutil
import subprocess
import sys
from dataclasses import dataclass, field

import numpy as np
import pytest

from acquire.cli import main
from acquire.entry.typed_by import AT_ONCE_S

DEADLINE_S = 120


def shown_at(master):
    """What a program wrote next to its terminal; nothing once it has ended."""
    try:
        return os.read(master, 4096).decode(errors="replace")
    except OSError:
        return ""


@dataclass
class Machine:
    """The true bed: heights of every face are rise + roll · across + what scraping and wear left of it."""

    x: np.ndarray
    across: dict
    metal: dict
    """Of each face, µm: wear below 0."""
    rise: np.ndarray
    roll: np.ndarray
    """µm/m"""
    own: dict = field(default_factory=dict)

    def height(self, face):
        """Heights of a face that looks up, µm."""
        return self.rise + self.roll * self.across[face] / 1000 + self.metal[face]


@dataclass
class Evening:
    """A survey folder, the machine, the person's instruments, and the commands."""

    folder: object
    bed_toml: str
    machine: Machine
    rng: np.random.Generator
    capsys: object
    told: list = field(default_factory=list)

    def begin(self, folder):
        """A new survey folder of the same machine."""
        self.folder = folder
        (folder / "traverses").mkdir(parents=True)
        (folder / "bed.toml").write_text(self.bed_toml, encoding="utf-8")

    def ask(self, *words):
        """One command's answer from its --json."""
        assert main([*words, "--json"]) == 0, self.capsys.readouterr().err
        return json.loads(self.capsys.readouterr().out)

    def hear(self, *words):
        """One command's words."""
        assert main(list(words)) == 0, self.capsys.readouterr().err
        self.told.append(self.capsys.readouterr().out)
        return self.told[-1]

    def refuse(self, *words):
        """What a command says that ends with 1."""
        assert main(list(words)) == 1
        return self.capsys.readouterr().err

    def write(self, station_mm, reading, *words):
        """Readings by CSV, in the instrument's unit."""
        path = self.folder / "run.csv"
        rows = [f"{mm:.6g},{value:.4f}" for mm, value in zip(station_mm, reading, strict=True)]
        path.write_text("station_mm,reading\n" + "\n".join(rows) + "\n")
        assert main(["import", str(self.folder), str(path), *words]) == 0, self.capsys.readouterr().err
        self.capsys.readouterr()

    def type(self, reading, *words):
        """Readings typed at a pseudo-terminal, each when asked for, at a hand's pace; doubts are kept."""
        left, told, typed = [f"{value:.4g}" for value in reading], "", ""
        master, slave = os.openpty()
        person = subprocess.Popen(
            [sys.executable, "-m", "acquire.cli", "enter", str(self.folder), *words],
            stdin=slave, stdout=slave, stderr=slave,
        )  # fmt: skip
        os.close(slave)
        try:
            answered = 0
            while part := shown_at(master):
                told += part
                last = told[answered:].rsplit("\n", 1)[-1]
                if typed and last.endswith(typed):  # seen by the program: what ends it later is no burst
                    select.select([], [], [], 2 * AT_ONCE_S * len(typed))
                    answered, typed = len(told), ""
                    os.write(master, b"\n")
                elif not typed and last.endswith(": "):
                    answered = len(told)
                    typed = "k" if "k keeps" in last else left.pop(0) if left else "q"
                    os.write(master, typed.encode())
            person.wait(DEADLINE_S)
        finally:
            person.kill()
            os.close(master)
        assert person.returncode == 0, told
        return told

    def level(self, face, instrument, sigma_um_per_m, per_unit=1.0, *, by_hand=False):
        """A level stepped along a face by the pitch, there and back; the way out may be typed."""
        x = self.machine.x
        slope = np.diff(self.machine.height(face)) / np.diff(x) * 1000
        for direction in ("forward", "reverse"):
            read = (slope + self.rng.normal(0, sigma_um_per_m, slope.size)) / per_unit
            words = (face, "--instrument", instrument, "--direction", direction)
            if by_hand and direction == "forward":
                self.type(read, *words)
            else:
                order = slice(None, None, 1 if direction == "forward" else -1)
                middle = ((x[:-1] + x[1:]) / 2)[order]
                self.write(middle, read[order], "--face", *words)

    def cross_level(self, front, rear, instrument, sigma_um_per_m, per_unit=1.0):
        """A level across two faces at every station."""
        gauge = self.machine.across[rear] - self.machine.across[front]
        roll = (self.machine.height(rear) - self.machine.height(front)) / gauge * 1000
        read = (roll + self.rng.normal(0, sigma_um_per_m, roll.size)) / per_unit
        self.write(self.machine.x, read, "--across", front, rear, "--instrument", instrument)

    def keep_copy(self, folder):
        """The survey as it stands, before the work."""
        shutil.copytree(self.folder, folder)
        return str(folder)

    def scrape(self, plan, errs=0.3):
        """Take off what the plan says for this round, every depth wrong by some 30 %."""
        for face, each in plan["plans"].items():
            station = np.array(each["removal"]["station_mm"])
            wanted = np.array(each["this_round_um"])
            here = np.interp(self.machine.x, station, wanted)
            wrong = 1 + errs * np.clip(self.rng.standard_normal(here.size), -2, 2)
            self.machine.metal[face] = self.machine.metal[face] - here * wrong


def straight(height_um, station_mm):
    """Heights from the line through the ends."""
    line = np.interp(station_mm, station_mm[[0, -1]], height_um[[0, -1]])
    return height_um - line


@pytest.fixture
def evening(tmp_path, capsys):
    """Begins an evening at a machine."""

    def begin(bed_toml, machine, seed):
        made = Evening(None, bed_toml, machine, np.random.default_rng(seed), capsys)
        made.begin(tmp_path / "first")
        return made

    return begin


@pytest.fixture
def make_machine():
    """An invented bed; faces that are not named have lost no metal."""

    def make(x, across, metal, rise, roll):
        whole = {face: np.array(metal.get(face, 0 * x), float) for face in across}
        return Machine(x, across, whole, np.array(rise, float), np.array(roll, float))

    return make
