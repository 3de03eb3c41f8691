"""Shared by the tests of the analysis: published cases kept whole, and traverses made in memory."""

import itertools
import tomllib
from pathlib import Path

import pytest

from acquire.model.bed_toml.reading import parse_bed
from tests.invented import bed_toml, caliper, cross_level, dial, flat, level, traverse, vee


@pytest.fixture
def reference_case():
    """Load a case of tests/references by the name of its file."""
    folder = Path(__file__).parent.parent / "references"

    def load(name: str) -> dict:
        text = (folder / f"{name}.toml").read_text(encoding="utf-8")
        assert "# Source:" in text and "# Standing:" in text
        return tomllib.loads(text)

    return load


@pytest.fixture
def make_traverse(from_one):
    """Build a traverse in memory, numbered 1, 2, ... in the order made.

    `make_traverse(bed, instrument, station_mm, reading, face="front-flat", ...)`: bed is a `Bed`
    from `parse_bed`; readings are in contract units; keyword arguments beyond those named here
    go to `Setup` (face, front, rear, other, inside, reference, direction, turned, turned_over,
    same_zero_as, state, number, ...).
    """
    return from_one()


@pytest.fixture(scope="session")
def from_one():
    """Makes what `make_traverse` is, its numbers from 1: for surveys that a whole file of tests asks."""
    return _numbering


def _numbering():
    numbers = itertools.count(1)

    def make(bed, instrument, station_mm, reading, **about):
        return traverse(bed, instrument, station_mm, reading, **{"number": next(numbers), **about})

    return make


@pytest.fixture(scope="session")
def invented_bed():
    """Make a bed (invented): two flats, a vee ridge, side and under faces, and instruments on request.

    `invented_bed(length_mm=1000, pitch_mm=100, bed="...", instruments={"level": "quantity = ..."},
    more="...", feet={...})`: `more` is text of further keys and tables.
    """

    def make(length_mm=1000, pitch_mm=100, bed="", instruments=None, faces=None, more="", **tables):
        text = bed_toml(
            length_mm,
            pitch_mm,
            name="invented bed",
            bed=bed,
            faces=FACES if faces is None else faces,
            instruments=instruments or INSTRUMENTS,
            **tables,
        )
        return parse_bed(text + more)

    return make


FACES = {
    "front-flat": flat(0),
    "rear-flat": flat(300),
    "vee": vee(100),
    "front-under": {"normal": "down", "across_mm": 0},
    "front-side": {"normal": "front", "across_mm": -20},
    "rear-side": {"normal": "rear", "across_mm": 320},
}
INSTRUMENTS = {
    "level": level(base_mm=100, seating_um=0.0),
    "long-level": level(seating_um=0.0),
    "cross": cross_level(seating_um=0.0),
    "dial": dial(seating_um=0.0),
    "caliper": caliper(seating_um=0.0),
}
