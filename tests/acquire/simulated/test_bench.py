"""The stepped clock, over real pseudo-terminals and over sockets."""

import contextlib
import os
import socket
import threading
import time
from types import SimpleNamespace

import numpy as np
import pytest

from acquire.model.bed import Port
from acquire.model.recorded import Chunk
from acquire.receive.ports.reader import PortReader
from acquire.simulated.bench import Bench, SteppedClock
from acquire.simulated.catalogue import long_level, scale
from acquire.simulated.instruments import SimulatedInstrument, fixed_line
from acquire.simulated.motion import Hold, Mark, stepped
from acquire.simulated.performance import perform
from acquire.simulated.physics import Position
from acquire.simulated.ports import open_lines
from acquire.simulated.truth import InventedBed

BED = InventedBed(1)
needs_terminals = pytest.mark.skipif(not hasattr(os, "openpty"), reason="no pseudo-terminals here")


@pytest.fixture
def performance():
    script = stepped(np.arange(100.0, 501.0, 200.0), np.random.default_rng(1))
    return perform(BED, {"level": long_level("front-vee"), "scale": scale()}, script, 2)


def listen(bench, name, read, is_over, pause=lambda: None):
    """Take bytes as a recorder does; returns what came and the clock's time of each piece."""
    taken = []

    def run():
        while not is_over.is_set():
            data = read()
            if data:
                taken.append((bench.clock(), data))
                pause()
                bench.chunk(SimpleNamespace(port=name, time_s=0.0, data=data))

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    return taken, thread


def play(performance, loopback, pause=lambda: None):
    is_over = threading.Event()
    with open_lines(performance.sent, loopback) as ports, contextlib.ExitStack() as ends:
        bench = ends.enter_context(Bench(performance, ports, SteppedClock(50.0)))
        listeners = {}
        for name, port in ports.items():
            read = _reader(port.url, ends)
            listeners[name] = listen(bench, name, read, is_over, pause)
            bench.event(SimpleNamespace(port=name, time_s=0.0, kind="opened", text=""))
        bench.start(on_end=is_over.set)
        bench.join()
        for _, thread in listeners.values():
            thread.join(10)
    return {name: taken for name, (taken, _) in listeners.items()}


def _reader(url, ends):
    if url.startswith("socket://"):
        host, port = url.removeprefix("socket://").split(":")
        line = ends.enter_context(socket.create_connection((host, int(port))))
        line.settimeout(0.2)

        def read():
            with contextlib.suppress(TimeoutError):
                return line.recv(4096)
            return b""

        return read
    handle = os.open(url, os.O_RDONLY | os.O_NOCTTY | os.O_NONBLOCK)
    ends.callback(os.close, handle)

    def read_terminal():
        with contextlib.suppress(BlockingIOError):
            return os.read(handle, 4096)
        time.sleep(0.0002)
        return b""

    return read_terminal


@pytest.mark.parametrize("loopback", [pytest.param(False, marks=needs_terminals), True])
def test_every_byte_arrives_stamped_with_the_instant_it_was_sent_at(performance, loopback):
    taken = play(performance, loopback)
    for name, sent in performance.sent.items():
        assert b"".join(data for _, data in taken[name]) == sent.data
        stamps = np.array([time_s for time_s, data in taken[name]])
        assert np.isin(np.round(stamps - 50.0, 6), np.round(sent.time_s, 6)).all()


@pytest.mark.whole
@needs_terminals
def test_a_slow_listener_under_load_loses_nothing_and_gets_the_same_stamps(performance):
    lazy = np.random.default_rng(9)
    quick = play(performance, False)
    slow = play(performance, False, pause=lambda: time.sleep(float(lazy.uniform(0, 0.003))))

    def by_instant(pieces):
        merged = {}
        for time_s, data in pieces:
            merged[time_s] = merged.get(time_s, b"") + data
        return merged

    for name in performance.sent:
        assert by_instant(slow[name]) == by_instant(quick[name])


@needs_terminals
def test_operators_marks_are_pressed_at_their_instants():
    script = (0.0, [Hold(1.0), Mark("first"), Hold(1.0), Mark("second"), Hold(0.5)])
    ticking = SimulatedInstrument(Position(), fixed_line(2, 8), rate_hz=10)
    performance = perform(BED, {"scale": ticking}, script, 1)
    pressed, clock = [], SteppedClock()
    with open_lines(["scale"]) as ports:
        handle = os.open(ports["scale"].url, os.O_RDONLY | os.O_NOCTTY | os.O_NONBLOCK)
        with Bench(performance, ports, clock) as bench:
            over = threading.Event()
            bench.opened("scale")
            _, thread = listen(bench, "scale", lambda: _read_or_nothing(handle), over)
            bench.start(on_mark=lambda text: pressed.append((clock(), text)))
            bench.join()
            over.set()
            thread.join(10)
        os.close(handle)
    assert pressed == [(pytest.approx(1.0), "first"), (pytest.approx(2.0), "second")]


def _read_or_nothing(handle):
    with contextlib.suppress(BlockingIOError):
        return os.read(handle, 4096)
    return b""


@needs_terminals
def test_stopped_bench_ends_at_once_and_tells_it():
    performance = perform(BED, {"scale": scale()}, (0.0, [Hold(1000.0)]), 1)
    over = threading.Event()
    with open_lines(["scale"]) as ports:
        bench = Bench(performance, ports)
        bench.start(on_end=over.set)
        bench.stop()
        assert over.wait(30)
        bench.join()


def test_clock_never_steps_back():
    clock = SteppedClock(5.0)
    with pytest.raises(ValueError, match="back"):
        clock.step_to(4.9)


@pytest.mark.whole
@pytest.mark.parametrize("loopback", [pytest.param(False, marks=needs_terminals), True])
def test_port_reader_takes_every_byte_with_its_instant(performance, loopback):
    """The very reader that records, its chunks handed to the bench as to any observer."""
    clock, over = SteppedClock(7.0), threading.Event()
    pieces = {name: [] for name in performance.sent}
    with open_lines(performance.sent, loopback) as ports:
        specs = {name: Port(port.url) for name, port in ports.items()}
        with Bench(performance, ports, clock) as bench, PortReader(specs, clock) as reader:
            bench.start(on_end=over.set)
            while not over.is_set():
                found = reader.get(0.05)
                if isinstance(found, Chunk):
                    pieces[found.port].append(found)
                    bench.chunk(found)
                elif found is not None:
                    bench.event(found)
            bench.join()
    for name, sent in performance.sent.items():
        assert b"".join(piece.data for piece in pieces[name]) == sent.data
        stamps = np.array([piece.time_s for piece in pieces[name]]) - 7.0
        assert np.isin(np.round(stamps, 6), np.round(sent.time_s, 6)).all()
