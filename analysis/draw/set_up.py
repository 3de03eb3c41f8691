"""How an instrument stands on the bed for one run: the sheet's drawings, small enough for a phone.

The command line hands `set_up` to `waylog page`, which knows only that it gives plain values.
"""

import re
from collections.abc import Sequence
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from acquire.model.bed import Bed
from acquire.model.traverse import Setup
from acquire.model.units import MM_PER_INCH
from analysis.draw.figures.from_above import Outline, draw_from_above
from analysis.draw.figures.looks import inline_svg, look
from analysis.draw.figures.section import draw_section
from analysis.draw.sheets import sign_words

WIDTH, ABOVE, SECTION = 76.0, 21.0, 28.0
"""Of both, and the heights of the view from above and of the section, in mm as if printed: on a phone
they are shown half as large again, and their words are as large as those around them."""
AT = Outline(3.0, WIDTH - 3.0, 2.0, 16.0)
LETTER = 0.035
"""Width of a letter in the section, the distance of the outermost ways being one."""
POINTS_PER_MM = 72 / MM_PER_INCH
_STYLE = re.compile(r"<style.*?</style>", re.DOTALL)
"""Only how lines meet; a page that takes no style sheet but its own would complain of it."""


def set_up(setup: Setup, station_mm: Sequence[float]) -> dict[str, Any]:
    """The drawing of a run, where on it the feet are to be marked, and what + and − mean.

    Parameters
    ----------
    setup : Setup
    station_mm : sequence of float
        Where it is read.

    Returns
    -------
    dict
        `drawing`, the bed from above as an SVG element; `marks`, in its coordinates: `left` and `right`
        are the ends of the bed, `length_mm` apart, `across` where the faces lie that are read
        and `carriers` those that the instrument is carried along;
        `section`, the bed across, likewise drawn; `signs`, words.
    """
    faces = faces_read(setup)
    across = AT.across(setup.bed)
    return {
        "drawing": _plain(_from_above(setup.bed, faces, station_mm), "from-above"),
        "section": _plain(_across(setup.bed, faces, carriers_of(setup)), "across"),
        "marks": {
            "left": AT.left * POINTS_PER_MM,
            "right": AT.right * POINTS_PER_MM,
            "length_mm": setup.bed.length_mm,
            "across": [across[name] * POINTS_PER_MM for name in faces],
            "carriers": [across[name] * POINTS_PER_MM for name in carriers_of(setup)],
        },
        "signs": sign_words(setup.described, setup.bed.called),
    }


def faces_read(setup: Setup) -> tuple[str, ...]:
    """The faces that it stands on or touches: on the carriage, the ways that this rides."""
    bed = setup.bed
    if setup.front is not None and setup.rear is not None:
        names = [setup.front, setup.rear]
    elif setup.touched is not None and setup.touched.is_carriage:
        names = bed.ridden_ways()
    else:
        names = [
            *([] if setup.touched is None else setup.touched.names),
            *([setup.other] if setup.other else []),
        ]
    return tuple(name for name in names if name in bed.faces)


def carriers_of(setup: Setup) -> tuple[str, ...]:
    """The faces that an instrument is carried along while it reads another."""
    carrier = setup.carried_by
    if carrier is None or setup.front is not None:
        return ()
    names = setup.bed.ridden_ways() if carrier.is_carriage else carrier.names
    return tuple(name for name in names if name in setup.bed.faces)


def _from_above(bed: Bed, faces: Sequence[str], station_mm: Sequence[float]) -> Figure:
    with look():
        figure, axes = _empty(ABOVE)
        axes.set_xlim(0, WIDTH)
        axes.set_ylim(ABOVE, 0)
        axes.set_axis_off()
        draw_from_above(axes, bed, faces, station_mm, AT)
    return figure


def _across(bed: Bed, faces: Sequence[str], carriers: Sequence[str]) -> Figure:
    with look():
        figure, axes = _empty(SECTION)
        draw_section(axes, bed, {}, {}, faces, named=(*faces, *carriers), letter=LETTER)
    return figure


def _empty(height: float) -> tuple[Figure, Axes]:
    figure = Figure(figsize=(WIDTH / MM_PER_INCH, height / MM_PER_INCH))
    return figure, figure.add_axes((0.0, 0.0, 1.0, 1.0))


def _plain(figure: Figure, name: str) -> str:
    return _STYLE.sub("", inline_svg(figure, name))
