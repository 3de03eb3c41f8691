"""What a session at the bench says: figures that were found, what speaks against them, names that stay."""

import dataclasses
from types import SimpleNamespace

import numpy as np
import pytest

from acquire.bench.identify import stable_name
from acquire.bench.seating import Seating
from acquire.bench.still import still_record
from acquire.bench.words import seating_words, state_words, still_words
from acquire.model.bed import Instrument
from acquire.receive.ports.naming import Found

LEVEL = Instrument("level", "slope", "um/m", base_mm=200)
T = np.arange(0, 700, 0.05)
QUIET = still_record(T, np.random.default_rng(5).normal(40, 1.0, T.size).round(2), 3.0)


def said(**found):
    return "\n".join(still_words(LEVEL, dataclasses.replace(QUIET, **found)))


def test_scatter_of_single_samples_would_promise_less_by_the_root_of_their_number():
    """60 samples to a station of 3 s at 20 a second: 1/√60 = 0.13."""
    assert "single samples scatter by 1 µm/m, which would promise 0.13" in said(sample_scatter=1.0)


@pytest.mark.parametrize("drift", [1.0, -1.0])
def test_drift_that_is_not_seen_is_bounded_by_what_was_seen_and_twice_its_standard_uncertainty(drift):
    assert "no drift seen (less than 9 µm/m an hour)" in said(
        drift_per_hour=drift, drift_uncertainty_per_hour=4.0
    )


def test_figures_of_the_bench_stand_with_twice_their_standard_uncertainty():
    assert "drifts by 30 ± 8 µm/m an hour" in said(drift_per_hour=30.0, drift_uncertainty_per_hour=4.0)
    assert "is good to 0.13 µm/m ± 0.06 µm/m" in said(dwell_scatter_uncertainty=0.03)
    found = Seating(placings=10, scatter=3.5, seating_um=0.5, uncertainty_um=0.1, drift=0.0)
    assert "differs by 0.5 ± 0.2 µm (seating_um)" in seating_words(LEVEL, found)[0]


@pytest.mark.parametrize(("lasted_s", "is_short"), [(299.0, True), (301.0, False)])
def test_short_record_is_called_one(lasted_s, is_short):
    assert ("a short record" in said(lasted_s=lasted_s)) is is_short


def test_record_that_was_disturbed_says_when_and_is_not_to_be_used():
    assert "something moved it at 1:05: nothing is written from this" in said(disturbed_s=(65.0,))
    assert "something moved it" not in said(disturbed_s=())


PATHS = ("/dev/serial/by-path/pci-1", "/dev/serial/by-path/pci-2")


def test_two_adapters_alike_in_all_but_their_socket_are_called_by_their_sockets():
    """Cheap adapters share one serial number: called by it, readings would go on under the other's name."""
    twins = [
        Found(f"/dev/ttyUSB{n}", 0x1234, 0x5678, "0001", links=(f"/dev/serial/by-id/twin-{n}", path))
        for n, path in enumerate(PATHS)
    ]
    assert [stable_name(each, twins) for each in twins] == list(PATHS)
    assert stable_name(twins[0], twins[:1]) == "usb:1234:5678:0001"


def test_adapter_without_a_serial_number_is_called_by_its_socket():
    one = Found("/dev/ttyUSB0", 0x1234, 0x5678, None, links=("/dev/serial/by-id/some", PATHS[0]))
    assert stable_name(one, [one]) == PATHS[0]


@pytest.mark.parametrize(("per_division", "unit"), [(None, "µm/m"), (20.0, "div")])
def test_spread_has_the_unit_that_the_instrument_shows(per_division, unit):
    level = Instrument("level", "slope", "um/m", base_mm=200, per_division=per_division)
    health = SimpleNamespace(rate_hz=20.0, age_s=0.0, counts={}, words=lambda: [])
    shown = state_words(SimpleNamespace(instrument=level, health=health, spread=23.4, trouble=""))
    assert shown[1] == f"spread 23.4 {unit} in 5 s   garbled 0"
