"""The instruments of the invented bench, and the survey's description of them.

What `bed.toml` states of each is what a careful owner would: its noise in the long
run, not the figures of the simulation to the last digit.
"""

from collections.abc import Mapping, Sequence

from acquire.simulated.instruments import SimulatedInstrument, comma_line, fixed_line, labelled_line
from acquire.simulated.physics import Offset, Position, Roll, Slope
from acquire.simulated.truth import InventedBed, InventedFace

BASE_MM = 200.0
SCALE_OFFSET_MM = 40.0
ARCSECONDS_PER_UM_PER_M = 0.2062648062470964
"""pi/648000 rad to the arcsecond."""
SPEAKING = ("long-level", "cross-level", "indicator", "scale")


def long_level(face: str) -> SimulatedInstrument:
    """An electronic level on feet 200 mm apart, with some damping and a slow drift."""
    return SimulatedInstrument(
        Slope(face, BASE_MM),
        fixed_line(decimals=1, digits=8),
        resolution=0.1,
        lag_s=0.4,
        white=1.0,
        flicker=0.4,
        drift_per_hour=20.0,
        zero=31.0,
        seating_um=0.3,
        in_the_hand=300.0,
        garbled_chance=0.002,
        baud=9600,
    )


def cross_level(front: str = "front-vee", rear: str = "rear-flat") -> SimulatedInstrument:
    """A level on a bridge across both ways, reading arcseconds."""
    return SimulatedInstrument(
        Roll(front, rear),
        labelled_line("B", "arcsec", decimals=2, digits=7),
        shown_per_unit=ARCSECONDS_PER_UM_PER_M,
        resolution=0.05,
        lag_s=0.3,
        white=1.0,
        flicker=0.4,
        drift_per_hour=10.0,
        zero=-12.0,
        seating_um=0.3,
        in_the_hand=200.0,
        garbled_chance=0.002,
        baud=9600,
    )


def indicator(face: str = "rear-flat", reference: str = "front-vee") -> SimulatedInstrument:
    """An electronic indicator on a stand that slides along one way and touches the other."""
    return SimulatedInstrument(
        Offset(face, reference),
        comma_line(decimals=4, digits=7),
        shown_per_unit=0.001,
        resolution=0.0002,
        lag_s=0.1,
        white=0.25,
        flicker=0.15,
        zero=240.0,
        seating_um=0.3,
        garbled_chance=0.002,
        baud=9600,
    )


def scale() -> SimulatedInstrument:
    """A scale along the bed, read to a micrometre; coarser steps would show as false acceleration."""
    return SimulatedInstrument(
        Position(SCALE_OFFSET_MM),
        fixed_line(decimals=3, digits=8),
        resolution=0.001,
        garbled_chance=0.001,
        baud=9600,
    )


def vial(face: str) -> SimulatedInstrument:
    """A level with a bubble, 0.02 mm/m to the division, read by eye to a fifth of one."""
    return SimulatedInstrument(
        Slope(face, BASE_MM),
        fixed_line(decimals=1, digits=3),
        shown_per_unit=1 / 20,
        resolution=0.2,
        white=1.0,
        zero=8.0,
        seating_um=0.4,
    )


def description(
    bed: InventedBed,
    urls: Mapping[str, str],
    faces: Sequence[str] | None = None,
) -> str:
    """The text of a `bed.toml` for the invented bed, with the ports that its instruments speak over.

    `faces` names those to describe; all of them where it is left out.
    """
    described = "".join(_face(name, bed.faces[name], bed.length_mm) for name in faces or bed.faces)
    instruments = "".join(
        text + _port(name, urls[name]) + _WIRES[name] if name in urls else text
        for name, text in _INSTRUMENTS.items()
        if name in urls or name == "vial"
    )
    return _BED.format(length_mm=bed.length_mm, seed=bed.seed) + described + instruments


def _face(name: str, face: InventedFace, length_mm: float) -> str:
    lines = [f"\n[faces.{name}]", f'normal = "{face.normal}"', f"across_mm = {face.across_mm:g}"]
    if face.form:
        lines += ['shape = "vee"', f'form = "{face.form}"', "vee_angle_deg = 90"]
    if face.carriage:
        lines.append(f'carriage = "{face.carriage}"')
        lines.append(f"unworn_mm = [[{0.8 * length_mm:g}, {length_mm:g}]]")
    return "\n".join(lines) + "\n"


def _port(name: str, url: str) -> str:
    return f'[instruments.{name}.port]\nurl = "{url}"\nbaud = 9600\n'


_BED = """\
# INVENTED: this bed and its instruments exist nowhere. A simulation made them up.
# The ports below were lines of that simulation and are gone when it has ended.
#
# At a real machine, before anything goes on the bed: isolate it from the mains and
# lock it off; no hands, cables or stands near power feed, leadscrew or chuck; wire
# nothing into the emergency stop or the control. Never scrape from one survey:
# repeat it, and confirm with blue and a straightedge. Local codes and licensed
# practice come first.

[bed]
name = "invented lathe bed (simulation, seed {seed})"
origin = "headstock end"
length_mm = {length_mm:g}
station_pitch_mm = 100
display = "metric"
centre_height_mm = 170
carriage_length_mm = 300
carriage_bears = "ends"

[state]
stands_on = "feet"
clamped = false
headstock_on = true
carriage_on = false
temperature_top_degC = 20.0
temperature_bottom_degC = 20.0
asked_of = "nobody: invented"
"""

_INSTRUMENTS = {
    "long-level": """
[instruments.long-level]         # invented: electronic level, feet 200 mm apart
quantity = "slope"
unit = "um/m"
base_mm = 200
gravity = true
resolution = 0.1
standard_uncertainty = 0.5       # of one station, from a still record
seating_um = 0.3                 # each foot, by lifting and replacing
lag_s = 0.4
""",
    "cross-level": """
[instruments.cross-level]        # invented: level on a bridge across both ways
quantity = "roll"
unit = "arcsec"
gravity = true
resolution = 0.05
standard_uncertainty = 0.1       # 0.5 um/m
seating_um = 0.3
lag_s = 0.3
""",
    "indicator": """
[instruments.indicator]          # invented: electronic indicator on a sliding stand
quantity = "offset"
unit = "mm"
resolution = 0.0002
standard_uncertainty = 0.0002
seating_um = 0.3
overhang_along_mm = 0            # its plunger stands over the middle of the stand
""",
    "scale": f"""
[instruments.scale]              # invented: scale along the bed
quantity = "position"
unit = "mm"
resolution = 0.001
offset_mm = {SCALE_OFFSET_MM:g}
""",
    "vial": """
[instruments.vial]               # invented: level with a bubble, read by eye and typed
quantity = "slope"
unit = "mm/m"
per_division = 0.02
base_mm = 200
resolution = 0.2
standard_uncertainty = 0.1       # divisions: 2 um/m
seating_um = 0.4
""",
}

_WIRES = {
    "long-level": r"""[instruments.long-level.wire]
kind = "lines"
pattern = '(?P<value>[-+]\d{6}\.\d)'
""",
    "cross-level": r"""[instruments.cross-level.wire]
kind = "lines"
pattern = 'B (?P<value>[-+]\d{4}\.\d\d) arcsec'
""",
    "indicator": r"""[instruments.indicator.wire]
kind = "lines"
pattern = '(?P<value>[-+]\d\d,\d{4})'
decimal = ","
ends = "cr"
""",
    "scale": r"""[instruments.scale.wire]
kind = "lines"
pattern = '(?P<value>[-+]\d{4}\.\d{3})'
""",
}
