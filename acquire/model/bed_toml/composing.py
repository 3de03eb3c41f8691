"""Writes a first `bed.toml`, with the comments that somebody needs to fill in the rest."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from string import Template
from typing import Any

from acquire.model.errors import BedError
from acquire.model.units import MM_PER_INCH


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
    called: Mapping[str, str] = field(default_factory=dict)
    """Words for its ends and sides, by their keys in bed.toml."""
    state: Mapping[str, Any] = field(default_factory=dict)

    @property
    def is_inch(self) -> bool:
        """Whether it is written and shown in inches."""
        return self.display == "inch"


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


LATHES = ("vee-and-flat", "two-vees", "four-ways")
CALLED_ON_A_LATHE = {
    "origin": "headstock end",
    "far_end": "tailstock end",
    "front": "operator's side",
    "seen_from": "tailstock end",
}
"""What the ends and sides of a lathe are called, unless somebody says otherwise."""


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
unit = "$slope_unit"                # um/m mm/m arcsec deg in/ft thou/ft
$base   # between the middles of its feet: measure it
resolution = $slope_step                   # the smallest step it shows
standard_uncertainty = $slope_u       # of one reading, same unit: put your own figure here
# $seating           # what lifting it and putting it back varies by at a foot:
                                 # read one place ten times, lifting it each time
# when it has a cable:
# [instruments.level.port]
# url = "/dev/serial/by-id/..."
# baud = 9600
# [instruments.level.wire]
# kind = "lines"
# example = "+012.3 um/m"        # a line as it sends it; `waylog identify PORT` writes this for you
""",
    "vial": """\
[instruments.vial]               # a block level with a graduated vial
quantity = "slope"
unit = "$vial_unit"
per_division = $division              # what one division is worth, in `unit`, or as the level
                                 # says it: "0.0005 in/10 in", "0.02 mm/m", "4 arcsec"
$base   # between the middles of its feet
resolution = 0.2                 # in divisions
standard_uncertainty = 0.2       # in divisions: put your own figure here
# footprint = "full"             # if it lies on its whole length instead of on two feet
""",
    "cross-level": """\
[instruments.cross-level]        # a level on a bridge across two ways
quantity = "roll"
unit = "$slope_unit"
resolution = $slope_step
standard_uncertainty = $slope_u       # put your own figure here
""",
    "indicator": """\
[instruments.indicator]          # a dial or digital indicator on a stand or carriage
quantity = "offset"
unit = "$offset_unit"                      # um mm thou in
resolution = $offset_step
standard_uncertainty = $offset_u       # put your own figure here
# sign = -1                      # if it counts down when the plunger is pushed in
# $carrier_feet   # the stand's feet along the reference, and where the plunger is
# $ahead   # from its middle, further along the bed (0: over the middle)
# $overhang   # and across: its pitch and roll act on these arms
""",
    "micrometer": """\
[instruments.micrometer]         # across two faces, or over a roller in a vee
quantity = "span"
unit = "$place_unit"
resolution = $span_step
standard_uncertainty = $span_u     # put your own figure here
""",
    "scale": """\
[instruments.scale]              # tells where the carriage is while a traverse is recorded
quantity = "position"
unit = "$place_unit"
resolution = $place_step
# $offset   # added to what it shows, so that it shows 0 at station 0
""",
}
"""Tables for the kinds of instrument that most shops have; typical figures, to be replaced by one's own."""

_FIGURES: Mapping[bool, Mapping[str, str]] = {
    False: {
        "slope_unit": "um/m", "slope_step": "1", "slope_u": "1.0", "vial_unit": "mm/m", "division": "0.02",
        "offset_unit": "um", "offset_step": "1", "offset_u": "1.0", "place_unit": "mm", "place_step": "0.01",
        "span_step": "0.001", "span_u": "0.002", "seating": "seating_um = 0.5", "offset": "offset_mm = 0",
        "carrier_feet": "carrier_feet_mm = 90", "overhang": "overhang_across_mm = 120",
        "ahead": "overhang_along_mm = 0",
        "stations": "stations_mm = [0, 60, 150]", "carriage": "carriage_length_mm = 300",
        "height": "centre_height_mm = 170", "apron": "apron_mm = -100",
        "joints": "joints_mm = [700]", "depth": "depth_mm = 300",
        "unworn": "unworn_mm = [[0, 80]]",
        "foot": "station_mm = 100", "foot_across": "across_mm = 0", "edge": "length_mm = 610",
        "span": "span_mm = 1800", "straightness": "straightness_um = { rear-flat = 15 }",
        "twist": "twist_um_per_m = 20", "hand_step": "hand_step_um = 25",
        "turn": "um_per_turn = 2000",
    },
    True: {
        "slope_unit": "thou/ft", "slope_step": "0.01", "slope_u": "0.01", "vial_unit": "in/ft",
        "division": "0.0005", "offset_unit": "thou", "offset_step": "0.1", "offset_u": "0.05",
        "place_unit": "in", "place_step": "0.0005", "span_step": "0.0001", "span_u": "0.0001",
        "seating": 'seating = "0.02 thou"', "offset": 'offset = "0 in"',
        "carrier_feet": 'carrier_feet = "3 1/2 in"', "overhang": 'overhang_across = "4 3/4 in"',
        "ahead": 'overhang_along = "0 in"',
        "stations": 'stations = ["0 in", "2 1/2 in", "6 in"]', "carriage": 'carriage_length = "12 in"',
        "height": 'centre_height = "6 3/4 in"', "apron": 'apron = "-4 in"',
        "joints": 'joints = ["28 in"]', "depth": 'depth = "12 in"',
        "unworn": 'unworn = [["0 in", "3 in"]]', "foot": 'station = "4 in"', "foot_across": 'across = "0 in"',
        "edge": 'length = "24 in"', "span": 'span = "6 ft"',
        "straightness": 'straightness = { rear-flat = "0.6 thou" }', "twist": 'twist = "0.25 thou/ft"',
        "hand_step": 'hand_step = "1 thou"',
        "turn": 'lift_per_turn = "1/12 in"',
    },
}  # fmt: skip
"""Lines and figures in the survey's own units: of a metric one, and of one in inches."""


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
    parts = [_bed_table(new), _FACES_SAID, *(_face_table(face, new) for face in new.faces), _INSTRUMENTS_SAID]
    parts += [INSTRUMENT_KINDS[kind] for kind in new.instruments]
    parts += [
        _REST,
        "\n".join(_state_lines(new.state, new.is_inch, "headstock" in new.called.get("origin", ""))) + "\n",
    ]
    figures = {**_FIGURES[new.is_inch], "base": _length_line("base", new.base_mm, new.is_inch)}
    return _aligned(Template("\n".join(parts)).substitute(figures))


def _aligned(text: str) -> str:
    """The remarks behind keys below each other.

    Examples
    --------
    >>> _aligned("display = 1 # a remark\\nlonger_key = 2    # another")
    'display = 1 # a remark\\nlonger_key = 2                   # another'
    """
    return re.sub(r"(?m)^(.*?\S) {2,}# ", lambda found: f"{found[1]:<32} # ", text)


def _length_line(key: str, mm: float, is_inch: bool) -> str:
    """One length, in inches where the survey is and they come out.

    Examples
    --------
    >>> _length_line("length", 1524.0, True), _length_line("length", 1500.0, True)
    ('length = "60 in"', 'length_mm = 1500')
    """
    inches = round(mm / MM_PER_INCH, 4)
    if is_inch and round(inches * MM_PER_INCH, 6) == round(mm, 6):
        return f'{key} = "{inches:.10g} in"'
    return f"{key}_mm = {mm:.10g}"


def _quoted(text: str) -> str:
    if not text.isprintable() or not text:
        raise BedError("name", f"found {text!r}", "a name of printable characters")
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"').replace("$", "$$") + '"'


def _bed_table(new: NewBed) -> str:
    return f"""\
# The machine under measurement. waylog checks all of this when it reads it. A length is a number under
# a key that ends in _mm, or a text with its unit without that ending: length = "42 in", base = "8 in".
# Stations run along it from 0 at one end; across from front to rear. What you call these, say here:
# every sentence and picture then says so.

[bed]
name = {_quoted(new.name)}
{_length_line("length", new.length_mm, new.is_inch)}
{_length_line("station_pitch", new.station_pitch_mm, new.is_inch)}           # heights are wanted so far apart
# $stations     # or at these places instead of a pitch
{_called_lines(new.called)}
display = {_quoted(new.display)}               # metric | inch: what people are shown
# $carriage       # bearing length of the carriage along the bed
# carriage_bears = "ends"        # ends (usual once worn) | average
# $height         # spindle axis above the carriage ways
# $apron          # across: where pinion or half nuts are, for the drop of the saddle
# $joints             # where two pieces of the bed meet
# $depth                 # of the bed casting, for bending by a temperature difference
"""


_FACES_SAID = """\
# One table per face. normal: the way it looks, up | down | front | rear.
# unworn names stretches that the carriage never reached, runs = false a face that nothing runs on:
# with the places of the feet they tell wear from a bent bed. Feet, in pairs front and rear:
# [feet.front-head]
# $foot
# $foot_across
# $turn             # lift of one turn of its screw
# $hand_step              # the smallest lift that a hand can set
"""


def _called_lines(called: Mapping[str, str]) -> str:
    """The words for ends and sides; those that nobody said as a line to be filled in."""
    examples = {"origin": "near end", "far_end": "far end", "front": "window side", "rear": "wall side",
                "seen_from": "door", "stands": "lying"}  # fmt: skip
    remarks = {"origin": "the end at station 0", "seen_from": "where one looks at it across from",
               "stands": "lying | upright (a column: station 0 at its bottom)"}  # fmt: skip
    lines = []
    for key, example in examples.items():
        line = f"{key} = {_quoted(called[key])}" if key in called else f"# {key} = {_quoted(example)}"
        lines.append(f"{line}   # {remarks[key]}" if key in remarks else line)
    return "\n".join(lines)


def _face_table(face: NewFace, new: NewBed) -> str:
    lines = [f"[faces.{face.id}]", f"normal = {_quoted(face.normal)}"]
    if face.form != "flat":
        lines += [
            'shape = "vee"',
            f"form = {_quoted(face.form)}",
            "vee_angle_deg = 90               # included",
        ]
    if face.across_mm is not None:
        lines.append(_length_line("across", face.across_mm, new.is_inch))
    if face.carriage:
        lines.append(f"carriage = {_quoted(face.carriage)}               # the carriage rides it")
    return "\n".join([*lines, "# $unworn", ""])


_INSTRUMENTS_SAID = """\
# Instruments. The figures are typical ones: put in what yours have.
"""

_REST = """\
# [straightedges.two-foot]       # a straightedge used as a reference, for its sag
# $edge
# [wires.steel]                  # a taut wire, for its sag
# mass_g_per_m = 0.5
# tension_n = 50
# $span

# Limits of your own for this machine (none are built in); `waylog limits` judges them.
# [limits]
# $straightness
# $twist

# How the bed stood when it was measured. Every traverse keeps this: before and after
# can only be compared if it was the same. Change it when the bed is moved or clamped.
"""


def _state_lines(state: Mapping[str, Any], is_inch: bool, is_lathe: bool) -> Iterator[str]:
    yield "[state]"
    for key, value in state.items():
        if isinstance(value, bool):
            yield f"{key} = {'true' if value else 'false'}"
        elif is_inch and key.endswith("_degC"):
            yield f'{key.removesuffix("_degC")} = "{1.8 * value + 32:.10g} °F"'
        elif isinstance(value, int | float):
            yield f"{key} = {value:.10g}"
        else:
            yield f"{key} = {_quoted(str(value))}"
    known = ("stands_on", "clamped", "carriage_on", "temperature_top_degC", "temperature_bottom_degC")
    asked = ("headstock_on",) if is_lathe else ()
    unknown = [key for key in (*asked, *known) if key not in state]
    if unknown:
        yield "# not said: " + ", ".join(unknown)
