"""The reader over real pseudo-terminals, sockets and pyserial's other ports; unplugging closes a master."""

import os
import select
import socket
import struct
import termios
import threading
from pathlib import Path

import pytest
import serial

from acquire.model.bed import Port
from acquire.model.errors import PortError
from acquire.model.recorded import Chunk, Event
from acquire.receive.ports.asking import Request
from acquire.receive.ports.opening import OPENING_FAULTS, PORT_FAULTS, close_port, open_port
from acquire.receive.ports.reader import PortReader


def test_bytes_come_whole_in_order_and_each_with_its_time(cables, takings):
    cable = cables()
    sent = b"".join(b"%07d\r\n" % number for number in range(3000))
    with PortReader({"level": Port(str(cable.link))}) as reader:
        thread = threading.Thread(target=cable.send, args=(sent,))
        thread.start()
        got = takings(reader).until(lambda t: len(t.bytes_of("level")) == len(sent))
        thread.join()
    assert got.bytes_of("level") == sent
    times = [item.time_s for item in got.items]
    assert times == sorted(times)
    assert got.kinds()[0] == "opened"


def test_many_ports_are_read_side_by_side(cables, takings):
    made = {f"instrument-{number}": cables(number) for number in range(6)}
    with PortReader({name: Port(str(cable.link)) for name, cable in made.items()}) as reader:
        for turn in range(50):
            for name, cable in made.items():
                cable.send(f"{name} {turn}\n".encode())
        got = takings(reader).until(lambda t: all(t.bytes_of(name).count(b"\n") == 50 for name in made))
    for name in made:
        assert got.bytes_of(name).decode() == "".join(f"{name} {turn}\n" for turn in range(50))


def test_bytes_that_came_just_before_the_end_are_kept(cables, takings):
    cable = cables()
    with PortReader({"level": Port(str(cable.link))}) as reader:
        got = takings(reader).until(lambda t: "opened" in t.kinds())
        cable.send(b"+1.5\r\n")
    assert got.rest().bytes_of("level") == b"+1.5\r\n"


def test_unplugged_port_is_told_closed_found_again_and_read_on(cables, takings):
    cable, other = cables(0), cables(1)
    specs = {"level": Port(str(cable.link)), "scale": Port(str(other.link))}
    with PortReader(specs, retry_s=0.05) as reader:
        cable.send(b"before\n")
        got = takings(reader).until(lambda t: t.bytes_of("level") == b"before\n")
        cable.unplug()
        got.until(lambda t: "lost" in t.kinds("level"))
        other.send(b"meanwhile\n")
        got.until(lambda t: t.bytes_of("scale") == b"meanwhile\n")
        cable.plug_in()
        got.until(lambda t: "reopened" in t.kinds("level"))
        cable.send(b"after\n")
        got.until(lambda t: t.bytes_of("level") == b"before\nafter\n")
    assert got.kinds("scale") == ["opened", "latency"]
    lost = next(item for item in got.items if isinstance(item, Event) and item.kind == "lost")
    assert lost.text.startswith("level: the port has gone")


def open_files():
    return len(list(Path("/proc/self/fd").iterdir()))


def test_port_unplugged_many_times_leaves_no_open_files_behind(cables, takings):
    cable = cables()
    with PortReader({"level": Port(str(cable.link))}, retry_s=0.01) as reader:
        got = takings(reader).until(lambda t: "opened" in t.kinds())
        before = open_files()
        for turn in range(1, 11):
            cable.unplug()
            got.until(lambda t, turn=turn: t.kinds().count("lost") == turn)
            cable.plug_in()
            got.until(lambda t, turn=turn: t.kinds().count("reopened") == turn)
        assert open_files() <= before + 1


def hung_up():
    """A pyserial port whose device has just gone."""
    master, slave = os.openpty()
    port = serial.Serial(os.ttyname(slave), timeout=0)
    os.close(slave)
    os.close(master)
    return port


@pytest.mark.parametrize(
    ("call", "raised"),
    [
        (lambda port: port.read(1), serial.SerialException),
        (lambda port: port.readline(), serial.SerialException),
        (lambda port: port.in_waiting, OSError),
        (lambda port: port.cts, OSError),
        (lambda port: port.write(b"?"), serial.SerialException),
        (lambda port: port.reset_input_buffer(), termios.error),
        (lambda port: port.flush(), termios.error),
    ],
)
def test_every_way_in_which_a_gone_port_complains_is_a_port_fault(call, raised):
    port = hung_up()
    with pytest.raises(raised) as caught:
        call(port)
    port.close()
    assert isinstance(caught.value, PORT_FAULTS)


@pytest.mark.statistics
def test_gone_terminal_reads_as_nothing_and_is_not_asked_again(cables, takings):
    """A hung-up terminal is always ready and gives nothing: a loop that does not close it would spin."""
    cable = cables()
    with PortReader({"level": Port(str(cable.link))}, retry_s=60) as reader:
        got = takings(reader).until(lambda t: "opened" in t.kinds())
        cable.unplug()
        got.until(lambda t: "lost" in t.kinds())
        cpu = sum(os.times()[:2])
        assert reader.get(0.5) is None
        assert sum(os.times()[:2]) - cpu < 0.3
    assert got.rest().kinds().count("lost") == 1


def test_write_to_a_lost_port_is_refused_and_to_an_unknown_one_too(cables, takings):
    cable = cables()
    with PortReader({"level": Port(str(cable.link))}, retry_s=60) as reader:
        reader.write("level", b"START\r\n")
        assert cable.sent_to_it() == b"START\r\n"
        got = takings(reader)
        cable.unplug()
        got.until(lambda t: "lost" in t.kinds())
        with pytest.raises(PortError, match="gone"):
            reader.write("level", b"START\r\n")
        with pytest.raises(PortError, match="no port of this recording"):
            reader.write("dial", b"?")


def test_second_program_cannot_take_the_port_and_steal_bytes(cables, takings):
    cable = cables()
    with PortReader({"level": Port(str(cable.link))}) as reader:
        with pytest.raises(PortError, match="in use by another program"):
            PortReader({"thief": Port(str(cable.link))}).__enter__()
        cable.send(b"all of it\n")
        takings(reader).until(lambda t: t.bytes_of("level") == b"all of it\n")


def test_ports_that_cannot_be_opened_are_all_named_and_none_stays_open(cables, tmp_path):
    cable = cables()
    (tmp_path / "notes.txt").write_text("no port")
    specs = {
        "good": Port(str(cable.link)),
        "missing": Port(str(tmp_path / "usb-nothing")),
        "file": Port(str(tmp_path / "notes.txt")),
        "unplugged": Port("usb:FFFF:FFFE:none"),
    }
    with pytest.raises(PortError) as caught:
        PortReader(specs).__enter__()
    assert all(word in str(caught.value) for word in ("usb-nothing", "notes.txt", "FFFF:FFFE"))
    handle, _ = open_port(Port(str(cable.link)), str(cable.link.resolve()))
    handle.close()


@pytest.mark.parametrize("wrong", [Port("loop://", baud=10**10), Port("nonsense://x"), Port("COM99")])
def test_settings_and_names_that_cannot_be_are_port_errors(wrong):
    with pytest.raises(PortError):
        PortReader({"x": wrong}).__enter__()


def test_silent_port_is_told_with_what_to_check_and_so_is_its_return(cables, takings):
    cable = cables()
    with PortReader({"level": Port(str(cable.link), baud=4800)}, silent_after_s=0.05) as reader:
        got = takings(reader).until(lambda t: "silent" in t.kinds())
        cable.send(b"+1\n")
        got.until(lambda t: t.bytes_of("level") == b"+1\n")
    text = next(item.text for item in got.items if isinstance(item, Event) and item.kind == "silent")
    assert all(word in text for word in ("0.05 s", "switched on", "4800 baud", "wiring"))
    assert got.kinds()[-1] == "speaking" or "speaking" in got.kinds()


def test_missing_low_latency_mode_is_said(cables, takings):
    with PortReader({"level": Port(str(cables().link))}) as reader:
        takings(reader).until(lambda t: "latency" in t.kinds())


def test_asked_instrument_is_asked_on_time_and_every_request_is_told(cables, takings):
    cable = cables()
    asked = {"dial": [Request("dial", b"?\r", 0.01)]}
    answers = threading.Thread(target=answer, args=(cable, 20))
    with PortReader({"dial": Port(str(cable.link))}, requests=asked) as reader:
        answers.start()
        got = takings(reader).until(lambda t: t.bytes_of("dial").count(b"\r") == 20)
        answers.join()
    requests = [item for item in got.items if isinstance(item, Event) and item.kind == "asked"]
    assert {item.text for item in requests} == {"dial: dial"}
    assert len(requests) >= 20
    firsts = [item for item in got.items if isinstance(item, Chunk) or item.kind == "asked"]
    assert isinstance(firsts[0], Event) and isinstance(firsts[1], Chunk)


def answer(cable, times):
    for number in range(times):
        request = b""
        while not request.endswith(b"?\r"):
            request += cable.sent_to_it()
        cable.send(b"%d\r" % number)


def test_slow_taker_makes_the_reader_wait_and_nothing_is_thrown_away(cables, takings):
    cable = cables()
    with PortReader({"level": Port(str(cable.link))}, most_batches=2) as reader:
        sent = b""
        for number in range(200):
            line = b"%05d\n" % number
            cable.send(line)
            sent += line
            if reader.stalls:
                break
            threading.Event().wait(0.005)
        assert reader.stalls >= 1
        got = takings(reader).until(lambda t: t.bytes_of("level") == sent)
    assert "behind" in got.rest().kinds()
    assert reader.stalled_s > 0


def test_clock_is_the_one_handed_in(cables, takings):
    cable = cables()
    with PortReader({"level": Port(str(cable.link))}, clock=lambda: 1234.5) as reader:
        cable.send(b"+1\n")
        got = takings(reader).until(lambda t: t.bytes_of("level") == b"+1\n")
    assert {item.time_s for item in got.items} == {1234.5}


@pytest.mark.statistics
def test_network_port_is_read_lost_and_found_again(takings):
    with socket.create_server(("127.0.0.1", 0)) as server:
        url = f"socket://127.0.0.1:{server.getsockname()[1]}"
        with PortReader({"scale": Port(url)}, retry_s=0.05) as reader:
            peer, _ = server.accept()
            peer.sendall(b"12.5\n" * 2000)
            got = takings(reader).until(lambda t: len(t.bytes_of("scale")) == 10_000)
            assert max(len(item.data) for item in got.items if isinstance(item, Chunk)) > 50
            peer.close()
            got.until(lambda t: "lost" in t.kinds())
            peer, _ = server.accept()
            got.until(lambda t: "reopened" in t.kinds())  # opening discards what came before it
            peer.sendall(b"again\n")
            got.until(lambda t: t.bytes_of("scale").endswith(b"again\n"))
            reader.write("scale", b"STOP")
            assert peer.recv(10) == b"STOP"
            peer.close()


def test_network_port_that_was_reset_is_closed():
    """A reset connection cannot be shut down, and pyserial's own `close` goes no further then."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        handle, _ = open_port(Port(url := f"socket://127.0.0.1:{server.getsockname()[1]}"), url)
        connection, (peer, _) = handle._socket, server.accept()
        peer.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))  # closing resets
        peer.close()
        select.select([connection], [], [])
        close_port(handle)
        assert connection.fileno() == -1


def test_port_that_pyserial_itself_must_read_survives_its_unplugging(cables, takings, monkeypatch):
    """As every port is read on Windows: both classes of fault come from its two calls."""
    monkeypatch.setattr("acquire.receive.ports.line.is_pollable", lambda handle: False)
    cable = cables()
    with PortReader({"level": Port(str(cable.link))}, retry_s=0.05) as reader:
        cable.send(b"+1\n")
        got = takings(reader).until(lambda t: t.bytes_of("level") == b"+1\n")
        cable.unplug()
        got.until(lambda t: "lost" in t.kinds())
        cable.plug_in()
        got.until(lambda t: "reopened" in t.kinds())
        cable.send(b"+2\n")
        got.until(lambda t: t.bytes_of("level") == b"+1\n+2\n")


def test_connection_reset_while_a_remote_port_is_opened_is_closed_too(monkeypatch):
    """pyserial closes such a port itself, and forgets the connection that it could not shut down."""
    from serial import rfc2217

    made, plain = [], rfc2217.socket.create_connection

    def connected(*asked, **how):
        made.append(plain(*asked, **how))
        peer, _ = server.accept()
        peer.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))  # closing resets
        peer.close()
        return made[0]

    with socket.create_server(("127.0.0.1", 0)) as server:
        monkeypatch.setattr(rfc2217.socket, "create_connection", connected)
        url = f"rfc2217://127.0.0.1:{server.getsockname()[1]}"
        with pytest.raises(PortError):
            open_port(Port(url), url)
    assert made[0].fileno() == -1


@pytest.mark.statistics
def test_remote_port_is_read(takings):
    """The server is pyserial's own (RFC 2217), in front of a port that says what it is told."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        stop = threading.Event()
        thread = threading.Thread(target=serve_rfc2217, args=(server, stop))
        thread.start()
        url = f"rfc2217://127.0.0.1:{server.getsockname()[1]}"
        try:
            with PortReader({"level": Port(url, 19200)}) as reader:
                reader.write("level", b"+1.25\n")
                got = takings(reader).until(lambda t: t.bytes_of("level") == b"+1.25\n")
        finally:
            stop.set()
            thread.join()
    assert got.kinds()[0] == "opened"


def serve_rfc2217(server, stop):
    from serial.rfc2217 import PortManager

    peer, _ = server.accept()
    peer.settimeout(0.02)

    class Wire:
        def write(self, data):
            peer.sendall(data)

    with serial.serial_for_url("loop://", timeout=0) as port, peer:
        manager = PortManager(port, Wire())
        while not stop.is_set():
            if waiting := port.read(port.in_waiting):
                peer.sendall(b"".join(manager.escape(waiting)))
            try:
                data = peer.recv(1024)
            except TimeoutError:
                continue
            if not data:
                return
            port.write(b"".join(manager.filter(data)))


@pytest.mark.statistics
@pytest.mark.parametrize("name", ["usb:0012:0034", "number", "link"])
def test_readings_never_go_on_from_another_adapter_of_the_same_kind(cables, takings, monkeypatch, name):
    """Two alike in everything but the socket: the one that is left must not answer for the one that went."""
    from acquire.receive.ports import line, naming
    from acquire.receive.ports.naming import Found

    ours, other = cables(0), cables(1)
    sockets = {ours: "1-1", other: "1-2"}

    def found():
        there = [cable for cable in (ours, other) if cable.link.exists()]
        return [Found(str(c.link.resolve()), 0x12, 0x34, None, sockets[c]) for c in there]

    other_device = other.link.resolve()
    other.link.unlink()
    monkeypatch.setattr(line, "found_ports", found)
    monkeypatch.setattr(naming, "found_ports", found)
    url = {"number": str(ours.link.resolve()), "link": str(ours.link)}.get(name, name)
    with PortReader({"level": Port(url)}, retry_s=0.02) as reader:
        ours.send(b"+1\n")
        got = takings(reader).until(lambda t: t.bytes_of("level") == b"+1\n")
        other.link.symlink_to(other_device)
        ours.unplug()
        if name == "link":
            ours.link.symlink_to(other_device)  # as by-id names do where there is no serial number
            monkeypatch.setitem(sockets, ours, "1-2")
        got.until(lambda t: "lost" in t.kinds())
        other.send(b"-9\n" * 50)
        for _ in range(20):
            got.rest()
            reader._stop.wait(0.02)
        assert "reopened" not in got.kinds() and got.bytes_of("level") == b"+1\n"
        if name == "link":
            ours.link.unlink()
            monkeypatch.setitem(sockets, ours, "1-1")
        ours.plug_in()
        got.until(lambda t: "reopened" in t.kinds())
        ours.send(b"+2\n")
        got.until(lambda t: t.bytes_of("level") == b"+1\n+2\n")


def test_adapter_named_by_its_number_is_found_again_under_another_one(cables, takings, monkeypatch):
    """Numbers are given anew at a replug: the adapter's own serial number tells which it is."""
    from acquire.receive.ports import line
    from acquire.receive.ports.naming import Found

    cable = cables()
    monkeypatch.setattr(
        line,
        "found_ports",
        lambda: [Found(str(cable.link.resolve()), 0x12, 0x34, "SN7")] * cable.link.exists(),
    )
    first = str(cable.link.resolve())
    with PortReader({"level": Port(first)}, retry_s=0.05) as reader:
        got = takings(reader).until(lambda t: "opened" in t.kinds())
        cable.unplug()
        got.until(lambda t: "lost" in t.kinds())
        squatter = os.openpty()  # takes the number that has become free
        cable.plug_in()
        assert str(cable.link.resolve()) != first
        got.until(lambda t: "reopened" in t.kinds())
        cable.send(b"+1\n")
        got.until(lambda t: t.bytes_of("level") == b"+1\n")
        for descriptor in squatter:
            os.close(descriptor)


@pytest.mark.parametrize(
    ("keys", "is_on"), [({}, False), ({"reset_on_open": True}, True), ({"line_power": True}, True)]
)
def test_control_lines_stay_off_unless_asked_for(cables, keys, is_on):
    """A board restarts when they go on; a cable may take its supply from them."""
    cable = cables()
    kept_open = os.open(cable.link, os.O_RDWR | os.O_NOCTTY)
    settings = termios.tcgetattr(kept_open)
    settings[2] |= termios.HUPCL
    termios.tcsetattr(kept_open, termios.TCSANOW, settings)
    handle, _ = open_port(Port(str(cable.link), **keys), str(cable.link.resolve()))
    hang_up = termios.tcgetattr(handle.fileno())[2] & termios.HUPCL
    assert (handle.dtr, handle.rts) == (is_on, is_on)
    assert bool(hang_up) is bool(keys.get("reset_on_open"))
    handle.close()
    os.close(kept_open)


LONGER_THAN_ANY_TEST_S = 1e5


def test_fault_in_the_reading_itself_is_raised_at_once_and_not_taken_for_silence(cables, monkeypatch):
    from acquire.receive.ports.line import Line

    def broken(line, data, time_s):
        raise RuntimeError("invented fault")

    monkeypatch.setattr(Line, "took", broken)
    cable = cables()
    with PortReader({"level": Port(str(cable.link))}) as reader:
        assert reader.get(10.0).kind == "opened"
        while (latency := reader.get(0)) is not None:
            assert latency.kind == "latency"
        cable.send(b"+1\n")
        with pytest.raises(RuntimeError, match="invented fault"):
            reader.get(LONGER_THAN_ANY_TEST_S)


def test_opening_faults_hold_all_port_faults():
    assert set(PORT_FAULTS) < set(OPENING_FAULTS)
