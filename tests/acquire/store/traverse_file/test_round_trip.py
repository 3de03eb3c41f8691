"""What is written is read back exactly, by us and by programs that know nothing of us."""

import dataclasses
import json
import shutil
import subprocess

import h5py
import numpy as np
import pytest

from acquire.model.errors import SurveyError, TraverseFileError
from acquire.model.traverse import FLAGS, Events, Setup, Stations, Stream, Traverse
from acquire.store import file_name, read_survey, read_traverse, write_traverse
from acquire.store.traverse_file.writer import traverse_beside


def assert_same(found, expected):
    """Every field, arrays element by element, NaN equal to NaN."""
    for field in dataclasses.fields(expected):
        mine, theirs = getattr(expected, field.name), getattr(found, field.name)
        if isinstance(mine, np.ndarray):
            np.testing.assert_array_equal(theirs, mine, err_msg=field.name)
        else:
            assert theirs == mine, field.name


def assert_same_traverse(found: Traverse, expected: Traverse):
    assert found.setup == expected.setup
    assert (found.mode, found.complete) == (expected.mode, expected.complete)
    assert found.streams.keys() == expected.streams.keys()
    for name, stream in expected.streams.items():
        assert_same(found.streams[name], stream)
    assert_same(found.stations, expected.stations)
    assert_same(found.events, expected.events)


@pytest.fixture
def written(tmp_path, level_traverse):
    path = tmp_path / "001-front-vee-level.h5"
    write_traverse(path, level_traverse)
    return path


def test_traverse_comes_back_field_by_field(written, level_traverse):
    assert_same_traverse(read_traverse(written), level_traverse)


def test_empty_traverse_comes_back(tmp_path, level_setup):
    nothing = np.zeros(0)
    whole = np.zeros(0, np.int64)
    empty = Traverse(
        level_setup,
        {"level": Stream("level", "div", nothing, nothing, np.zeros(0, np.uint8), nothing)},
        Stations(nothing, nothing, nothing, nothing, whole, whole, nothing),
        Events.none(),
        "stepped",
        False,
    )
    write_traverse(tmp_path / "empty.h5", empty)
    assert_same_traverse(read_traverse(tmp_path / "empty.h5"), empty)


@pytest.mark.whole
def test_long_streams_of_several_instruments_come_back(tmp_path, level_setup, level_traverse):
    random = np.random.default_rng(5)
    count = 50_000  # some three compressed pieces and a rest
    streams = {}
    for name in ("level", "scale", "hand"):
        raw = random.bytes(count * 3)
        ends = np.sort(random.integers(0, len(raw), 1000))
        ends[-1] = len(raw)
        time_s = np.sort(random.uniform(0, 500, count))
        streams[name] = Stream(
            name,
            "mm",
            time_s,
            random.normal(size=count),
            random.integers(0, len(FLAGS), count).astype(np.uint8),
            time_s + 0.01,
            raw,
            ends,
            np.sort(random.uniform(0, 500, 1000)),
        )
    traverse = dataclasses.replace(level_traverse, streams=streams)
    write_traverse(tmp_path / "long.h5", traverse)
    assert_same_traverse(read_traverse(tmp_path / "long.h5"), traverse)


def test_without_raw_bytes_the_readings_are_all_there(written, level_traverse):
    found = read_traverse(written, raw=False)
    assert found.streams["level"].raw == b""
    assert_same(found.stations, level_traverse.stations)
    np.testing.assert_array_equal(found.streams["level"].value, level_traverse.streams["level"].value)


def test_roll_traverse_names_front_and_rear(tmp_path, level_traverse, invented_bed_toml):
    setup = Setup("cross-level", "roll", invented_bed_toml, number=2, front="front-vee", rear="rear-flat")
    write_traverse(tmp_path / "roll.h5", dataclasses.replace(level_traverse, setup=setup, streams={}))
    with h5py.File(tmp_path / "roll.h5") as file:
        assert (file.attrs["front"], file.attrs["rear"]) == ("front-vee", "rear-flat")
        assert "face" not in file.attrs
    assert read_traverse(tmp_path / "roll.h5").setup == setup


def test_text_that_a_column_cannot_hold_is_made_visible(tmp_path, level_traverse):
    events = Events(np.zeros(2), ("note", "note"), ("ends in NUL\0", "lone surrogate \ud800"))
    write_traverse(tmp_path / "odd.h5", dataclasses.replace(level_traverse, events=events))
    assert read_traverse(tmp_path / "odd.h5").events.text == ("ends in NUL␀", "lone surrogate ?")


def test_plain_h5py_finds_what_other_programs_rely_on(written, level_setup):
    with h5py.File(written) as file:
        assert file.attrs["format"] == "waylog traverse"
        assert file.attrs["format_version"] == 1
        assert file.attrs["face"] == "front-vee"
        assert file.attrs["reference"] == ""  # a level is carried along nothing
        assert file.attrs["complete"]
        assert file.attrs["state_clamped"]
        assert file.attrs["state_temperature_top_degC"] == 20.5
        assert file["bed_toml"][()].decode() == level_setup.bed_toml
        assert json.loads(file["setup_json"][()])["state"]["note"] == "invented; 20 °C"
        assert file["streams/level/raw/bytes"][:6].tobytes() == b"+1.0\r\n"
        flag = file["streams/level/flag"].attrs
        assert dict(zip(flag["flag_meanings"].split(), flag["flag_values"], strict=True)) == FLAGS


def test_every_dataset_names_its_unit(written):
    unnamed = []
    with h5py.File(written) as file:
        file.visititems(
            lambda name, item: (
                unnamed.append(name)
                if isinstance(item, h5py.Dataset) and not item.attrs.get("units")
                else None
            )
        )
    assert not unnamed


def test_every_column_carries_a_checksum(written):
    with h5py.File(written) as file:
        assert file["streams/level/raw/bytes"].fletcher32
        assert file["stations/reading"].fletcher32


@pytest.mark.whole  # xarray takes longer to load than all of this file
def test_xarray_finds_dimension_coordinate_and_unit(written):
    import xarray

    with xarray.open_dataset(written, group="stations", engine="h5netcdf") as stations:
        assert stations.reading.dims == ("station_mm",)
        assert stations.station_mm.values.tolist() == [100, 300, 300]
        assert stations.station_mm.attrs["units"] == "mm"
        assert stations.reading.attrs["units"] == "um/m"
        assert stations.note.values[1] == "wiped, 2 µm of dirt"
    with xarray.open_dataset(written, group="streams/level", engine="h5netcdf") as stream:
        assert stream.value.dims == ("time_s",)
        assert stream.time_s.attrs["units"] == "s"
        assert stream.time_s.dtype == float
    with xarray.open_dataset(written, group="events", engine="h5netcdf") as events:
        assert events.kind.values.tolist() == ["mark", "garbled"]
    with xarray.open_dataset(written, engine="h5netcdf") as root:
        assert root.attrs["instrument"] == "level"


@pytest.mark.skipif(shutil.which("h5dump") is None, reason="the HDF5 tools are not installed")
def test_hdf5_tools_of_another_release_read_it(written):
    dump = subprocess.run(["h5dump", str(written)], capture_output=True, text=True, check=True)
    assert 'DATASET "station_mm"' in dump.stdout and "100, 300, 300" in dump.stdout
    listed = subprocess.run(["h5ls", "-r", str(written)], capture_output=True, text=True, check=True)
    assert "/streams/level/raw/bytes" in listed.stdout


def test_existing_file_is_not_overwritten_unless_asked(written, level_traverse):
    before = written.read_bytes()
    other = dataclasses.replace(level_traverse, complete=False)
    with pytest.raises(SurveyError, match="already"):
        write_traverse(written, other)
    assert written.read_bytes() == before
    with traverse_beside(written, other) as new:
        new.put_in_place(replace=True)
    assert not read_traverse(written).complete
    assert [path.name for path in written.parent.iterdir()] == [written.name]


@pytest.mark.parametrize(
    ("field", "values", "complaint"),
    [
        ("reading", [1.0, np.nan, 2.0], "finite reading"),
        ("reading", [1.0, 2.0], "unequal length"),
        ("station_mm", [300.0, 100.0, 300.0], "do not rise"),
        ("standard_uncertainty", [1.0, -1.0, 1.0], "0 or more"),
        ("samples", [1, 0, 1], "1 or more"),
    ],
)
def test_what_cannot_be_is_not_written(tmp_path, level_traverse, field, values, complaint):
    stations = dataclasses.replace(level_traverse.stations, **{field: np.array(values)})
    with pytest.raises(TraverseFileError, match=complaint):
        write_traverse(tmp_path / "x.h5", dataclasses.replace(level_traverse, stations=stations))
    assert not list(tmp_path.iterdir())


def test_survey_is_read_in_order_of_number(survey, level_traverse):
    for number in (10, 2, 1000):
        setup = level_traverse.setup.with_number(number)
        path = survey / "traverses" / file_name(setup)
        write_traverse(path, dataclasses.replace(level_traverse, setup=setup))
    (survey / "traverses" / "011-front-vee-level.journal").touch()
    assert [traverse.number for traverse in read_survey(survey)] == [2, 10, 1000]


def test_file_renamed_to_another_number_is_refused(survey, level_traverse):
    write_traverse(survey / "traverses" / "007-front-vee-level.h5", level_traverse)
    with pytest.raises(SurveyError, match="001-"):
        read_survey(survey)


def test_chunk_ends_that_fall_by_more_than_a_whole_number_holds_are_refused(tmp_path, level_traverse):
    name, level = next((name, each) for name, each in level_traverse.streams.items() if len(each.raw))
    ends = np.array([2**63 - 1, -(2**62), len(level.raw)])
    spoilt = dataclasses.replace(level, chunk_end=ends, chunk_time_s=np.zeros(3))
    with pytest.raises(TraverseFileError, match="do not add up"):
        write_traverse(tmp_path / "x.h5", dataclasses.replace(level_traverse, streams={name: spoilt}))


def test_streams_of_a_survey_are_read_when_they_are_asked_for(survey, level_traverse):
    path = survey / "traverses" / f"{level_traverse.number:03d}-front-vee-level.h5"
    write_traverse(path, level_traverse)
    (found,), (again,) = read_survey(survey), read_survey(survey)
    assert_same_traverse(found, level_traverse)
    path.unlink()
    assert list(again.streams) == list(level_traverse.streams)
    with pytest.raises(TraverseFileError):
        again.streams["level"]
    with pytest.raises(KeyError):
        again.streams["nothing"]


def test_damage_to_a_stream_is_told_when_it_is_asked_for(survey, level_traverse):
    path = survey / "traverses" / f"{level_traverse.number:03d}-front-vee-level.h5"
    write_traverse(path, level_traverse)
    with h5py.File(path, "r+") as file:
        file["streams/level/time_s"][0] = np.nan
    (found,) = read_survey(survey)
    with pytest.raises(TraverseFileError, match="a time that is no number"):
        found.streams["level"]
