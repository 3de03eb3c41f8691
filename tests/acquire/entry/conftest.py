"""An invented bed on disk, and a scripted person at the prompt."""

from dataclasses import dataclass, field

import pytest

from acquire.entry.asking import Asker, Manner, enter_readings
from acquire.entry.under_way import Entry, stations_to_read
from acquire.model.traverse import Setup
from tests.invented import bed_toml, dial, level, survey_in

BED = bed_toml(
    800,
    name="invented lathe bed",
    faces=("way",),
    instruments={
        "level": level(),
        "vial": level(0.1, unit="mm/m", per_division=0.02),
        "dial": dial(0.5, resolution=1),
    },
)


@pytest.fixture
def survey(tmp_path):
    return survey_in(tmp_path, BED)


def setup_of(instrument="dial", **changes):
    quantity = "offset" if instrument == "dial" else "slope"
    reference = "line" if quantity == "offset" else None
    return Setup(instrument, quantity, BED, source="enter", face="way", reference=reference, **changes)


@dataclass
class Person:
    """Types the answers in turn, and remembers what was asked, said and kept."""

    answers: list[str]
    is_person: bool = True
    asked: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    kept: list = field(default_factory=list)
    waited: float = 0.0
    second: float = 0.0

    def ask(self, prompt):
        self.asked.append(prompt)
        return self.answers.pop(0) if self.answers else None

    def tick(self):
        self.second += 60.0
        return self.second

    def wait(self, seconds):
        self.waited += seconds

    def enters(self, setup, closing=False, lines=(), **manner):
        entry = Entry.begun(setup, stations_to_read(setup), lines, closing)
        asker = Asker(self.ask, self.said.append, self.tick, self.is_person, self.wait)
        return enter_readings(entry, asker, self.kept.append, Manner(**manner))

    @property
    def questions(self):
        return [words for words in self.said if words.startswith("?")]


@pytest.fixture
def setup():
    return setup_of


@pytest.fixture
def person():
    return Person
