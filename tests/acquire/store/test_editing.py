"""Changing numbers of an instrument in bed.toml: comments kept, nothing else touched, nothing lost."""

import errno
import os
import tomllib
from pathlib import Path

import pytest

from acquire.model.bed_toml.reading import read_bed
from acquire.model.errors import BedError
from acquire.store.editing import change_bed, set_instrument_values

TEXT = """\
# the lathe in the corner (invented)
[bed]
name = "invented bed of the tests"
length_mm = 600
station_pitch_mm = 100
[faces.front]
normal = "up"

[instruments.level]              # the long one
quantity = "slope"
unit = "um/m"
base_mm = 200                    # measured with a slip gauge
standard_uncertainty = 1.0       # typical
# seating_um = 0.5               # to be measured
[instruments.level.port]
url = "/dev/ttyUSB0"             # left socket
[instruments.level.wire]
kind = "lines"
pattern = '(?P<value>.+)'

# the dial
[instruments.dial]
quantity = "offset"
standard_uncertainty = 1
unit = "um"

# the wire
[wires.steel]
mass_g_per_m = 0.5
tension_n = 50
span_mm = 1600
"""


@pytest.fixture
def bed_toml(tmp_path):
    path = tmp_path / "bed.toml"
    path.write_text(TEXT, encoding="utf-8")
    return path


def names_beside(path):
    return sorted(each.name for each in path.parent.iterdir())


def test_only_the_lines_meant_are_changed(bed_toml):
    set_instrument_values(bed_toml, "level", {"standard_uncertainty": 0.62, "resolution": 0.1})
    set_instrument_values(bed_toml, "dial", {"seating_um": 0.4})
    old, new = TEXT.splitlines(), bed_toml.read_text().splitlines()
    assert [line for line in old if line not in new] == ["standard_uncertainty = 1.0       # typical"]
    added = [line for line in new if line not in old]
    assert [line.partition("#")[0].strip() for line in added] == [
        "standard_uncertainty = 0.62",
        "resolution = 0.1",
        "seating_um = 0.4",
    ]
    assert added[0].endswith("# typical")
    assert new.index("# the wire") == new.index("[wires.steel]") - 1
    assert new.index("seating_um = 0.4") == new.index('unit = "um"') + 1


def test_values_are_read_back_by_another_reader(bed_toml):
    bed = set_instrument_values(bed_toml, "level", {"seating_um": 0.35, "standard_uncertainty": 1e-5})
    table = tomllib.loads(bed_toml.read_text())["instruments"]["level"]
    assert table["seating_um"] == bed.instruments["level"].seating_um == 0.35
    assert table["standard_uncertainty"] == 1e-5


def test_line_ends_byte_order_mark_and_permissions_stay(bed_toml):
    bed_toml.write_bytes(b"\xef\xbb\xbf" + TEXT.replace("\n", "\r\n").encode())
    bed_toml.chmod(0o640)
    set_instrument_values(bed_toml, "level", {"standard_uncertainty": 0.5})
    written = bed_toml.read_bytes()
    assert written.startswith(b"\xef\xbb\xbf# the lathe") and written.count(b"\r\n") == TEXT.count("\n")
    assert bed_toml.stat().st_mode & 0o777 == 0o640


def test_table_written_in_one_line_is_changed_too(tmp_path):
    head = TEXT.partition("[instruments.level] ")[0]
    inline = (
        'instruments.vial = {quantity = "slope", unit = "um/m", base_mm = 200, standard_uncertainty = 1}\n'
    )
    path = tmp_path / "bed.toml"
    path.write_text(inline + head)
    assert set_instrument_values(path, "vial", {"resolution": 0.2}).instruments["vial"].resolution == 0.2


@pytest.mark.parametrize(
    ("name", "values", "words"),
    [
        ("levle", {"resolution": 1.0}, "level | dial"),
        ("level", {"resolution": -1.0}, "resolution"),
        ("dial", {"base_uncertainty_mm": 1.0}, "base_uncertainty_mm"),
        ("level", {"standard_uncertainty": float("nan")}, "standard_uncertainty"),
    ],
)
def test_what_would_be_no_bed_is_refused_and_the_file_stays(bed_toml, name, values, words):
    with pytest.raises(BedError, match=words.replace("|", r"\|")):
        set_instrument_values(bed_toml, name, values)
    assert bed_toml.read_text() == TEXT and names_beside(bed_toml) == ["bed.toml"]


@pytest.mark.parametrize("call", ["fsync", "replace"])
def test_full_disk_leaves_the_old_text(bed_toml, monkeypatch, call):
    def fails(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(*((os, "fsync") if call == "fsync" else (Path, "replace")), fails)
    with pytest.raises(BedError, match="as it was"):
        set_instrument_values(bed_toml, "level", {"standard_uncertainty": 0.5})
    assert bed_toml.read_text() == TEXT and names_beside(bed_toml) == ["bed.toml"]


def test_somebody_else_saving_it_meanwhile_is_not_overwritten(bed_toml):
    def change(text):
        bed_toml.write_text(text + "# saved in an editor\n")
        return text.replace("600", "700")

    with pytest.raises(BedError, match="meanwhile"):
        change_bed(bed_toml, change)
    assert bed_toml.read_text() == TEXT + "# saved in an editor\n"


def test_change_of_more_than_was_meant_is_refused(bed_toml):
    meant = read_bed(bed_toml)
    with pytest.raises(BedError, match="more than was meant"):
        change_bed(bed_toml, lambda text: text.replace("length_mm = 600", "length_mm = 700"), meant)
    assert bed_toml.read_text() == TEXT


def test_link_stays_a_link(bed_toml, tmp_path):
    link = tmp_path / "linked.toml"
    link.symlink_to(bed_toml)
    set_instrument_values(link, "level", {"standard_uncertainty": 0.5})
    assert link.is_symlink() and "standard_uncertainty = 0.5" in bed_toml.read_text()


def test_instrument_written_in_two_places_is_changed_in_the_right_one(bed_toml):
    port = TEXT[TEXT.index("[instruments.level.port]") : TEXT.index("# the dial")]
    bed_toml.write_text(TEXT.replace(port, "") + port)
    bed = set_instrument_values(bed_toml, "level", {"standard_uncertainty": 0.5, "seating_um": 0.2})
    assert bed.instruments["level"].port is not None and bed.instruments["level"].seating_um == 0.2
    assert "standard_uncertainty = 0.5       # typical" in bed_toml.read_text()
