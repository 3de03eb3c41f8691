"""The bench counts what was taken byte by byte, hands on its own failures, and puts all of it on the line."""

from types import SimpleNamespace

import pytest

from acquire.simulated import ports
from acquire.simulated.bench import Bench


class Failing:
    """A performance that breaks off."""

    sent = ()

    def ticks(self):
        raise ZeroDivisionError("invented")


def test_failure_of_the_bench_is_raised_by_whoever_waits_for_it():
    bench = Bench(Failing(), {})
    bench.start()
    with pytest.raises(ZeroDivisionError, match="invented"):
        bench.join(10)


def test_bytes_count_as_taken_one_by_one():
    """The clock steps on only when all of a tick have been taken."""
    bench = Bench(SimpleNamespace(sent={"level": None}), {"level": None})
    bench._sent["level"] = 5
    bench.chunk(SimpleNamespace(port="level", data=b"+1."))
    assert bench._taken != bench._sent
    bench.chunk(SimpleNamespace(port="level", data=b"0\n"))
    assert bench._taken == bench._sent


@pytest.mark.skipif(not hasattr(ports.os, "openpty"), reason="needs a pseudo-terminal")
def test_line_that_takes_a_few_bytes_at_a_time_gets_all_of_them(monkeypatch):
    line, written, write = ports.PseudoTerminal(), [], ports.os.write
    monkeypatch.setattr(ports.os, "write", lambda fd, data: written.append(data[:3]) or write(fd, data[:3]))
    line.send(b"+00012.5\r\n")
    monkeypatch.undo()
    line.close()
    assert b"".join(written) == b"+00012.5\r\n"
