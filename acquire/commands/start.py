"""`waylog start`: make a survey folder with a bed.toml, asked for or given by options."""

import sys
from collections.abc import Callable
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any

import click

from acquire.model.bed_toml.composing import (
    CALLED_ON_A_LATHE,
    INSTRUMENT_KINDS,
    LATHES,
    PRESETS,
    NewBed,
    NewFace,
    compose,
    preset_faces,
)
from acquire.model.bed_toml.reading import parse_bed
from acquire.model.called import Called
from acquire.model.errors import SurveyError, UnitError, told_as
from acquire.model.lengths import in_mm, parse_length
from acquire.model.options import ABOVE_0, Written
from acquire.model.saying import say
from acquire.model.units import parse_degrees

CAUTIONS = """\
Before anything goes on the machine (your local codes and a qualified person come first):
  - Isolate it from the mains and lock it off. Wire nothing into its emergency stop or control.
  - No hands, cables or stands near power feed, leadscrew or chuck.
  - Straightedges, carriages and beds are heavy: lift them properly. Strong magnets pinch.
  - Jacks: small moves, one at a time, every foot kept bearing, never a limb underneath.
  - Taut wires whip: wear eye protection. Mind the class of a laser.
  - Scrapers cut; marking compounds, solvents, old paint and casting dust: gloves, mask, fresh air.
  - Keep mains chargers away from coolant.
  - Let the bed cool first. Never scrape from one survey: repeat it, confirm with blue and a straightedge.
  - Never twist a bed to hide wear."""

ASSUMED = {
    False: {"length": "1500 mm", "pitch": "100 mm", "gauge": "300 mm", "base": "200 mm"},
    True: {"length": "60 in", "pitch": "4 in", "gauge": "12 in", "base": "8 in"},
}
"""What an unanswered question gets, said aloud and to be corrected in the file."""


ASKED_AS = {"front": "front_side", "rear": "rear_side"}
"""Keys of bed.toml whose option is called otherwise."""


class FaceText(click.ParamType):
    """A face as NAME:NORMAL[:flat|ridge|groove[:ACROSS]]; ACROSS is a length."""

    name = "face"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> NewFace:
        """Read one face."""
        if isinstance(value, NewFace):
            return value
        parts = str(value).split(":")
        name, normal, form, across = (*parts, *("up", "flat", "")[len(parts) - 1 :])[:4]
        if len(parts) > 4 or form not in ("flat", "ridge", "groove"):
            self.fail(f"{value!r} is no NAME:NORMAL[:flat|ridge|groove[:ACROSS]]", param, ctx)
        is_inch = ctx is not None and bool(ctx.params.get("inch"))
        across_mm = in_mm(Written().convert(across, param, ctx), is_inch) if across else None
        return NewFace(name, normal, form, across_mm)


class Degrees(click.ParamType):
    """A temperature: 20 °C, 68 °F; a bare number is in °C, and with --inch it needs its unit."""

    name = "temperature"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Read it as °C."""
        if isinstance(value, float):
            return value
        ctx = ctx or click.get_current_context(silent=True)
        is_inch = ctx is not None and bool(ctx.params.get("inch"))
        is_bare = not is_inch and not str(value).strip()[-1:].isalpha()
        try:
            return parse_degrees(f"{value} C" if is_bare else str(value))
        except UnitError:
            self.fail(f"found {str(value)[:40]!r}; needed: a temperature such as 68 °F or 20 °C", param, ctx)


@click.command(name="start")
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.option("--inch", is_flag=True, is_eager=True, help="Show inches and thou; bare lengths are inches.")
@click.option("--name", metavar="WORDS", help="What the machine is called.")
@click.option("--length", type=ABOVE_0, metavar="L", help="Length of the bed.")
@click.option("--pitch", type=ABOVE_0, metavar="L", help="Distance between stations.")
@click.option("--faces", type=click.Choice(list(PRESETS)), help="The usual faces of such a bed.")
@click.option("--gauge", type=ABOVE_0, metavar="L", help="Front way to rear way, middle to middle.")
@click.option(
    "--face",
    "own_faces",
    type=FaceText(),
    multiple=True,
    metavar="NAME:NORMAL[:FORM[:ACROSS]]",
    help="A face of your own; once for each.",
)
@click.option(
    "--instrument",
    "instruments",
    type=click.Choice(list(INSTRUMENT_KINDS)),
    multiple=True,
    help="A kind of instrument; once for each.",
)
@click.option("--base", type=ABOVE_0, metavar="L", help="Distance between the feet of the level.")
@click.option("--origin", metavar="WORDS", help="What the end at station 0 is called.")
@click.option("--far-end", metavar="WORDS", help="What the other end is called.")
@click.option("--front-side", metavar="WORDS", help="What its front is called, as operator's side.")
@click.option("--rear-side", metavar="WORDS", help="What its rear is called.")
@click.option("--seen-from", metavar="WORDS", help="Where one looks at it across from.")
@click.option("--upright/--lying", default=None, help="A column stands upright, station 0 at its bottom.")
@click.option("--stands-on", metavar="WORDS", help="feet, blocks, ...")
@click.option("--clamped/--free", default=None, help="Whether the bed is clamped down.")
@click.option("--headstock-on/--headstock-off", default=None, help="Whether the headstock is on it.")
@click.option("--carriage-on/--carriage-off", default=None, help="Whether the carriage is on it.")
@click.option("--temperature-top", type=Degrees(), metavar="T", help="Of the bed, top.")
@click.option("--temperature-bottom", type=Degrees(), metavar="T", help="Of the bed, bottom.")
@click.option("--asked-of", metavar="WHO", help="Who says so.")
def command(folder: Path, own_faces: tuple[NewFace, ...], **options: Any) -> int:
    """Make the survey folder DIR with a commented bed.toml.

    On a terminal it asks for what no option gives. Otherwise what is missing is filled with
    an example, and said; the file is meant to be edited.
    """
    _refuse_existing(folder)
    say(CAUTIONS, err=True)
    answers = _Answers(options, sys.stdin.isatty())
    if answers.is_person:
        click.echo("", err=True)  # the questions stand apart from the cautions
    new = _described(answers, folder, own_faces)
    text = compose(new)
    bed = parse_bed(text, str(folder / "bed.toml"))
    _write(folder, text)
    say(f"{folder / 'bed.toml'}: {bed.name}, faces {', '.join(bed.faces)}")
    if answers.assumed:
        say(f"taken as examples, put in your own: {', '.join(answers.assumed)}", err=True)
    say("look through it, then take the first traverse: waylog record, enter or import", err=True)
    return 0


def _refuse_existing(folder: Path) -> None:
    if (folder / "bed.toml").exists():
        raise SurveyError(str(folder), "found a survey there", "a new folder", "choose another name")
    if folder.exists() and not folder.is_dir():
        raise SurveyError(str(folder), "found a file of that name", "a new folder", "choose another name")


class _Answers:
    """Options first, then the person at the terminal, then an example that is said to be one."""

    def __init__(self, options: dict[str, Any], is_person: bool):
        self.options, self.is_person = options, is_person
        self.assumed: list[str] = []
        self.faces = ""

    def get(self, key: str, question: str, example: Any, kind: Any = None, show: str | None = None) -> Any:
        """One answer that the file cannot do without."""
        if self.options.get(key) is not None:
            return self.options[key]
        if self.is_person:
            return click.prompt(question, default=show or example, type=kind, err=True, show_choices=False)
        self.assumed.append(f"{key} {show or example}")
        return example

    def maybe(self, key: str, ask: Callable[[], Any]) -> Any:
        """One answer that may stay open."""
        if self.options.get(key) is not None:
            return self.options[key]
        return ask() if self.is_person else None


def _described(answers: _Answers, folder: Path, own_faces: tuple[NewFace, ...]) -> NewBed:
    inch = bool(answers.options["inch"])
    unit = "in" if inch else "mm"

    def length(key: str, question: str) -> float:
        example = ASSUMED[inch][key]
        taken = parse_length(example)
        return in_mm(answers.get(key, f"{question} ({unit})", taken, ABOVE_0, example), inch)

    name = answers.get("name", "What is the machine called?", folder.resolve().name)
    length_of_bed = length("length", "How long is the bed?")
    pitch = length("pitch", "How far apart are the stations?")
    faces = own_faces or _preset(answers, length)
    instruments = answers.options["instruments"] or _ask_instruments(answers)
    levels = any(kind in ("level", "vial") for kind in instruments)
    base = (
        length("base", "How far apart are the level's feet?")
        if levels
        else in_mm(parse_length(ASSUMED[inch]["base"]), inch)
    )
    called = _called(answers, bool(own_faces))
    state = _state(answers, called)
    display = "inch" if inch else "metric"
    return NewBed(name, length_of_bed, pitch, faces, instruments, base, display, called, state)


def _preset(answers: _Answers, length: Callable[[str, str], float]) -> tuple[NewFace, ...]:
    if answers.is_person and answers.options["faces"] is None:
        for name, (words, _) in PRESETS.items():
            say(f"  {name:13} {words}", err=True)
    name = answers.get("faces", "Which faces has it?", "vee-and-flat", click.Choice(list(PRESETS)))
    answers.faces = name
    gauge = length("gauge", "From the front way to the rear way?") if name != "one-flat" else 0.0
    return preset_faces(name, gauge)


def _ask_instruments(answers: _Answers) -> tuple[str, ...]:
    if not answers.is_person:
        answers.assumed.append("instruments level, indicator")
        return ("level", "indicator")
    for kind, text in INSTRUMENT_KINDS.items():
        say(f"  {kind:13} {text.partition('# ')[2].partition(chr(10))[0]}", err=True)
    while True:
        words = click.prompt("Which instruments are there?", default="level, indicator", err=True)
        kinds = tuple(dict.fromkeys(words.replace(",", " ").split()))
        if kinds and all(kind in INSTRUMENT_KINDS for kind in kinds):
            return kinds
        wrong = next((kind for kind in kinds if kind not in INSTRUMENT_KINDS), "nothing")
        say(f"  found {wrong}; of these: {', '.join(INSTRUMENT_KINDS)}", err=True)


def _called(answers: _Answers, has_own_faces: bool) -> dict[str, str]:
    """What the ends and sides are called; on a lathe as they are on lathes, elsewhere as somebody says."""
    is_lathe = not has_own_faces and answers.faces in LATHES and not answers.options["upright"]
    usual = CALLED_ON_A_LATHE if is_lathe else {}
    if answers.options["upright"] is None and not is_lathe:
        answers.options["upright"] = answers.is_person and _yes("Does it stand upright, as a column?")
    called = {"stands": "upright"} if answers.options["upright"] else {}
    plain = Called.of(**called)
    is_open = is_lathe and answers.is_person
    is_open = is_open and not any(answers.options[ASKED_AS.get(key, key)] for key in usual)
    if is_open and _yes("Is station 0 at the headstock, the operator in front?") is not False:
        return called | usual
    questions = {
        "origin": ("What is the end at station 0 called?", plain.origin),
        "far_end": ("And its other end?", plain.far_end),
        "front": ("What is its front side called?", plain.front),
        "rear": ("And its rear?", plain.rear),
        "seen_from": ("From where does one look at it across?", plain.seen_from),
    }
    for key, (question, example) in questions.items():
        ask = partial(click.prompt, question, default=usual.get(key, example), err=True)
        words = answers.maybe(ASKED_AS.get(key, key), ask)
        said = words or usual.get(key)
        if said and said != example:
            called[key] = said
    return called


def _state(answers: _Answers, called: dict[str, str]) -> dict[str, Any]:
    """How the bed stands; what is not known stays out."""
    state = {
        "stands_on": answers.maybe(
            "stands_on", lambda: _words("What does the bed stand on? (feet, blocks, ...)")
        ),
        "clamped": answers.maybe("clamped", lambda: _yes("Is it clamped down?")),
        "headstock_on": answers.maybe(
            "headstock_on",
            lambda: _yes("Is the headstock on it?") if "headstock" in called.get("origin", "") else None,
        ),
        "carriage_on": answers.maybe("carriage_on", lambda: _yes("Is the carriage on it?")),
        "temperature_top_degC": answers.maybe(
            "temperature_top", lambda: _degrees("Temperature of its top", answers.options["inch"])
        ),
        "temperature_bottom_degC": answers.maybe(
            "temperature_bottom",
            lambda: _degrees("Temperature of its bottom", answers.options["inch"]),
        ),
        "asked_of": answers.maybe("asked_of", lambda: _words("Who says so? (a name or initials)")),
        "asked_on": datetime.now(UTC).astimezone().strftime("%Y-%m-%d %H:%M"),
    }
    return {key: value for key, value in state.items() if value is not None}


def _words(question: str) -> str | None:
    """Words, or None where Enter alone was typed."""
    suffix = " " if question.endswith("?") else ": "
    words = click.prompt(question, default="", show_default=False, prompt_suffix=suffix, err=True)
    return words.strip() or None


def _yes(question: str) -> bool | None:
    choice = click.prompt(
        f"{question} (y, n; Enter: not known)",
        default="?",
        type=click.Choice(["y", "n", "?"]),
        show_choices=False,
        show_default=False,
        err=True,
    )
    return None if choice == "?" else choice == "y"


def _degrees(question: str, inch: bool) -> float | None:
    answer = click.prompt(
        f"{question}{' in °C' if not inch else ', as 68 F or 20 C'} (Enter: not known)",
        default="",
        show_default=False,
        value_proc=lambda text: Degrees().convert(text, None, None) if text.strip() else "",
        err=True,
    )
    return None if answer == "" else float(answer)


def _write(folder: Path, text: str) -> None:
    """Put bed.toml in place only where none has come meanwhile."""
    from acquire.store.safe_files import write_file

    with told_as(SurveyError, folder, "cannot be written", "a folder to write in"):
        (folder / "traverses").mkdir(parents=True, exist_ok=True)
        write_file(folder / "bed.toml", text.encode("utf-8"))
