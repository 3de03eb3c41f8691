"""Faults of the kind a person makes, planted one at a time: do the tests see them?

    python tests/benchmarks/planted_faults.py                          # every room
    python tests/benchmarks/planted_faults.py level reduce             # the rooms named
    python tests/benchmarks/planted_faults.py --kept faults.jsonl      # goes on where it was cut off
    python tests/benchmarks/planted_faults.py --kept faults.jsonl --again   # those not seen, once more
    python tests/benchmarks/planted_faults.py --check                  # does every fault find its place?

`planted/ROOM.toml` holds a room's faults: the file, what is replaced (it must stand there exactly once),
by what, what a user would suffer, and the tests that should see it, where they are not `tests` of the
whole room. Each is planted in a copy of the repository, tests run until the first one fails, and the file
is put back. What no test saw is printed, and the share that was seen.

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
import tomllib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from planted_bench import (  # beside it, wherever this is started from
    FAILED,
    INTERRUPTED,
    NO_TEST,
    NOT_USABLE,
    PASSED,
    TOP,
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
LONG = "statistics or whole"
MOST_HINTS, FIRST_FILES = 3, 1
SHORT_S, LONG_S = 120.0, 400.0


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
        for row in table["fault"]
    ]


class Kept:
    """What is known so far, a line each, in a file where one is named: a run that was cut off goes on."""

    def __init__(self, path: Path | None) -> None:
        self.path = path
        self.outcomes: dict[str, tuple[str, str]] = {}
        for line in path.read_text(encoding="utf-8").splitlines() if path and path.exists() else []:
            self._take(json.loads(line))

    def _take(self, line: dict) -> None:
        self.outcomes[line["key"]] = (line["came"], line["by"])

    def hints(self, fault: Fault) -> list[str]:
        """Tests that saw this fault before, then those that saw most of the others in its file."""
        here = [
            by
            for key, (came, by) in self.outcomes.items()
            if came == SEEN and json.loads(key)[0] == fault.file
        ]
        came, by = self.outcomes.get(fault.key, ("", ""))
        others = [test for test, _ in Counter(here).most_common(MOST_HINTS)]
        return list(dict.fromkeys(([by] if came in (SEEN, SEEN_LONG) else []) + others))

    def keep(self, line: dict) -> None:
        """Take a line, and write it where a file was named."""
        self._take(line)
        if self.path:
            with self.path.open("a", encoding="utf-8") as file:
                file.write(json.dumps(line) + "\n")


def files_within(copy: Path, places: tuple[str, ...]) -> list[str]:
    """Files of tests in these files and folders, as pytest finds them; modules with doctests too."""
    files: list[str] = []
    for place in places:
        path = copy / place.split("::")[0]
        pattern = "test_*.py" if place.startswith("tests") else "*.py"
        found = sorted(path.rglob(pattern)) if path.is_dir() else [path]
        files += [place] if "::" in place else [str(file.relative_to(copy)) for file in found]
    return list(dict.fromkeys(files))


def likeliest_first(copy: Path, fault: Fault) -> list[str]:
    """Files of tests, as the row names them; else those first that have the module's name, or name it."""
    if fault.names_its_tests:
        return files_within(copy, fault.tests)
    module = fault.file.removesuffix(".py").replace("/", ".").removesuffix(".__init__")
    name = module.split(".")[-1]

    def rank(file: str) -> tuple[bool, bool, int]:
        text = (copy / file.split("::")[0]).read_text(encoding="utf-8")
        return name not in file, f"{module} " not in text, len(text)

    return sorted(files_within(copy, fault.tests), key=rank)


def stages(copy: Path, fault: Fault, hints: list[str]) -> Iterator[tuple[list[str], str, float]]:
    """Tests, how those asked are marked, and how long they may take: one run after the other."""
    if hints:
        yield hints, "", SHORT_S
    files = likeliest_first(copy, fault)
    for some in (files[:FIRST_FILES], files[FIRST_FILES:]):
        if some:
            yield some, f"not ({LONG})", SHORT_S + 20 * len(some)
    if fault.names_its_tests:
        yield list(fault.tests), LONG, LONG_S


def outcome(host: Host, fault: Fault, hints: list[str], number: int) -> tuple[str, str]:
    """Plant one fault and run its tests until one fails: what came of it, and which test it was."""
    file = host.copy / fault.file
    wrong = fault.planted(file.read_text(encoding="utf-8") if file.exists() else "")
    if wrong is None:
        return STALE, ""
    late = ""
    for tests, marked, limit_s in stages(host.copy, fault, hints):
        with planted(file, wrong, number):
            ran = in_time(host, tests, marked, limit_s)
        if ran.code is None:
            late = ran.under_way
        elif ran.failed:
            return (SEEN_LONG if marked == LONG else SEEN), ran.failed[0]
        elif ran.broken or ran.code in (INTERRUPTED, NOT_USABLE):
            return BROKEN, ran.said[-300:]
        elif ran.code not in (PASSED, NO_TEST):
            raise SystemExit(f"{' '.join(tests)}: pytest ended with {ran.code}: {ran.said}")
    return (LATE, late) if late else (LIVED, "")


def in_time(host: Host, tests: list[str], marked: str, limit_s: float) -> Ran:
    """Run tests; where time was up once more, with three times the time."""
    ran = host.run(tests, limit_s, marked=marked)
    return host.run(tests, 3 * limit_s, marked=marked) if ran.code is None else ran


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
    """Try every fault that is not known yet, or came out as one of those to be tried anew; tell each."""
    for number, fault in enumerate(faults):
        before, _ = kept.outcomes.get(fault.key, ("", ""))
        if before and before not in tried_anew:
            continue
        start_s = cpu_s()
        came, by = outcome(host, fault, kept.hints(fault), number)
        seconds = round(cpu_s() - start_s, 1)
        kept.keep({"key": fault.key, "came": came, "by": by, "seconds": seconds})
        print(f"{came:9} {seconds:5.1f} s  {fault.room:10} {fault.file}: {fault.suffers} {by}", flush=True)
    every = {fault.key: kept.outcomes[fault.key] for fault in faults}
    seen = {key: by for key, (came, by) in every.items() if came in (SEEN, SEEN_LONG)}
    failing = fail_anyhow(host, set(seen.values())) if seen else set()
    for key, by in seen.items():
        if by in failing:
            kept.keep({"key": key, "came": FAILS, "by": by})


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
    parser.add_argument("--anew", action="store_true", help="try all once more, led by what saw them before")
    parser.add_argument("--nice", type=int, default=15, help="how far to stand back (15)")
    asked = parser.parse_args()
    faults = [fault for room in asked.rooms or rooms_known() for fault in faults_of(room)]
    if asked.check:
        gone = places_gone(faults)
        print("\n".join(gone))
        sys.exit(int(bool(gone)))
    os.nice(asked.nice)
    kept = Kept(asked.kept and asked.kept.resolve())
    not_seen = tuple(kind for kind in IN_WORDS if kind not in (SEEN, SEEN_LONG))
    tried_anew = tuple(IN_WORDS) if asked.anew else not_seen if asked.again else ()
    with copied() as copy:
        Host(copy, lambda host: try_all(host, faults, kept, tried_anew)).begin()
    sys.exit(tell(faults, kept))


if __name__ == "__main__":
    main()
