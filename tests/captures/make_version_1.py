"""Makes the small files of format version 1 that every later release must still read.

Run once, by the release whose format this is: `python tests/captures/make_version_1.py`.
All values are invented; nothing was measured on any machine. The files stand for what
the first release writes: a recorded level, typed cross-level readings, an imported
indicator run, a caliper over a roller in a vee, and a journal that was cut short.
"""

from pathlib import Path

from acquire.model.traverse import HAND_PORT, Setup
from acquire.reduce import derive
from acquire.store import write_traverse
from acquire.store.journal import JournalWriter, read_journal

FOLDER = Path(__file__).with_name("version_1")
BED = """[bed]
name = "invented bed, format version 1"
length_mm = 800
station_pitch_mm = 100
[faces.front-vee]
normal = "up"
shape = "vee"
form = "ridge"
vee_angle_deg = 90
across_mm = 0
carriage = "front"
[faces.rear-flat]
normal = "up"
across_mm = 300
carriage = "rear"
[instruments.level]
quantity = "slope"
unit = "mm/m"
per_division = 0.02
base_mm = 200
standard_uncertainty = 0.1
[instruments.level.port]
url = "loop://"
[instruments.level.wire]
kind = "lines"
pattern = '(?P<value>[-+]?\\d+\\.\\d+)'
[instruments.cross-level]
quantity = "roll"
unit = "um/m"
standard_uncertainty = 1.0
[instruments.indicator]
quantity = "offset"
unit = "thou"
standard_uncertainty = 0.1
"""
SPAN = """[instruments.caliper]
quantity = "span"
unit = "um"
standard_uncertainty = 5.0
"""
COMMON = {"bed_toml": BED, "created_utc": "2025-11-25T08:00:00Z", "state": {"clamped": True, "note": "20 °C"}}


def recorded(path: Path, *, ended: bool) -> JournalWriter:
    """A level at four stops, one garbled line, in divisions of 0.02 mm/m."""
    setup = Setup("level", "slope", number=1, face="front-vee", position="stations", **COMMON)
    writer = JournalWriter.create(path, setup)
    for index in range(400):
        stop, moment = divmod(index, 100)
        value = stop * 0.5 if moment < 80 else 9.0 * (-1) ** moment
        writer.chunk("level", index / 10, b"@@@\r\n" if index == 150 else f"{value:+.1f}\r\n".encode())
    writer.event(40.0, "note", "invented, 4 stops")
    if ended:
        writer.end(True, 40.0)
    return writer


def written(path: Path, setup: Setup, text: str) -> JournalWriter:
    """Readings typed or imported, as the bytes they came in."""
    writer = JournalWriter.create(path, setup)
    writer.chunk(HAND_PORT, 0.0, text.encode())
    writer.end(True, 0.0)
    return writer


def make() -> None:
    """Write all of them anew."""
    FOLDER.mkdir(exist_ok=True)
    for path in FOLDER.iterdir():
        path.unlink()
    across = {"front": "front-vee", "rear": "rear-flat"}
    typed = Setup("cross-level", "roll", number=2, source="enter", **across, **COMMON)
    imported = Setup(
        "indicator", "offset", number=3, source="import", face="rear-flat", reference="front-vee", **COMMON
    )
    rows = "station_mm,reading\n0,0.0\n400,1.5\n800,-0.5\n"
    lines = "0\t1\t1.5\t+3\n400\t1\t9.0\t-2,5 um/m\n400\t2\t15.0\t-2\n800\t1\t22.0\t0.02 mm/m\n"
    writers = [
        recorded(FOLDER / "recorded.journal", ended=True),
        written(FOLDER / "imported.journal", imported, rows),
        written(FOLDER / "typed.journal", typed, lines),
    ]
    for writer in writers:
        writer.close()
        write_traverse(writer.path.with_suffix(".h5"), derive(read_journal(writer.path)))
        writer.path.unlink()
    recorded(FOLDER / "cut-short.journal", ended=False).close()
    spanned()


def spanned() -> None:
    """A caliper over a roller in the vee, imported."""
    setup = Setup(
        "caliper", "span", number=4, source="import", face="front-vee", **{**COMMON, "bed_toml": BED + SPAN}
    )
    rows = "station_mm,reading,note\n0,12000,\n400,11990.5,wiped\n800,12003,\n"
    writer = written(FOLDER / "spanned.journal", setup, rows)
    writer.close()
    write_traverse(FOLDER / "spanned.h5", derive(read_journal(writer.path)))
    writer.path.unlink()


if __name__ == "__main__":
    make()
