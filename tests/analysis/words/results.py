"""Invented results that sentences are made of, and the rows of the tables they become."""

from types import SimpleNamespace as Made

import numpy as np

from analysis.words import tables

STATION = np.array([0.0, 500.0, 1000.0])
U = np.full(3, 3.0)


def cells(lines):
    """Rows of a table by its heads."""
    heads, *rows = (line.cells for line in lines if isinstance(line, tables.TableLine))
    return [dict(zip(heads, row, strict=True)) for row in rows]


def removal(guard_um: float = 0.0):
    return Made(
        station_mm=STATION, removal_um=np.array([0.0, 40.0, 20.0]), standard_uncertainty_um=U,
        guard_um=guard_um, mean_um=20.0, touching_mm=[0.0],
    )  # fmt: skip


def face_plan(**changes):
    described = {
        "face": "way", "removal": removal(), "nothing_to_see": False, "flank_um": None, "passes": (),
        "this_round_um": np.array([0.0, 20.0, 10.0]),
    }  # fmt: skip
    return Made(**(described | changes))


def drop():
    return Made(
        at_apron_um=np.array([10.0, 30.0, 20.0]), standard_uncertainty_um=U,
        at_apron_standard_uncertainty_um=U, station_mm=STATION,
        roll_um_per_m=np.zeros(3), rack_play_um=5.0, pressure_angle_deg=20.0, mill_off=(), assumptions=(),
    )  # fmt: skip
