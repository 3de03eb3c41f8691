"""The byte readers, fuzzed by coverage: python tests/benchmarks/fuzz_bytes.py TARGET [SECONDS].

TARGET is bed | csv | typed | journal | hdf5 | lines | fixed | modbus | counter.  Needs atheris
(`pip install -e .[fuzz]`).  Every input must end in one of our errors or in an answer that is
itself sound: no other exception, no more than `MOST_S` of work, no more than `MOST_MB` of
memory (both watched by the fuzzer).  Inputs that grow the coverage are kept in memory only.
"""

import sys
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path

import atheris

MOST_S, MOST_MB = 10, 1024

with atheris.instrument_imports(include=["acquire"]):
    import numpy as np

    from acquire.model.bed import Instrument
    from acquire.model.bed_toml.reading import parse_bed
    from acquire.model.errors import WaylogError
    from acquire.model.traverse import Events, Setup, Stations, Stream, Traverse
    from acquire.receive.wire.kinds import decoder_for
    from acquire.reduce.written.imported import readings_imported
    from acquire.reduce.written.typed import readings_typed
    from acquire.store import read_traverse, write_traverse
    from acquire.store.journal import JournalWriter, frames, read_journal

BED = """[bed]
name = "invented"
length_mm = 800
station_pitch_mm = 100
[faces.way]
normal = "up"
[instruments.level]
quantity = "slope"
unit = "um/m"
base_mm = 200
standard_uncertainty = 1
"""
WIRES: Mapping[str, Mapping[str, object]] = {
    "lines": {"kind": "lines", "pattern": r"(?P<value>[-+]?\d+(?:\.\d+)?)\s*(?P<unit>um/m|mm/m)?"},
    "fixed": {"kind": "fixed", "length": 6, "start": "2b", "value": {"at": 1, "bcd": 6}, "checksum": "xor"},
    "modbus": {"kind": "modbus", "register": 2, "type": "float32"},
    "counter": {
        "kind": "counter",
        "counts_per_mm": 200,
        "wrap": 65536,
        "pattern": r"(?P<value>\d+)(?P<index>Z)?",
    },
}
FOLDER = Path(tempfile.mkdtemp(prefix="waylog-fuzz-"))


def setup_of(source: str) -> Setup:
    """A level on the invented way."""
    return Setup("level", "slope", BED, number=1, source=source, face="way")


def bed(data: bytes) -> None:
    """A bed.toml."""
    found = parse_bed(data.decode("utf-8", "replace"))
    assert 0 < found.length_mm < 1e6 and len(found.station_mm) > 1


def table(read: Callable, source: str) -> Callable[[bytes], None]:
    """Readings typed or imported: what comes out are finite readings on the bed."""

    def target(data: bytes) -> None:
        stations = read(setup_of(source), data).stations
        assert np.isfinite(stations.reading).all()
        assert ((stations.station_mm >= 0) & (stations.station_mm <= 800)).all()

    return target


def journal(data: bytes) -> None:
    """The bytes after the head of a journal; every second input has its checksums put right."""
    path = FOLDER / "001-way-level.journal"
    if not path.exists():
        JournalWriter.create(path, setup_of("record")).close()
        (FOLDER / "begun").write_bytes(path.read_bytes())
    begun = (FOLDER / "begun").read_bytes()
    body = data[1:]
    if data[:1] < b"\x80" and len(body) > 1:
        body = frames.encode(1, body[0] % 6, float(body[1]), body[2:])
    path.write_bytes(begun + body)
    contents = read_journal(path)
    raw = sum(len(chunks.raw) for chunks in contents.chunks.values())
    assert raw <= len(body) and contents.lost_bytes <= len(body)


def hdf5(data: bytes) -> None:
    """A traverse file, some bytes of which are others: place (4 bytes), then eight bytes, and so on."""
    path, whole = FOLDER / "x.h5", FOLDER / "whole.h5"
    if not whole.exists():
        write_traverse(whole, _small_traverse())
    spoilt = bytearray(whole.read_bytes())
    for at in range(0, len(data) - 11, 12):
        place = int.from_bytes(data[at : at + 4], "little") % len(spoilt)
        spoilt[place : place + 8] = data[at + 4 : at + 12]
    path.write_bytes(spoilt)
    assert read_traverse(path).stations.reading.tolist() == [1.0, 2.0]


def _small_traverse() -> Traverse:
    two, none = np.array([1.0, 2.0]), np.zeros(0)
    stream = Stream("level", "um/m", two, two, np.zeros(2, np.uint8), two, b"1\n2\n", np.array([2, 4]), two)
    stations = Stations(two * 100, two, two, two * 0, np.array([1, 1]), np.array([1, 1]), two)
    return Traverse(setup_of("record"), {"level": stream}, stations, Events(none, (), ()), "stepped", True)


def wire(kind: str) -> Callable[[bytes], None]:
    """Bytes on a line, in pieces whose lengths come from the bytes themselves."""
    instrument = Instrument("level", "slope" if kind != "counter" else "position",
                            "um/m" if kind != "counter" else "mm", wire=dict(WIRES[kind]))  # fmt: skip

    def target(data: bytes) -> None:
        decoder, at = decoder_for(instrument), 0
        while at < len(data):
            step = 1 + data[at] % 32
            for reading in decoder.feed(data[at + 1 : at + 1 + step], at * 0.01):
                assert (reading.flag == 0) == bool(np.isfinite(reading.value))
            if data[at] > 250:
                decoder.asked("level", at * 0.01)
            at += 1 + step
        decoder.finish()

    return target


TARGETS: Mapping[str, Callable[[bytes], None]] = {
    "bed": bed,
    "csv": table(readings_imported, "import"),
    "typed": table(readings_typed, "enter"),
    "journal": journal,
    "hdf5": hdf5,
    **{kind: wire(kind) for kind in WIRES},
}


SEEDS: Mapping[str, bytes] = {
    "bed": BED.encode(),
    "csv": b"station_mm;reading;repeat;note\n100;1,5;1;\n300;-2,25 um/m;1;wiped\n500;;1;\n",
    "typed": b"100\t1\t1.5\t+3\n300\t1\t9.0\t2 / 3\n300\t2\t9.0\t-\n",
    "journal": b"\x00\x02\x05\x05level+1.5\r\n",
    "hdf5": bytes(24),
    "lines": b"\x10+1.5 um/m\r\n-2\r\n",
    "fixed": bytes.fromhex("052b00123439"),
    "modbus": bytes.fromhex("080103043f800000f7cf"),
    "counter": b"\x10123\n124Z\n65535\n1\n",
}


def main() -> None:
    """Fuzz one target for so many seconds."""
    if len(sys.argv) < 2 or sys.argv[1] not in TARGETS:
        raise SystemExit(f"usage: fuzz_bytes.py {' | '.join(TARGETS)} [SECONDS]")
    target, seconds = TARGETS[sys.argv[1]], sys.argv[2] if len(sys.argv) > 2 else "60"

    def one(data: bytes) -> None:
        try:
            target(data)
        except WaylogError:
            return

    limits = [f"-max_total_time={seconds}", f"-timeout={MOST_S}", f"-rss_limit_mb={MOST_MB}"]
    seeds = FOLDER / "seeds"
    seeds.mkdir()
    (seeds / "seed").write_bytes(SEEDS[sys.argv[1]])
    atheris.Setup([sys.argv[0], *limits, "-max_len=4096", f"-artifact_prefix={FOLDER}/", str(seeds)], one)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
