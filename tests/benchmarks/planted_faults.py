"""Faults of the kind a person makes, planted one at a time: do the tests see them?

    python tests/benchmarks/planted_faults.py                          # every room
    python tests/benchmarks/planted_faults.py level reduce             # the rooms named
    python tests/benchmarks/planted_faults.py --kept faults.jsonl      # goes on where it was cut off
    python tests/benchmarks/planted_faults.py --kept faults.jsonl --again   # those not seen, once more
    python tests/benchmarks/planted_faults.py --check                  # does every fault find its place?

`planted/ROOM.toml` holds a room's faults, module by module: what is replaced (it must stand there exactly
once), by what, what a user would suffer, and the tests that should see it, where they are not `tests` of the
whole room. Of each fact that is said beside a result, `facts.toml` holds how it is never said, and how it is
always said. Each fault is planted in a copy of the repository, tests run until the first one fails, and the
file is put back. What no test saw is printed, and the share that was seen.

The first tests asked are those that saw this fault, or others in its file, before; then the short tests that
name its module, then all short tests of the room, and where a row names tests of its own, the long ones
among them. At the end whatever saw a fault must pass without one, or it has seen nothing. Tests that run
out of time have seen nothing either: they are tried once more with three times the time. A fault that keeps
tests from being read at all proves nothing, so it must leave a file that Python can compile and import.
"""

import argparse
import json
import os
import sys
import tempfile
import tomllib
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))
from planted_bench import (  # beside it, wherever this is started from
    FAILED,
    INTERRUPTED,
    NO_TEST,
    NOT_USABLE,
    PASSED,
    TOP,
    Collected,
    Host,
    Ran,
    copied,
    planted,
)

TABLES = Path(__file__).parent / "planted"
SEEN, SEEN_LONG, LIVED, LATE = "seen", "seen long", "LIVED", "LATE"
FAILS, BROKEN, STALE = "FAILS", "BROKEN", "STALE"
IN_WORDS = {
    SEEN: "by short tests",
    SEEN_LONG: "by long tests",
    LIVED: "not seen",
    LATE: "out of time",
    FAILS: "by a test that fails anyhow",
    BROKEN: "not importable",
    STALE: "place gone",
}
MOST_HINTS, FIRST_FILES = 3, 1
SHORT_S, LONG_S = 120.0, 400.0
SAID = {"never": "{} is not said", "always": "{} is said where it does not belong"}
"""What a user suffers where a fact is `never` said, or `always`."""


@dataclass(frozen=True)
class Fault:
    """One mistake: in `file`, `old` becomes `new`; `suffers` says who is hurt by it and how."""

    room: str
    file: str
    old: str
    new: str
    suffers: str
    tests: tuple[str, ...]
    names_its_tests: bool = False

    @property
    def key(self) -> str:
        """What makes it this fault and no other."""
        return json.dumps([self.file, self.old, self.new])

    def planted(self, text: str) -> str | None:
        """The file's text with the mistake in it; None where its place is gone or is not one place."""
        if text.count(self.old) != 1 or self.old == self.new:
            return None
        text = text.replace(self.old, self.new)
        try:
            if self.file.endswith(".py"):
                compile(text, self.file, "exec")
        except SyntaxError:
            return None
        return text


def rooms_known() -> list[str]:
    """Every room that has a table."""
    return sorted(table.stem for table in TABLES.glob("*.toml"))


@cache
def faults_of(room: str) -> list[Fault]:
    """The faults of one room's table."""
    table = tomllib.loads((TABLES / f"{room}.toml").read_text(encoding="utf-8"))
    return [
        Fault(
            room,
            *(row[key] for key in ("file", "old", "new", "suffers")),
            tests=tuple(row.get("tests", table["tests"])),
            names_its_tests="tests" in row,
        )
        for row in rows_of(table)
    ]


def rows_of(table: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """The rows of a table: the faults of its modules, and of its facts those never said and always said."""
    for module in table.get("module", []):
        yield from _rows(module, "fault")
    for fact in table.get("fact", []):
        for kind, suffers in SAID.items():
            yield from _rows(fact, kind, suffers=suffers.format(fact["name"]))


def _rows(group: Mapping[str, Any], kind: str, **more: str) -> Iterator[dict[str, Any]]:
    shared = {key: group[key] for key in ("file", "tests") if key in group} | more
    return (shared | row for row in group.get(kind, []))


class Kept:
    """What is known so far, a line each, in a file: a run that was cut off goes on.

    What another run has kept (`led_by`) only says which tests to ask first.
    """

    def __init__(self, path: Path, led_by: Path | None = None) -> None:
        self.path = path
        self.read()
        self.before = {} if led_by is None else Kept(led_by).outcomes

    def read(self) -> None:
        """Take what the file holds; the last line about a fault counts."""
        text = self.path.read_text(encoding="utf-8") if self.path.exists() else ""
        self.lines = [json.loads(line) for line in text.splitlines()]
        self.outcomes = {line["key"]: (line["came"], line["by"]) for line in self.lines}

    def keep(self, fault: Fault, came: str, by: str, seconds: float) -> None:
        """Write down and tell what came of a fault."""
        line = {"key": fault.key, "came": came, "by": by, "seconds": round(seconds, 1)}
        with self.path.open("a", encoding="utf-8") as file:
            file.write(json.dumps(line) + "\n")
        self.lines.append(line)
        self.outcomes[fault.key] = (came, by)
        print(f"{came:9} {seconds:5.1f} s  {fault.room:10} {fault.file}: {fault.suffers} {by}", flush=True)

    def hints(self, copy: Path, fault: Fault) -> list[str]:
        """Tests that saw this fault before, then those that saw most of the others in its file."""
        known = self.before | self.outcomes
        here = [by for key, (came, by) in known.items() if came == SEEN and json.loads(key)[0] == fault.file]
        came, by = known.get(fault.key, ("", ""))
        others = [test for test, _ in Counter(here).most_common(MOST_HINTS)]
        hints = dict.fromkeys(([by] if came in (SEEN, SEEN_LONG) else []) + others)
        return [test for test in hints if is_there(copy, test)]

    def often(self, room: str) -> Counter[str]:
        """How many faults of a room each file of tests has seen."""
        keys = {fault.key for fault in faults_of(room)}
        seen = [by for key, (came, by) in self.outcomes.items() if came == SEEN and key in keys]
        return Counter(test.split("::")[0] for test in seen)


def is_there(copy: Path, test: str) -> bool:
    """Whether a test of that name still stands in its file."""
    file = copy / test.split("::")[0]
    return file.exists() and test.split("::")[-1].split(".")[-1] in file.read_text(encoding="utf-8")


def files_within(copy: Path, places: tuple[str, ...]) -> list[str]:
    """Files of tests in these files and folders, as pytest finds them; those of doctests stay as they are."""
    files: list[str] = []
    for place in places:
        is_folder = place.startswith("tests") and (copy / place).is_dir()
        found = sorted((copy / place).rglob("test_*.py")) if is_folder else []
        files += [str(file.relative_to(copy)) for file in found] or [place]
    return list(dict.fromkeys(files))


def likeliest_first(copy: Path, fault: Fault, often: Mapping[str, int]) -> list[str]:
    """Files of tests, as the row names them; else those first that have the module's name, or name it.

    `often` says how many faults of the room each has seen.
    """
    if fault.names_its_tests:
        return files_within(copy, fault.tests)
    module = fault.file.removesuffix(".py").replace("/", ".").removesuffix(".__init__")
    name = module.split(".")[-1]

    def rank(file: str) -> tuple[bool, bool, int, int]:
        path = copy / file.split("::")[0]
        text = path.read_text(encoding="utf-8") if path.is_file() else ""
        return name not in file, f"{module} " not in text, -often.get(file, 0), len(text)

    return sorted(files_within(copy, fault.tests), key=rank)


def stages(copy: Path, fault: Fault, kept: Kept) -> Iterator[tuple[list[str], bool | None, float]]:
    """Tests, whether those that take long are asked, and how long they may take: one run after the other."""
    if hints := kept.hints(copy, fault):
        yield hints, None, SHORT_S
    files = likeliest_first(copy, fault, kept.often(fault.room))
    for some in (files[:FIRST_FILES], files[FIRST_FILES:]):
        if some:
            yield some, False, SHORT_S + 20 * len(some)
    if fault.names_its_tests:
        yield list(fault.tests), True, LONG_S


def outcome(host: Host, fault: Fault, kept: Kept, number: int) -> tuple[str, str]:
    """Plant one fault and run its tests until one fails: what came of it, and which test it was."""
    file = host.copy / fault.file
    wrong = fault.planted(file.read_text(encoding="utf-8") if file.exists() else "")
    if wrong is None:
        return STALE, ""
    late = ""
    for tests, is_long, limit_s in stages(host.copy, fault, kept):
        with planted(file, wrong, number):
            ran = in_time(host, tests, is_long, limit_s)
        if ran.code is None:
            late = ran.under_way
        elif ran.failed:
            return (SEEN_LONG if is_long else SEEN), ran.failed[0]
        elif ran.broken or ran.code in (INTERRUPTED, NOT_USABLE):
            return BROKEN, ran.said[-300:]
        elif ran.code not in (PASSED, NO_TEST):
            raise SystemExit(f"{' '.join(tests)}: pytest ended with {ran.code}: {ran.said}")
    return (LATE, late) if late else (LIVED, "")


def seen_at_once(host: Collected, fault: Fault, kept: Kept, number: int) -> str | None:
    """The short test that sees a fault planted into what is loaded; None where that must be tried afresh."""
    file = host.copy / fault.file
    right = file.read_text(encoding="utf-8") if file.exists() else ""
    wrong = fault.planted(right)
    exchanges = None if wrong is None else host.loaded.exchanges(file, right, wrong)
    if wrong is None or exchanges is None:
        return None
    host.exchanges = exchanges
    with planted(file, wrong, number):  # for the processes that tests start
        for tests, is_long, limit_s in stages(host.copy, fault, kept):
            ran = None if is_long else host.run(tests, limit_s, is_long=is_long)
            if ran is not None and ran.code is not None and ran.failed:
                return ran.failed[0]
    return None


def in_time(host: Host, tests: list[str], is_long: bool | None, limit_s: float) -> Ran:
    """Run tests; where time was up once more, with three times the time."""
    ran = host.run(tests, limit_s, is_long=is_long)
    return host.run(tests, 3 * limit_s, is_long=is_long) if ran.code is None else ran


def fail_anyhow(host: Host, tests: set[str]) -> set[str]:
    """Those of the tests that fail as the copy stands, without any fault."""
    ran = host.run(sorted(tests), 10 * LONG_S, most_failures=0)
    if ran.code not in (PASSED, FAILED, NO_TEST):
        raise SystemExit(f"the tests that saw faults, without any: pytest ended with {ran.code}: {ran.said}")
    return set(ran.failed)


def cpu_s() -> float:
    """What the forks have used so far, and whatever they started and waited for."""
    return os.times().children_user + os.times().children_system


def try_all(host: Host, faults: list[Fault], kept: Kept, tried_anew: tuple[str, ...]) -> None:
    """Try every fault that is not known yet, or came out as one of those to be tried anew; tell each.

    First those that can be planted into what is loaded; what no test saw of these, and all others, afresh.
    """
    before = {fault.key: kept.outcomes.get(fault.key, ("", ""))[0] for fault in faults}
    untried = {
        number: fault
        for number, fault in enumerate(faults)
        if not before[fault.key] or before[fault.key] in tried_anew
    }
    tried: set[str] = set()

    def at_once(loaded: Collected) -> None:
        for number, fault in untried.items():
            start_s = cpu_s()
            by = seen_at_once(loaded, fault, kept, number)
            if by is not None:
                kept.keep(fault, SEEN, by, cpu_s() - start_s)

    if untried:
        files = {file for fault in untried.values() for file in files_within(host.copy, fault.tests)}
        known = len(kept.lines)
        host.collected(sorted(files), at_once)
        kept.read()
        tried = {line["key"] for line in kept.lines[known:]}
    for number, fault in untried.items():
        if fault.key not in tried:
            start_s = cpu_s()
            came, by = outcome(host, fault, kept, number)
            kept.keep(fault, came, by, cpu_s() - start_s)
    every = {fault.key: kept.outcomes[fault.key] for fault in faults}
    seen = {key for key, (came, _) in every.items() if came in (SEEN, SEEN_LONG)}
    failing = fail_anyhow(host, {every[key][1] for key in seen}) if seen else set()
    for fault in faults:
        if fault.key in seen and every[fault.key][1] in failing:
            kept.keep(fault, FAILS, every[fault.key][1], 0.0)


def tell(faults: list[Fault], kept: Kept) -> int:
    """Print what was not seen, room by room, and a table of all; 1 where a fault was not seen."""
    rooms = {room: [fault for fault in faults if fault.room == room] for room in {f.room for f in faults}}
    came = {fault.key: kept.outcomes[fault.key] for fault in faults}
    for room in sorted(rooms):
        not_seen = [fault for fault in rooms[room] if came[fault.key][0] not in (SEEN, SEEN_LONG)]
        if not_seen:
            print(f"\n{room}")
        for fault in not_seen:
            print(f"  {came[fault.key][0]:7} {fault.file}: {fault.suffers} {came[fault.key][1]}")
    print("\n| room | planted |", " | ".join(IN_WORDS.values()), "| share seen |")
    print("| --- " * (len(IN_WORDS) + 3) + "|")
    for room, here in [*sorted(rooms.items()), ("all", faults)]:
        counts = [sum(came[fault.key][0] == kind for fault in here) for kind in IN_WORDS]
        share = (counts[0] + counts[1]) / len(here)
        print(f"| {room} | {len(here)} |", " | ".join(map(str, counts)), f"| {share:.1%} |")
    return int(any(kind not in (SEEN, SEEN_LONG) for kind, _ in came.values()))


def places_gone(faults: list[Fault]) -> list[str]:
    """Faults whose text is not found exactly once in their file, each in a line."""
    texts = {fault.file: TOP / fault.file for fault in faults}
    here = {file: path.read_text(encoding="utf-8") for file, path in texts.items() if path.exists()}
    gone = [fault for fault in faults if fault.planted(here.get(fault.file, "")) is None]
    return [f"{fault.room}.toml: {fault.file}: {fault.old.strip()[:70]!r}" for fault in gone]


def main() -> None:
    """Plant what the tables of the rooms hold."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("rooms", nargs="*", choices=[*rooms_known(), []], help="rooms to try (all)")
    parser.add_argument("--check", action="store_true", help="only say which faults have lost their place")
    parser.add_argument("--kept", type=Path, help="file that keeps what is known; a second run goes on")
    parser.add_argument("--again", action="store_true", help="try those that were not seen once more")
    parser.add_argument("--led-by", type=Path, help="what another run kept: the tests that are asked first")
    parser.add_argument("--nice", type=int, default=15, help="how far to stand back (15)")
    asked = parser.parse_args()
    faults = [fault for room in asked.rooms or rooms_known() for fault in faults_of(room)]
    if asked.check:
        gone = places_gone(faults)
        print("\n".join(gone))
        sys.exit(int(bool(gone)))
    os.nice(asked.nice)
    not_seen = tuple(kind for kind in IN_WORDS if kind not in (SEEN, SEEN_LONG))
    tried_anew = not_seen if asked.again else ()
    with copied() as copy, tempfile.TemporaryDirectory() as folder:
        kept = Kept(asked.kept.resolve() if asked.kept else Path(folder) / "kept.jsonl", asked.led_by)
        Host(copy, lambda host: try_all(host, faults, kept, tried_anew)).begin()
    sys.exit(tell(faults, kept))


if __name__ == "__main__":
    main()
