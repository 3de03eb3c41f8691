"""Writes a first `bed.toml`, with the comments that somebody needs to fill in the rest."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from acquire.model.errors import BedError


@dataclass(frozen=True)
class NewFace:
    """A face as somebody names it at the start."""

    id: str
    normal: str = "up"
    form: str = "flat"
    """flat | ridge | groove; the last two are vees."""
    across_mm: float | None = None
    carriage: str | None = None


@dataclass(frozen=True)
class NewBed:
    """All that is asked at the start of a survey."""

    name: str
    length_mm: float
    station_pitch_mm: float
    faces: Sequence[NewFace]
    instruments: Sequence[str] = ()
    """Keys of `INSTRUMENT_KINDS`."""
    base_mm: float = 200.0
    display: str = "metric"
    state: Mapping[str, Any] = field(default_factory=dict)


PRESETS: Mapping[str, tuple[str, tuple[tuple[str, str, str | None, float], ...]]] = {
    "vee-and-flat": (
        "a lathe bed: the carriage on a front vee and a rear flat",
        (("front-vee", "ridge", "front", 0.0), ("rear-flat", "flat", "rear", 1.0)),
    ),
    "two-vees": (
        "a lathe bed: the carriage on two vees",
        (("front-vee", "ridge", "front", 0.0), ("rear-vee", "ridge", "rear", 1.0)),
    ),
    "two-flats": (
        "a bed with two flat ways",
        (("front-flat", "flat", "front", 0.0), ("rear-flat", "flat", "rear", 1.0)),
    ),
    "four-ways": (
        "a lathe bed: carriage ways outside, tailstock ways between them",
        (
            ("front-vee", "ridge", "front", 0.0),
            ("tailstock-flat", "flat", None, 0.3),
            ("tailstock-vee", "ridge", None, 0.7),
            ("rear-flat", "flat", "rear", 1.0),
        ),
    ),
    "vee-grooves": (
        "a grinder's or planer's bed: a vee groove and a flat",
        (("front-vee", "groove", "front", 0.0), ("rear-flat", "flat", "rear", 1.0)),
    ),
    "one-flat": ("a single flat way, a straightedge or a plate's line", (("way", "flat", None, 0.0),)),
}
"""Name -> (words, faces as (id, form, which end of the carriage, part of the gauge width))."""


def preset_faces(name: str, gauge_mm: float) -> tuple[NewFace, ...]:
    """The faces of a preset, `gauge_mm` apart between the front and the rear one.

    Examples
    --------
    >>> [(face.id, face.across_mm) for face in preset_faces("vee-and-flat", 300.0)]
    [('front-vee', 0.0), ('rear-flat', 300.0)]
    """
    _, faces = PRESETS[name]
    return tuple(
        NewFace(face_id, "up", form, round(part * gauge_mm, 3), carriage)
        for face_id, form, carriage, part in faces
    )


INSTRUMENT_KINDS: Mapping[str, str] = {
    "level": """\
[instruments.level]              # an electronic level on two feet
quantity = "slope"
unit = "um/m"                    # um/m mm/m arcsec deg in/ft
base_mm = {base_mm}                    # between the middles of its feet: measure it
resolution = 1                   # the smallest step it shows
standard_uncertainty = 1.0       # of one reading, same unit: put your own figure here
# seating_um = 0.5               # what lifting it and putting it back varies by, in µm at a foot:
                                 # read one place ten times, lifting it each time
# when it has a cable:
# [instruments.level.port]
# url = "/dev/serial/by-id/..."
# baud = 9600
# [instruments.level.wire]
# kind = "lines"
# pattern = '(?P<value>[-+]?\\d+(?:\\.\\d+)?)'
""",
    "vial": """\
[instruments.vial]               # a block level with a graduated vial
quantity = "slope"
unit = "mm/m"
per_division = 0.02              # what one division is worth, in `unit`: it is written on the level
base_mm = {base_mm}                    # between the middles of its feet
resolution = 0.2                 # in divisions
standard_uncertainty = 0.2       # in divisions: put your own figure here
# footprint = "full"             # if it lies on its whole length instead of on two feet
""",
    "cross-level": """\
[instruments.cross-level]        # a level on a bridge across two ways
quantity = "roll"
unit = "um/m"
resolution = 1
standard_uncertainty = 1.0       # put your own figure here
""",
    "indicator": """\
[instruments.indicator]          # a dial or digital indicator on a stand or carriage
quantity = "offset"
unit = "um"                      # um mm thou in
resolution = 1
standard_uncertainty = 1.0       # put your own figure here
# sign = -1                      # if it counts down when the plunger is pushed in
# carrier_feet_mm = 90           # the stand's feet along the reference, and where the plunger is
# overhang_across_mm = 120       # from its middle: its pitch and roll act on these arms
""",
    "micrometer": """\
[instruments.micrometer]         # across two faces, or over a roller in a vee
quantity = "span"
unit = "mm"
resolution = 0.001
standard_uncertainty = 0.002     # put your own figure here
""",
    "scale": """\
[instruments.scale]              # tells where the carriage is while a traverse is recorded
quantity = "position"
unit = "mm"
resolution = 0.01
# offset_mm = 0                  # added to what it shows: station 0 is the headstock end
""",
}
"""Tables for the kinds of instrument that most shops have; typical figures, to be replaced by one's own."""


def compose(new: NewBed) -> str:
    """The text of a first `bed.toml`.

    Raises
    ------
    BedError
        If a name cannot be written down.

    Examples
    --------
    >>> from acquire.model.bed_toml.reading import parse_bed
    >>> bed = parse_bed(compose(NewBed("old lathe", 1500, 100, preset_faces("vee-and-flat", 250))))
    >>> sorted(bed.faces), bed.length_mm
    (['front-vee', 'rear-flat'], 1500.0)
    """
    parts = [_bed_table(new), _FACES_SAID, *map(_face_table, new.faces), _INSTRUMENTS_SAID]
    parts += [INSTRUMENT_KINDS[kind].replace("{base_mm}", f"{new.base_mm:.10g}") for kind in new.instruments]
    parts += [_REST, "\n".join(_state_lines(new.state)) + "\n"]
    return "\n".join(parts)


def _quoted(text: str) -> str:
    if not text.isprintable() or not text:
        raise BedError("name", f"found {text!r}", "a name of printable characters")
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _bed_table(new: NewBed) -> str:
    return f"""\
# The machine under measurement. waylog checks all of this when it reads it.
# Stations run along the bed from 0 at the headstock end; across_mm from front (operator) to rear.

[bed]
name = {_quoted(new.name)}
length_mm = {new.length_mm:.10g}
station_pitch_mm = {new.station_pitch_mm:.10g}           # heights are wanted every so many mm
# stations_mm = [0, 60, 150]     # or at these places instead of a pitch
display = {_quoted(new.display)}               # metric | inch: what people are shown
# carriage_length_mm = 300       # bearing length of the carriage along the bed
# carriage_bears = "ends"        # ends (usual once worn) | average
# centre_height_mm = 170         # spindle axis above the carriage ways
# depth_mm = 300                 # of the bed casting, for bending by a temperature difference
"""


_FACES_SAID = """\
# One table per face. normal: the way it looks, up | down | front | rear.
# unworn_mm names stretches that the carriage never reached, runs = false a face that nothing runs on:
# with the places of the feet they tell wear from a bent bed. Feet, in pairs front and rear:
# [feet.front-head]
# station_mm = 100
# across_mm = 0
# um_per_turn = 2000             # lift of one turn of its screw
# hand_step_um = 25              # the smallest lift that a hand can set
"""


def _face_table(face: NewFace) -> str:
    lines = [f"[faces.{face.id}]", f"normal = {_quoted(face.normal)}"]
    if face.form != "flat":
        lines += [
            'shape = "vee"',
            f"form = {_quoted(face.form)}",
            "vee_angle_deg = 90               # included",
        ]
    if face.across_mm is not None:
        lines.append(f"across_mm = {face.across_mm:.10g}")
    if face.carriage:
        lines.append(f"carriage = {_quoted(face.carriage)}               # the carriage rides it")
    return "\n".join([*lines, "# unworn_mm = [[0, 80]]", ""])


_INSTRUMENTS_SAID = """\
# Instruments. The figures are typical ones: put in what yours have.
"""

_REST = """\
# [straightedges.two-foot]       # a straightedge used as a reference, for its sag
# length_mm = 610
# [wires.steel]                  # a taut wire, for its sag
# mass_g_per_m = 0.5
# tension_n = 50
# span_mm = 1800

# Limits of your own for this machine (none are built in); `waylog limits` judges them.
# [limits]
# straightness_um = { rear-flat = 15 }
# twist_um_per_m = 20

# How the bed stood when it was measured. Every traverse keeps this: before and after
# can only be compared if it was the same. Change it when the bed is moved or clamped.
"""


def _state_lines(state: Mapping[str, Any]) -> Iterator[str]:
    yield "[state]"
    for key, value in state.items():
        if isinstance(value, bool):
            yield f"{key} = {'true' if value else 'false'}"
        elif isinstance(value, int | float):
            yield f"{key} = {value:.10g}"
        else:
            yield f"{key} = {_quoted(str(value))}"
    known = ("stands_on", "clamped", "headstock_on", "carriage_on", "temperature_top_degC")
    unknown = [key for key in (*known, "temperature_bottom_degC") if key not in state]
    if unknown:
        yield "# not said: " + ", ".join(unknown)
