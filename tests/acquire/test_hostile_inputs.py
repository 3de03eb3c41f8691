"""Every reader ends in our errors or a right answer, in bounded memory, and writes nowhere else.

The bounds held here: a file of a few kilobytes may take 16 MB to read; a journal three megabytes
and ten times its own length.  The readers of bed.toml, CSV, typed lines, HDF5 and the wire have
further fuzzed tests beside them; tests/benchmarks/fuzz_bytes.py runs longer, led by coverage.
"""

import dataclasses
import json
import os
import signal
import string
import subprocess
import sys
import tracemalloc
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from acquire.cli import main
from acquire.model.bed_toml.reading import parse_bed
from acquire.model.errors import WaylogError
from acquire.receive.wire.kinds import decoder_for
from acquire.record.conversion import convert_here
from acquire.record.mending import mend
from acquire.reduce import derive
from acquire.store import read_traverse, write_traverse
from acquire.store.journal import JournalContents, JournalWriter, frames, read_journal
from tests.invented import bed_toml, dial, speaks, survey_in

pytestmark = pytest.mark.whole

QUICK = settings(
    max_examples=60,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
SMALL_FILE_BYTES = 16_000_000

NAMES = st.sampled_from(
    ["level", "hand", "", "..", "../../x", "/etc/x", "a/b", "level/raw", "x" * 255, "\0", "é", "stations"]
)
TIMES = st.one_of(st.floats(), st.sampled_from([0.0, 1e300, -1e300, 0.1]))
DATA = st.one_of(st.binary(max_size=60), st.sampled_from([b"+1.0\r\n", b"+9e99\n", b"100\t1\t0\t+1\n"]))
HOSTILE_FIELDS = st.fixed_dictionaries(
    {},
    optional={
        "source": st.sampled_from(["record", "enter", "import", "other", ""]),
        "position": st.sampled_from(["scale:scale", "scale:../x", "feed:nan", "feed:1e400", "feed:", "x"]),
        "instrument": st.sampled_from(["level", "scale", "../x", "nobody"]),
        "quantity": st.sampled_from(["slope", "offset", "roll", "temperature", "nothing"]),
        "face": st.sampled_from(["front-vee", "../../x", "/tmp/x", "straightedge:../x", ""]),
        "direction": st.sampled_from(["forward", "sideways"]),
        "mode_asked": st.sampled_from(["stepped", "continuous", "x"]),
        "number": st.sampled_from([0, 1, 10**30]),
        "standing": st.sampled_from(["level", "scale", "nobody"]),
        "state": st.just({"a/b": "x" * 1000, "": 1}),
        "created_utc": st.text(max_size=5),
    },
)
RECORDS = st.lists(
    st.tuples(st.sampled_from([frames.CHUNK, frames.EVENT, frames.END, 0, 9]), TIMES, NAMES, DATA),
    max_size=30,
)


def everything_under(folder: Path) -> set[str]:
    """Names of all files under a folder."""
    return {str(path.relative_to(folder)) for path in folder.rglob("*")}


def peak_bytes(work) -> int:
    """What `work` took at most, errors of ours included."""
    tracemalloc.start()
    try:
        work()
    except WaylogError:
        pass
    finally:
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
    return peak


@given(fields=HOSTILE_FIELDS, records=RECORDS)
@QUICK
def test_journal_of_whole_frames_that_mean_harm_is_converted_or_refused(
    tmp_path_factory, level_setup, fields, records
):
    root = tmp_path_factory.mktemp("root")
    folder = root / "survey" / "traverses"
    folder.mkdir(parents=True)
    told = json.dumps({**dataclasses.asdict(level_setup), **fields}).encode()
    data = frames.HEAD + frames.encode(0, frames.SETUP, 0.0, told)
    for number, (kind, time_s, name, payload) in enumerate(records, start=1):
        data += frames.encode(number, kind, time_s, frames.named(name, payload))
    journal = folder / "001-front-vee-level.journal"
    journal.write_bytes(data)
    try:
        convert_here(journal, journal.with_suffix(".h5"))
        read_traverse(journal.with_suffix(".h5"))
        assert not journal.exists()
    except WaylogError:
        assert journal.read_bytes() == data
    allowed = {"survey", "survey/traverses"} | {
        f"survey/traverses/001-front-vee-level.{ending}" for ending in ("journal", "h5")
    }
    assert everything_under(root) <= allowed


@given(noise=st.lists(st.tuples(st.integers(0, 10**6), st.binary(min_size=1, max_size=40)), max_size=6))
@QUICK
def test_damaged_traverse_file_is_refused_or_tells_the_truth_in_bounded_memory(
    tmp_path_factory, level_traverse, noise
):
    path = tmp_path_factory.mktemp("h5") / "001-front-vee-level.h5"
    write_traverse(path, level_traverse)
    data = bytearray(path.read_bytes())
    for at, piece in noise:
        start = at % len(data)
        data[start : start + len(piece)] = piece
    path.write_bytes(data)
    found = []
    assert peak_bytes(lambda: found.append(read_traverse(path))) < SMALL_FILE_BYTES
    if found:
        assert found[0].stations.reading.tolist() == level_traverse.stations.reading.tolist()


def test_journal_of_many_small_records_is_read_in_bounded_memory(tmp_path, level_setup):
    path = tmp_path / "001-front-vee-level.journal"
    with JournalWriter.create(path, level_setup) as writer:
        for k in range(20_000):
            writer.chunk("level", k * 1e-3, b"1")
            if k % 4 == 0:
                writer.event(k * 1e-3, "e", "")
    bound = 3_000_000 + 10 * path.stat().st_size
    assert peak_bytes(lambda: read_journal(path)) < bound


@pytest.mark.parametrize("name", ["../../x", "/etc/x", "a/b", "..", "", "x" * 200, " a", "line", "nul\0"])
@pytest.mark.parametrize("table", ["faces", "instruments", "straightedges", "wires"])
def test_names_that_could_leave_the_survey_are_no_names(invented_bed_toml, table, name):
    bodies = {
        "faces": 'normal = "up"',
        "instruments": 'quantity = "offset"\nunit = "um"',
        "straightedges": "length_mm = 500",
        "wires": "mass_g_per_m = 1\ntension_n = 50\nspan_mm = 900",
    }
    text = f"{invented_bed_toml}\n[{table}.{json.dumps(name)}]\n{bodies[table]}\n"
    with pytest.raises(WaylogError, match="name"):
        parse_bed(text)


@pytest.mark.parametrize("where", ["../../elsewhere", "/tmp/elsewhere", "straightedge:../../elsewhere"])
def test_face_that_is_a_path_is_refused_and_nothing_is_written(survey, capsys, where):
    before = everything_under(survey.parent)
    argv = ["record", str(survey), where, "--instrument", "level"]
    assert main(argv) == 1
    assert "Traceback" not in capsys.readouterr().err
    assert everything_under(survey.parent) == before


def test_link_in_the_survey_is_not_written_through(survey, cut_short, tmp_path):
    """A name beside the traverse that is a link to somebody's file must not be followed."""
    journal = cut_short()
    precious = tmp_path / "precious"
    precious.write_bytes(b"precious")
    journal.with_suffix(".h5").symlink_to(precious)
    mend(survey, convert_here)
    assert precious.read_bytes() == b"precious" and journal.exists()


@pytest.mark.parametrize(
    "pattern",
    [r"(?P<value>\d+)(?=(a+)+b)", r"(?P<value>\d+)x\1", r"(?P<value>(?:(?:\d{1,99}){1,99}){1,99})x"],
)
def test_pattern_that_could_stall_is_refused_before_recording(survey, capsys, pattern):
    text = (survey / "bed.toml").read_text()
    old = next(line for line in text.splitlines() if line.startswith("pattern"))
    (survey / "bed.toml").write_text(text.replace(old, f"pattern = '{pattern}'"))
    assert main(["record", str(survey), "front-vee", "--instrument", "level"]) == 1
    assert "pattern" in capsys.readouterr().err


@pytest.mark.parametrize(
    "pattern",
    [
        r"(?P<value>(\d+)+)$",
        r"(?P<value>(\d|\d\d)+)x",
        r"(?P<value>\d+)(.*)*x",
        r"(\s*)*(?P<value>\d+)",
        r".*.*.*.*(?P<value>\d+)x",
        r"(a?){60}a{60}(?P<value>\d+)",
    ],
)
def test_pattern_over_which_others_stall_reads_the_worst_line_at_once(level_described, at_once, pattern):
    decoder = decoder_for(level_described(pattern).instruments["level"])
    with at_once():
        for letter in "0a x.":
            decoder.feed(f"{letter * 119}!\n".encode(), 0.0)


ALPHABET = string.digits[:2] + "ax.+-"
PIECES = st.recursive(
    st.sampled_from([r"\d", ".", "a", "x", r"[0-9a]", r"\s", r"\+"]),
    lambda inner: st.one_of(
        st.tuples(inner, st.sampled_from(["*", "+", "?", "*?", "{2,9}", "{3}"])).map(
            lambda p: f"(?:{p[0]}){p[1]}"
        ),
        st.tuples(inner, inner).map("".join),
        st.tuples(inner, inner).map(lambda p: f"(?:{p[0]}|{p[1]})"),
    ),
    max_leaves=6,
)


@given(before=PIECES, after=PIECES, letter=st.sampled_from(ALPHABET))
@QUICK
def test_pattern_that_is_accepted_reads_the_worst_line_at_once(
    level_described, at_once, before, after, letter
):
    """What bed.toml lets through is matched, on lines made to stall it: a pattern left open takes hours."""
    bed = level_described(f"{before}(?P<value>\\d+){after}")
    if bed is None:
        return
    decoder = decoder_for(bed.instruments["level"])
    for line in (letter * 119 + "!", "0" * 119 + "!", (letter + "0") * 59 + "!"):
        with at_once():
            decoder.feed(line.encode() + b"\n", 0.0)


@pytest.fixture
def level_described(invented_bed_toml):
    """The invented bed with another pattern; None where it is refused."""
    old = next(line for line in invented_bed_toml.splitlines() if line.startswith("pattern"))

    def described(pattern):
        try:
            return parse_bed(invented_bed_toml.replace(old, f"pattern = '''{pattern}'''"))
        except WaylogError:
            return None

    return described


@pytest.mark.skipif(sys.platform != "linux", reason="/proc")
def test_recording_listens_on_no_network(tmp_path):
    """No socket of the process listens, nor is any bound: seen in the system's own tables."""
    import pty
    import tty

    master, slave = pty.openpty()
    tty.setraw(slave)
    survey = survey_in(tmp_path / "survey", PTY_BED.format(url=os.ttyname(slave)))
    process = subprocess.Popen(
        [sys.executable, "-m", "acquire.cli", "record", str(survey), "front", "--instrument", "dial",
         "--reference", "line", "--leave-free", "0"],
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
    )  # fmt: skip
    try:
        assert "recording" in process.stdout.readline()
        os.write(master, b"+1.0\r\n")
        assert sockets_of(process.pid) == []
        process.send_signal(signal.SIGINT)
        assert process.wait(30) == 0
    finally:
        process.kill()
        process.wait()
        process.stdout.close()
        os.close(master)
        os.close(slave)


@pytest.mark.skipif(sys.platform != "linux", reason="/proc")
def test_invented_instruments_that_speak_over_a_socket_listen_on_loopback_alone():
    from acquire.simulated.ports import open_port

    before = sockets_of(os.getpid())
    port = open_port(loopback=True)
    try:
        opened = [found for found in sockets_of(os.getpid()) if found not in before]
        assert opened and all(address.startswith("0100007F:") for address in opened)
    finally:
        port.close()


PTY_BED = bed_toml(500, instruments={"dial": dial(**speaks("{url}"))})


def sockets_of(pid: int) -> list[str]:
    """Local addresses (hexadecimal) on which a process listens, or has bound a datagram socket."""
    inodes = set()
    for handle in Path(f"/proc/{pid}/fd").iterdir():
        try:
            target = str(handle.readlink())
        except OSError:
            continue
        if target.startswith("socket:["):
            inodes.add(target[8:-1])
    found = []
    for table, listens in (("tcp", "0A"), ("tcp6", "0A"), ("udp", None), ("udp6", None)):
        path = Path(f"/proc/{pid}/net/{table}")
        for line in path.read_text().splitlines()[1:] if path.exists() else []:
            fields = line.split()
            if fields[9] in inodes and listens in (None, fields[3]):
                found.append(fields[1])
    return found


@pytest.mark.parametrize(
    ("was", "becomes", "words"),
    [
        ('[instruments.level.wire]\nkind = "lines"\n', "", "does not say how level speaks"),
        (
            'quantity = "slope"\nunit = "um/m"\nbase_mm = 200',
            'quantity = "offset"\nunit = "um"',
            "described as",
        ),
        ("[instruments.level", "[instruments.renamed", "no instrument level"),
    ],
)
def test_setup_that_its_bed_no_longer_fits_is_refused_in_one_line(level_setup, was, becomes, words):
    text = level_setup.bed_toml.replace(was, becomes)
    if not becomes:
        text = "".join(line for line in text.splitlines(True) if not line.startswith(("pattern", "url")))
        text = text.replace("[instruments.level.port]\n", "")
    setup = dataclasses.replace(level_setup, bed_toml=text, position="stations")
    with pytest.raises(WaylogError, match=words):
        derive(JournalContents(setup, {}, [], complete=True))
