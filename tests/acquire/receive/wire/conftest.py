"""Instruments for the tests of the wire, and the damaged streams of the benchmark."""

import asyncio
import importlib.util
import os
import select
import sys
import threading
import tty
from pathlib import Path

import pytest

from acquire.model.bed import Instrument


@pytest.fixture(scope="session")
def wire_fuzz():
    """The generator of damaged streams, as a module."""
    path = Path(__file__).parents[3] / "benchmarks" / "wire_fuzz.py"
    description = importlib.util.spec_from_file_location("wire_fuzz", path)
    module = importlib.util.module_from_spec(description)
    sys.modules["wire_fuzz"] = module
    description.loader.exec_module(module)
    return module


@pytest.fixture
def level_with():
    """A level (µm/m) with the wire table given by keywords."""

    def described(**wire):
        options = wire.pop("instrument", {})
        described_as = {"unit": "um/m", **options}
        return Instrument("level", "slope", wire={"kind": "lines", **wire}, **described_as)

    return described


@pytest.fixture
def dial_with():
    """An indicator (mm) with the wire table given by keywords."""

    def described(**wire):
        options = {"unit": "mm", **wire.pop("instrument", {})}
        return Instrument("dial", "offset", wire=wire, **options)

    return described


@pytest.fixture
def modbus_server():
    """Start a pymodbus server on a pair of pseudo-terminals with these registers; gives the port."""
    started = []

    def start(registers):
        server = _Server(registers)
        started.append(server)
        return server.url

    yield start
    for server in started:
        server.stop()


class _Server:
    """A Modbus RTU server of pymodbus behind two pseudo-terminals whose masters are joined."""

    def __init__(self, registers):
        ours, theirs = os.openpty(), os.openpty()
        for pair in (ours, theirs):
            tty.setraw(pair[1])
        self.url = os.ttyname(ours[1])
        self._descriptors = [*ours, *theirs]
        self._stop = threading.Event()
        relay = threading.Thread(target=self._relay, args=(ours[0], theirs[0]), daemon=True)
        self._loop = asyncio.new_event_loop()
        self._ready = threading.Event()
        serving = threading.Thread(
            target=self._loop.run_until_complete,
            args=(self._serve(os.ttyname(theirs[1]), registers),),
            daemon=True,
        )
        self._threads = [relay, serving]
        for thread in self._threads:
            thread.start()
        assert self._ready.wait(20)

    async def _serve(self, device, registers):
        from pymodbus import FramerType
        from pymodbus.server import ModbusSerialServer
        from pymodbus.simulator import DataType, SimData, SimDevice

        values = [registers.get(number, 0) for number in range(max(registers) + 1)]
        device_model = SimDevice(1, simdata=[SimData(0, values=values, datatype=DataType.REGISTERS)])
        server = ModbusSerialServer(device_model, framer=FramerType.RTU, port=device, baudrate=19200)
        await server.serve_forever(background=True)
        self._ready.set()
        while not self._stop.is_set():
            await asyncio.sleep(0.02)
        await server.shutdown()

    def _relay(self, one, other):
        while not self._stop.is_set():
            for source in select.select([one, other], [], [], 0.05)[0]:
                os.write(other if source == one else one, os.read(source, 4096))

    def stop(self):
        self._stop.set()
        for thread in self._threads:
            thread.join(5)
        self._loop.close()
        for descriptor in self._descriptors:
            os.close(descriptor)
