"""`waylog show`: list what a survey or a traverse file holds."""

import json
from collections import Counter
from pathlib import Path
from typing import Any

import click

from acquire.model.inch_words import in_owners_unit
from acquire.model.saying import say
from acquire.model.units import length_text, unit_words

_HEADINGS = {
    "number": "no.",
    "on": "on",
    "instrument": "with",
    "quantity": "reads",
    "reference": "along",
    "direction": "run",
    "mode": "how",
    "taken_as": "taken as",
    "readings": "readings",
    "garbled": "garbled",
    "stations": "stations",
    "reach": "reach",
    "ended": "",
}
_RIGHT = ("number", "readings", "garbled", "stations")
MOST_OF_A_KIND, SHOWN_OF_MANY = 40, 5
"""Marks at every station of a long bed are all shown; requests twice a second are not."""
_COUNTED = ("overflow", "out_of_range", "repeated", "frozen", "late", "no_position", "bumped", "moving")


@click.command(name="show")
@click.argument("what", metavar="SURVEY_OR_FILE", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="One JSON object instead of a table.")
def command(what: Path, as_json: bool) -> None:
    """List what a survey folder or one traverse file holds."""
    from acquire.store.showing import file_shown, survey_shown

    found = survey_shown(what) if what.is_dir() else file_shown(what)
    if as_json:
        click.echo(json.dumps(found, allow_nan=False))
        return
    inch = found.get("display") == "inch"
    for line in _lines(found, str(what)):
        say(in_owners_unit(line, inch))


def _lines(found: dict[str, Any], what: str) -> list[str]:
    inch = found.get("display") == "inch"
    table = _table([_words(line, inch) for line in found["traverses"]])
    if not found["traverses"] and not found.get("under_way"):
        table = [
            f"{what}: no traverse yet. Record one with `waylog record`, or type one with `waylog enter`."
        ]
    parts = [
        [f"{found['bed']} ({found['survey']})"] if "bed" in found else [],
        table,
        [words for line in found["traverses"] for words in _correction_words(line, inch) if "bed" in found],
        [_stream_words(stream) for stream in found.get("streams", [])],
        events_words(found.get("events", [])),
        [_under_way_words(each) for each in found.get("under_way", [])],
        [_test_words(each) for each in found.get("tests", [])],
    ]
    return "\n\n".join("\n".join(part) for part in parts if part).splitlines()


def _words(line: dict[str, Any], inch: bool) -> dict[str, str]:
    ends = [line["from_mm"], line["to_mm"]]
    reach = "" if None in ends else " to ".join(length_text(mm, inch) for mm in ends)
    return {
        **{name: str(line.get(name) or "") for name in _HEADINGS},
        "on": line["face"] or f"{line['front']} / {line['rear']}",
        "readings": str(line["readings"]),
        "garbled": str(line["garbled"] or ""),
        "stations": str(line["stations"]),
        "reach": reach,
        "ended": "" if line["complete"] else "cut short",
    }


def _correction_words(line: dict[str, Any], inch: bool) -> list[str]:
    """What was corrected in a traverse, one reading a line: what counts, what was read, why."""
    return [
        f"traverse {line['number']}, {length_text(each['station_mm'], inch)}: "
        f"{each['now']} instead of {each['was']}: {each['because']}"
        for each in line["corrections"]
    ]


def _test_words(kept: dict[str, Any]) -> str:
    """A test that was kept: its number, what it was, when, and its readings as they are kept."""
    readings = ", ".join(f"{name} {_reading_words(value)}" for name, value in kept["readings"].items())
    note = f" ({kept['note']})" if kept["note"] else ""
    return f"test {kept['number']}, {kept['test']}, {kept['created_utc']}{note}: {readings}"


def _reading_words(value: Any) -> str:
    if isinstance(value, list):
        return " ".join(map(_reading_words, value))
    return f"{value:g}" if isinstance(value, float) else str(value)


def _table(rows: list[dict[str, str]]) -> list[str]:
    if not rows:
        return []
    shown = [name for name in _HEADINGS if name == "ended" or any(row[name] for row in rows)]
    widths = {name: max(len(_HEADINGS[name]), *(len(row[name]) for row in rows)) for name in shown}

    def line(cells: dict[str, str]) -> str:
        padded = (
            cells[name].rjust(widths[name]) if name in _RIGHT else cells[name].ljust(widths[name])
            for name in shown
        )
        return "  ".join(padded).rstrip()

    return [line(_HEADINGS), *map(line, rows)]


def _stream_words(stream: dict[str, Any]) -> str:
    counts = [f"{stream[name]} {name.replace('_', ' ')}" for name in _COUNTED if stream[name]]
    told = ", ".join([f"{stream['good']} good", *counts])
    lasted = f" in {stream['lasted_s']:.1f} s" if stream["lasted_s"] else ""
    readings = f"{stream['readings']} readings{lasted}: {told}; " if stream["readings"] else ""
    readings += f"{stream['garbled']} garbled beside them; " if stream["garbled"] else ""
    unit = "as written" if stream["unit"] == "1" else unit_words(stream["unit"])
    return f"{stream['instrument']} ({unit}): {readings}{stream['raw_bytes']} bytes as they came"


def events_words(events: list[dict[str, Any]]) -> list[str]:
    """The events in order; of a kind that came very often the first few, and how many more."""
    counts, lasts = Counter(event["kind"] for event in events), {e["kind"]: e["time_s"] for e in events}
    said: Counter[str] = Counter()
    lines = []
    for event in events:
        kind = event["kind"]
        said[kind] += 1
        if counts[kind] <= MOST_OF_A_KIND or said[kind] <= SHOWN_OF_MANY:
            lines.append(_event_words(event))
        if counts[kind] > MOST_OF_A_KIND and said[kind] == SHOWN_OF_MANY:
            more = f"and {counts[kind] - SHOWN_OF_MANY} more, the last at {lasts[kind]:.2f} s (all: --json)"
            lines.append(f"{'':11} {kind:<12} {more}")
    return lines


def _event_words(event: dict[str, Any]) -> str:
    return f"{event['time_s']:9.2f} s  {event['kind']:<12} {event['text']}".rstrip()


def _under_way_words(journal: dict[str, Any]) -> str:
    if "unreadable" in journal:
        return journal["unreadable"]
    what = f"{journal['face']}, {journal['instrument']}"
    if journal.get("source") == "enter":
        return (
            f"{journal['file']}: an entry under way or cut short ({what}). "
            "The same `waylog enter` goes on with it; `waylog mend` makes a traverse of what is there."
        )
    reached = f" up to {journal['last_s']:.1f} s" if journal["last_s"] is not None else ""
    return (
        f"{journal['file']}: under way or cut short ({what}, "
        f"{journal['bytes']} bytes{reached}). If nobody is recording it now: `waylog mend`."
    )
