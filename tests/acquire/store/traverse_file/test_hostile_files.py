"""What is not ours, newer, damaged or meant to harm is refused in one clear line."""

import json
import os
import time

import h5py
import numpy as np
import pytest

from acquire.model.errors import TraverseFileError
from acquire.store import read_traverse, write_traverse
from acquire.store.traverse_file.opening import MOST_BYTES

pytestmark = pytest.mark.whole


@pytest.fixture
def path(tmp_path, level_traverse):
    found = tmp_path / "001-front-vee-level.h5"
    write_traverse(found, level_traverse)
    return found


def refused(path):
    with pytest.raises(TraverseFileError) as caught:
        read_traverse(path)
    text = str(caught.value)
    assert path.name in text and "\n" not in text and len(text) < 400
    return text


def replaced(path, name, **how):
    """Put another dataset in the place of one."""
    with h5py.File(path, "r+") as file:
        attributes = dict(file[name].attrs) if name in file else {}
        del file[name]
        made = file.create_dataset(name, **how)
        made.attrs["units"] = attributes.get("units", "1")


def test_missing_file_folder_and_text_are_refused(tmp_path):
    assert "no such file" in refused(tmp_path / "nothing.h5")
    (tmp_path / "folder.h5").mkdir()
    assert "no such file" in refused(tmp_path / "folder.h5")
    (tmp_path / "text.h5").write_text("station_mm,reading\n0,1\n")
    assert "cannot be read as HDF5" in refused(tmp_path / "text.h5")


def test_hdf5_file_of_another_program_is_refused(tmp_path):
    with h5py.File(tmp_path / "other.h5", "w") as file:
        file["data"] = np.arange(5)
    assert "no traverse of waylog's" in refused(tmp_path / "other.h5")


def test_file_of_a_newer_waylog_is_refused_by_its_version(path):
    with h5py.File(path, "r+") as file:
        file.attrs["format_version"] = 2
    assert "newer waylog (format version 2)" in refused(path)


@pytest.mark.parametrize("version", [0, -1, 1.5, "one", True, [1, 1]])
def test_version_that_is_none_is_refused(path, version):
    with h5py.File(path, "r+") as file:
        file.attrs["format_version"] = version
    refused(path)


@pytest.mark.parametrize("place", ["stations/reading", "streams/level/raw/bytes", "setup_json", "events"])
@pytest.mark.parametrize("link", [h5py.ExternalLink("other.h5", "/data"), h5py.SoftLink("/stations/scatter")])
def test_link_is_never_followed(path, place, link):
    with h5py.File(path.parent / "other.h5", "w") as file:
        file["data"] = np.zeros(3)
    with h5py.File(path, "r+") as file:
        del file[place]
        file[place] = link
    assert "points elsewhere" in refused(path)


def test_virtual_dataset_is_refused(path):
    with h5py.File(path.parent / "other.h5", "w") as file:
        file["data"] = np.zeros(3)
    layout = h5py.VirtualLayout((3,), float)
    layout[:] = h5py.VirtualSource(str(path.parent / "other.h5"), "data", (3,))
    with h5py.File(path, "r+") as file:
        del file["stations/reading"]
        file.create_virtual_dataset("stations/reading", layout)
    assert "outside the file" in refused(path)


def test_external_storage_is_refused(path):
    secret = path.parent / "secret"
    secret.write_bytes(bytes(24))
    replaced(path, "stations/reading", shape=(3,), dtype=float, external=[(str(secret), 0, 24)])
    assert "outside the file" in refused(path)


@pytest.mark.parametrize(
    "how",
    [
        {"shape": (1 << 40,), "dtype": "f8", "chunks": (1 << 10,), "compression": "gzip"},
        {"shape": (1 << 20,), "dtype": "f8", "chunks": (1 << 10,)},
        {"shape": (3,), "maxshape": (None,), "dtype": "f8", "chunks": (1 << 25,)},
        {"shape": (3, 3), "dtype": "f8"},
        {"data": 1.5},
        {"data": h5py.Empty("f8")},
        {"data": [1, 2, 3]},
        {"data": [b"a", b"b", b"c"]},
        {"data": np.zeros(3, [("a", "f8"), ("b", "f8")])},
        {"data": ["a", "b", "c"], "dtype": h5py.string_dtype()},
        {"data": np.zeros(3, np.complex128)},
        {"data": np.zeros(3), "chunks": (3,), "scaleoffset": 2},
        {"data": [1.0, np.nan, 2.0]},
        {"data": [1.0, np.inf, 2.0]},
        {"data": [1.0, 2.0]},
    ],
)
def test_readings_of_the_wrong_shape_size_or_type_are_refused(path, how):
    replaced(path, "stations/reading", **how)
    assert "reading" in refused(path) or "stations" in refused(path)


def test_small_file_cannot_ask_for_large_memory(path):
    """A megabyte of packed zeros that claims to be 2 GiB: refused before a byte is unpacked."""
    zeros = 1 << 20
    with h5py.File(path, "r+") as file:
        del file["streams/level/raw/bytes"]
        made = file.create_dataset(
            "streams/level/raw/bytes", (MOST_BYTES + 1,), "u1", chunks=(zeros,), compression="gzip"
        )
        made[:zeros] = np.zeros(zeros, np.uint8)
    assert path.stat().st_size < 200_000
    refused(path)


def test_group_in_place_of_a_dataset_and_the_other_way_are_refused(path):
    with h5py.File(path, "r+") as file:
        del file["stations"]
        file["stations"] = np.zeros(3)
    assert "no group" in refused(path)


@pytest.mark.parametrize("name", ["face", "instrument", "direction", "quantity"])
def test_attribute_that_contradicts_the_setup_is_refused(path, name):
    with h5py.File(path, "r+") as file:
        file.attrs[name] = "somewhere else"
    assert name in refused(path)


def test_bed_that_was_altered_by_hand_is_refused(path):
    with h5py.File(path, "r+") as file:
        text = file["bed_toml"][()].decode()
        del file["bed_toml"]
        file["bed_toml"] = text.replace("base_mm = 200", "base_mm = 300")
    refused(path)


@pytest.mark.parametrize(
    "setup",
    [
        "{",
        "[]",
        '{"unknown": 1}',
        "null",
        "[" * 100_000,
        {"instrument": 5},
        {"number": "one"},
        {"number": -1},
        {"face": ["a"]},
        {"direction": "sideways"},
        {"state": 7},
        {"turned": "no"},
    ],
)
def test_setup_that_makes_no_sense_is_refused(path, setup):
    with h5py.File(path, "r+") as file:
        if isinstance(setup, dict):
            setup = json.dumps({**json.loads(file["setup_json"][()]), **setup})
        del file["setup_json"]
        file["setup_json"] = np.array(setup.encode(), dtype=h5py.string_dtype("utf-8", len(setup)))
    refused(path)


def test_flipped_byte_in_the_compressed_readings_is_found(tmp_path, level_traverse):
    """Fletcher-32 guards every column's pieces."""
    path = tmp_path / "x.h5"
    write_traverse(path, level_traverse)
    with h5py.File(path) as file:
        stored = file["stations/reading"].id.get_chunk_info(0)
    data = bytearray(path.read_bytes())
    data[stored.byte_offset + 3] ^= 0x10
    path.write_bytes(data)
    refused(path)


@pytest.mark.parametrize("share", [0.0, 0.1, 0.5, 0.9, 0.99])
def test_cut_off_file_is_refused(path, share):
    os.truncate(path, int(path.stat().st_size * share))
    refused(path)


def test_overwritten_stretches_end_in_our_error_or_the_truth(path, level_traverse):
    """Seeded damage to any part of the file: no reading that was not written comes out."""
    whole = path.read_bytes()
    random = np.random.default_rng(23)
    truth = level_traverse.stations.reading
    for _ in range(150):
        data = bytearray(whole)
        at = int(random.integers(len(data)))
        data[at : at + 16] = random.bytes(len(data[at : at + 16]))
        path.write_bytes(data)
        try:
            found = read_traverse(path)
        except TraverseFileError:
            continue
        np.testing.assert_array_equal(found.stations.reading, truth)
        assert found.setup.instrument == "level"


@pytest.mark.parametrize(
    ("stored", "mask"),
    [(b"\0", 0), (b"\0\0\0\0", 0), (b"x" * 24, 7), (b"x" * 5000, 0)],
    ids=["shorter than its checksum", "nothing but a checksum", "said to be not packed", "far too long"],
)
def test_piece_that_would_make_the_library_read_past_its_end_is_refused(path, stored, mask):
    """The library takes the four bytes of the checksum off a piece of one byte, and crashes."""
    with h5py.File(path, "r+") as file:
        file["stations/reading"].id.write_direct_chunk((0,), stored, mask)
    assert "reading has a piece that is damaged" in refused(path)


def test_many_tiny_pieces_are_looked_at_once_each(path):
    """Asked for one by one each is sought among all before it: minutes for a file of half a megabyte."""
    replaced(path, "stations/reading", data=np.zeros(20_000), chunks=(1,))
    begun_s = time.process_time()
    assert "unequal length" in refused(path)
    assert time.process_time() - begun_s < 3
