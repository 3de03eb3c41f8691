"""Shared by the tests of the analysis: published cases kept whole, and traverses made in memory."""

import itertools
import tomllib
from pathlib import Path

import numpy as np
import pytest

from acquire.model.bed_toml.reading import parse_bed
from acquire.model.traverse import Events, Setup, Stations, Traverse


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
def make_traverse():
    """Build a traverse in memory, numbered 1, 2, ... in the order made.

    `make_traverse(bed, instrument, station_mm, reading, face="front-flat", ...)`: bed is a `Bed`
    from `parse_bed`; readings are in contract units; keyword arguments beyond those named here
    go to `Setup` (face, front, rear, other, inside, reference, direction, turned, turned_over,
    same_zero_as, state, number, ...).
    """
    numbers = itertools.count(1)

    def make(
        bed,
        instrument,
        station_mm,
        reading,
        *,
        mode="stepped",
        scatter=0.0,
        standard_uncertainty=None,
        repeat=None,
        time_s=None,
        complete=True,
        **setup,
    ):
        described = bed.instruments[instrument]
        station_mm, reading = np.asarray(station_mm, float), np.asarray(reading, float)
        order = np.argsort(station_mm, kind="stable")
        count = len(station_mm)
        scatter = np.broadcast_to(np.asarray(scatter, float), count)
        total = np.hypot(
            scatter, described.uncertainty if standard_uncertainty is None else standard_uncertainty
        )
        stations = Stations(
            station_mm[order],
            reading[order],
            total[order],
            scatter[order],
            np.ones(count, int),
            (np.ones(count, int) if repeat is None else np.asarray(repeat, int))[order],
            (np.full(count, np.nan) if time_s is None else np.asarray(time_s, float))[order],
        )
        setup.setdefault("number", next(numbers))
        setup.setdefault("source", "enter")
        described_setup = Setup(
            instrument=instrument, quantity=described.quantity, bed_toml=bed.text, **setup
        )
        return Traverse(described_setup, {}, stations, Events.none(), mode, complete)

    return make


@pytest.fixture
def invented_bed():
    """Make a bed (invented): two flats, a vee ridge, side and under faces, and instruments on request.

    `invented_bed(length_mm=1000, pitch_mm=100, bed="...", instruments={"level": "quantity = ..."},
    more="...")`: text of further keys and tables.
    """

    def make(length_mm=1000, pitch_mm=100, bed="", instruments=None, faces=None, more=""):
        faces = FACES if faces is None else faces
        tables = [
            f'[bed]\nname = "invented bed"\nlength_mm = {length_mm}\nstation_pitch_mm = {pitch_mm}\n{bed}'
        ]
        tables += [f"[faces.{name}]\n{text}" for name, text in faces.items()]
        tables += [f"[instruments.{name}]\n{text}" for name, text in (instruments or INSTRUMENTS).items()]
        return parse_bed("\n".join((*tables, more)))

    return make


FACES = {
    "front-flat": 'normal = "up"\nacross_mm = 0',
    "rear-flat": 'normal = "up"\nacross_mm = 300',
    "vee": 'normal = "up"\nshape = "vee"\nform = "ridge"\nvee_angle_deg = 90\nacross_mm = 100',
    "front-under": 'normal = "down"\nacross_mm = 0',
    "front-side": 'normal = "front"\nacross_mm = -20',
    "rear-side": 'normal = "rear"\nacross_mm = 320',
}
SURE = "standard_uncertainty = 1.0\nseating_um = 0.0"
INSTRUMENTS = {
    "level": f'quantity = "slope"\nunit = "um/m"\nbase_mm = 100\n{SURE}',
    "long-level": f'quantity = "slope"\nunit = "um/m"\nbase_mm = 200\n{SURE}',
    "cross": f'quantity = "roll"\nunit = "um/m"\n{SURE}',
    "dial": f'quantity = "offset"\nunit = "um"\n{SURE}',
    "caliper": f'quantity = "span"\nunit = "um"\n{SURE}',
}
