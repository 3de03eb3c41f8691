"""A cross-section of the bed: where each face lies, which way it looks, and its colour.

Across the bed and the angles of vees are to scale where bed.toml gives them; heights of
faces above each other are not described there, so the depth is a sketch.
"""

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from acquire.model.bed import Bed, Face
from analysis.draw.figures.looks import INK, SOFT

BODY = "#e9e9e9"
PLAIN = "#ffffff"
WAY = 0.13
"""Width of a way, of the whole drawing's width."""
DEFAULT_FLANK_DEG = 45.0
DEPTH = 0.34
LEFT, RIGHT = -0.3, 1.3
"""Ends of the drawing, where the ways themselves lie between 0 and 1."""
LETTER = 0.0225
"""Width of a letter on a sheet and in the report."""
Point = tuple[float, float]


def draw_section(
    axes: Axes,
    bed: Bed,
    inks: Mapping[str, Any],
    words: Mapping[str, str],
    marked: Sequence[str] = (),
    *,
    named: Sequence[str] | None = None,
    letter: float = LETTER,
) -> None:
    """Draw the bed across, front on the left, as seen from the far end.

    Parameters
    ----------
    axes : Axes
    bed : Bed
    inks : mapping of face id to colour
        Of the faces that have one; the others stay white.
    words : mapping of face id to text
        A figure to stand beside the face.
    marked : sequence of face id
        Faces to be pointed at.
    named : sequence of face id, optional
        Faces whose names stand there: all of them.
    letter : float, optional
        Width of a letter where the ways lie between 0 and 1: more where the drawing is small.
    """
    across = places_across(bed)
    axes.fill(
        [-0.06, 1.06, 1.06, -0.06], [-DEPTH, -DEPTH, -0.16, -0.16], facecolor=BODY, edgecolor=SOFT, lw=0.7
    )
    points = {}
    for name in across:
        line, body = outline(bed.faces[name], across[name])
        axes.fill(*zip(*body, strict=True), facecolor=BODY, edgecolor=SOFT, linewidth=0.5, zorder=2)
        _draw_face(axes, line, inks.get(name, PLAIN), name in marked)
        points[name] = (float(np.mean([line[0][0], line[-1][0]])), max(y for _, y in line))
    shown = {name: point for name, point in points.items() if named is None or name in named}
    rows = _name_faces(axes, shown, words, letter)
    axes.text(-0.1, -DEPTH, bed.called.front, ha="right", va="bottom", color=SOFT, fontsize=7.5)
    axes.text(1.1, -DEPTH, bed.called.rear, ha="left", va="bottom", color=SOFT, fontsize=7.5)
    axes.set_xlim(LEFT, RIGHT)
    axes.set_ylim(-DEPTH - 0.02, 0.15 + 0.13 * rows)
    axes.set_aspect("equal")
    axes.set_axis_off()


def places_across(bed: Bed) -> dict[str, float]:
    """Where the faces lie, 0 at the front and 1 at the rear; spread evenly where bed.toml does not say."""
    names = list(bed.faces)
    given = [bed.faces[name].across_mm for name in names]
    known = [each for each in given if each is not None]
    if len(known) < len(names) or np.ptp(known) == 0:
        places = np.linspace(0.0, 1.0, len(names)) if len(names) > 1 else np.array([0.5])
    else:
        places = (np.array(known) - min(known)) / np.ptp(known)
    pairs = zip(names, places.tolist(), strict=True)
    return dict(sorted(pairs, key=lambda pair: pair[1]))


def outline(face: Face, at: float) -> tuple[list[Point], list[Point]]:
    """The line that is the face itself, and the metal behind it."""
    half, foot = WAY / 2, -0.16
    if face.normal == "down":
        line = [(at - half, -0.11), (at + half, -0.11)]
        return line, [*line, (at + half, -0.07), (at - half, -0.07)]
    if face.normal in ("front", "rear"):
        out = -0.012 if face.normal == "front" else 0.012
        line = [(at + out, -0.14), (at + out, -0.02)]
        return line, [*line, (at - 2 * out, -0.02), (at - 2 * out, -0.14)]
    if not face.is_vee:
        line = [(at - half, 0.0), (at + half, 0.0)]
        return line, [*line, (at + half, foot), (at - half, foot)]
    return _vee(face, at, half, foot)


def _vee(face: Face, at: float, half: float, foot: float) -> tuple[list[Point], list[Point]]:
    front, rear = face.flank_angles_deg or (DEFAULT_FLANK_DEG, DEFAULT_FLANK_DEG)
    spread = math.tan(math.radians(front)) + math.tan(math.radians(rear))
    height = min(2 * half / spread, 0.15)
    widths = [height * math.tan(math.radians(angle)) for angle in (front, rear)]
    if face.form == "groove":
        line = [(at - widths[0], 0.0), (at, -height), (at + widths[1], 0.0)]
        edge = 0.03
        return line, [(at - widths[0] - edge, 0.0), *line, (at + widths[1] + edge, 0.0),
                      (at + widths[1] + edge, foot), (at - widths[0] - edge, foot)]  # fmt: skip
    line = [(at - widths[0], -height / 2), (at, height / 2), (at + widths[1], -height / 2)]
    return line, [*line, (at + widths[1], foot), (at - widths[0], foot)]


def _draw_face(axes: Axes, line: Sequence[Point], ink: Any, is_marked: bool) -> None:
    x, y = zip(*line, strict=True)
    axes.plot(x, y, color=INK, linewidth=9.0 if is_marked else 6.5, solid_capstyle="butt",
              solid_joinstyle="miter", zorder=3)  # fmt: skip
    axes.plot(x, y, color=INK if is_marked else ink, linewidth=5.0, solid_capstyle="butt",
              solid_joinstyle="miter", zorder=4)  # fmt: skip


def _name_faces(axes: Axes, points: Mapping[str, Point], words: Mapping[str, str], letter: float) -> int:
    """Names and figures above the faces, pushed apart; in two rows where one is too short for all."""
    names = sorted(points, key=lambda name: points[name][0])
    room = RIGHT - LEFT
    rows = 1 if sum(_width(name, letter) for name in names) <= room else 2
    for row in range(rows):
        mine = names[row::rows]
        places = spread(
            [points[name][0] for name in mine], [_width(name, letter) for name in mine], LEFT, RIGHT
        )
        for name, x in zip(mine, places, strict=True):
            text = f"{name}\n{words[name]}" if name in words else name
            axes.annotate(
                text, (points[name][0], points[name][1] + 0.015), (x, 0.15 + 0.12 * row), ha="center",
                va="bottom", fontsize=7.5, linespacing=1.25,
                arrowprops={"arrowstyle": "-", "color": SOFT, "linewidth": 0.5, "shrinkA": 0, "shrinkB": 0},
            )  # fmt: skip
    return rows


def _width(name: str, letter: float) -> float:
    return letter * max(len(name), 4) + 0.03


def spread(places: Sequence[float], widths: Sequence[float], left: float, right: float) -> list[float]:
    """Middles of labels that do not overlap, each as near its place as a pass either way brings it.

    Examples
    --------
    >>> spread([0.5, 0.5], [0.2, 0.2], 0.0, 1.0)
    [0.5, 0.7]
    >>> spread([0.9, 0.95], [0.2, 0.2], 0.0, 1.0)
    [0.7, 0.9]
    """
    middles: list[float] = []
    edge = left
    for place, width in zip(places, widths, strict=True):
        middles.append(max(place, edge + width / 2))
        edge = middles[-1] + width / 2
    edge = right
    for index in range(len(middles) - 1, -1, -1):
        middles[index] = min(middles[index], edge - widths[index] / 2)
        edge = middles[index] - widths[index] / 2
    return [round(middle, 6) for middle in middles]
