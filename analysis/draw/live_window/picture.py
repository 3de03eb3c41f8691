"""The picture itself: a pure function of what the window knows."""

import textwrap
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from acquire.model.units import UM_PER_THOU, length_text, number_text
from analysis.draw.figures.looks import FAINT, INK, LOW, SOFT, look, mark_joints
from analysis.draw.live_window.shapes import Shape, beside
from analysis.draw.live_window.state import Now, Start, State
from analysis.linear.pieces import with_gaps_at

DESIGN_HEIGHT_IN = 7.2
LARGEST = 100
OTHER_WAY = "#9a9a9a"
WARNING = "#b3541e"
PER_FOOT = 12 / 1000
"""Thou per foot of 1 µm/m."""
WARNING_PT, WARNING_LINES = 14, 2
LETTER_EM = 0.66
"""Mean width of a letter, of its size, a little generous."""
REACH_MM = 2.0
"""So near, a reading counts for the station."""


def draw(
    figure: Figure,
    state: State,
    shape: Shape | None = None,
    before: Shape | None = None,
    joints_mm: Sequence[float] = (),
) -> None:
    """Draw everything anew into `figure`.

    From the top: which traverse, what goes wrong; the station to go to and the reading in
    digits a hand high; how still it stands, as a bar and in words; the curve so far with
    its uncertainty (95 %), the other direction behind it in grey and dashed.

    Parameters
    ----------
    figure : Figure
        Emptied first; text grows with its height.
    state : State
    shape : Shape, optional
        The curve so far.
    before : Shape, optional
        The other direction.
    joints_mm : sequence of float
        Where two pieces of the bed meet: no curve runs over them.

    Examples
    --------
    >>> figure = Figure(figsize=(10, 6))
    >>> draw(figure, State(now=Now(reading=12.34, next_mm=300.0, places=9)))
    >>> [text.get_text() for text in figure.texts if "300" in text.get_text()]
    ['300']
    """
    with look():
        figure.clear()
        size = figure.get_figheight() / DESIGN_HEIGHT_IN
        start, now = state.start, state.now or Now()
        _heading(figure, state, size)
        is_on = state.ended is None
        _large(figure, 0.03, 0.37, _next_words(state, now), "go to station" if is_on else "", size)
        if is_on:
            _large(figure, 0.47, 0.87, _reading_words(start, now), "it reads", size)
        _to_go(figure, state, now, size)
        _stillness(figure, state, now, size)
        _curve(figure, state, shape, before, joints_mm, size)


def _heading(figure: Figure, state: State, size: float) -> None:
    start, now = state.start, state.now or Now()
    title = f"traverse {start.number:03d}   {start.face} by {start.instrument}, {start.direction}"
    places = now.places or len(start.places_mm)
    taken = f"{len(state.stations)} of {places} taken"
    figure.text(0.03, 0.97, title, fontsize=17 * size, va="center", color=INK)
    figure.text(0.97, 0.97, taken, fontsize=17 * size, va="center", ha="right", color=INK)
    doubt = state.stations[-1].doubt if state.stations else None
    words = now.problem or doubt
    if words and state.ended is None:
        figure.text(
            0.03, 0.91, _wrapped(f"! {words}", figure, size), fontsize=WARNING_PT * size, va="center",
            color="white", linespacing=1.15, zorder=5,
            bbox={"facecolor": WARNING, "edgecolor": INK, "pad": 4 * size},
        )  # fmt: skip


def _wrapped(words: str, figure: Figure, size: float) -> str:
    """In as many lines as there is room for; where there is not, the last ends in dots."""
    room_pt = 0.94 * 72 * figure.get_figwidth()
    letters = int(room_pt / (LETTER_EM * WARNING_PT * size))
    return "\n".join(textwrap.wrap(words, letters, max_lines=WARNING_LINES, placeholder=" ..."))


def _large(figure: Figure, left: float, right: float, words: str, above: str, size: float) -> None:
    """A number as large as its room allows, its unit small behind it; words alone begin at the left."""
    figure.text(left, 0.865, above, fontsize=15 * size, va="top", color=SOFT)
    number, _, unit = words.partition(" ")
    is_number = any(c.isdigit() for c in number)
    shown = number if is_number else words
    room_in = (right - left) * figure.get_figwidth()
    height = min(LARGEST * size, 72 * room_in / _ems(shown))
    x, side = (right, "right") if is_number else (left, "left")
    figure.text(x, 0.72, shown, fontsize=height, va="center", ha=side, color=INK, fontweight="bold")
    if is_number:
        height = 30 if len(unit) <= 4 else 22
        figure.text(right + 0.008, 0.665, unit, fontsize=height * size, va="baseline", color=INK)


def _ems(words: str) -> float:
    """Width of bold words in heights of the letter, a little generous."""
    return sum(0.4 if c in ".,' " else 0.86 if c in "−-+" else 0.72 for c in words) or 1.0


def _next_words(state: State, now: Now) -> str:
    if state.ended is not None:
        return "ended"
    if now.next_mm is None:
        return "all taken" if state.now is not None else "waiting"
    return length_text(now.next_mm, state.start.is_inch)


def _reading_words(start: Start, now: Now) -> str:
    if now.reading is None:
        return "no reading"
    is_length = start.unit == "um"
    unit, value = ("µm", now.reading) if is_length else ("µm/m", now.reading)
    if start.is_inch:
        unit = "thou" if is_length else "thou/ft"
        value = now.reading / UM_PER_THOU if is_length else now.reading * PER_FOOT
    decimals = 2 if start.is_inch and abs(value) < 100 else 1 if abs(value) < 1000 else 0
    return f"{number_text(value, decimals).replace('-', '−')} {unit}"


def _to_go(figure: Figure, state: State, now: Now, size: float) -> None:
    """How far, and which way: in words and as an arrow."""
    if state.ended is not None:
        words = f"by {state.ended}; close the window when you have seen enough"
    elif now.to_go_mm is None and now.still_s > 0:
        words = "reading it: hands off"
    elif now.to_go_mm is None:
        words = "stand it there, then mark it" if now.next_mm is not None else ""
    elif abs(now.to_go_mm) <= REACH_MM:
        words = "you are there"
    else:
        way = "→ on" if now.to_go_mm > 0 else "← back"
        words = f"{way} {length_text(abs(now.to_go_mm), state.start.is_inch)}"
    figure.text(0.03, 0.565, words, fontsize=26 * size, va="center", color=INK)


def _stillness(figure: Figure, state: State, now: Now, size: float) -> None:
    """A bar that fills while it stands still, and the same in words."""
    if state.ended is not None or state.now is None:
        return
    axes = figure.add_axes((0.47, 0.54, 0.26, 0.05))
    axes.set_axis_off()
    axes.set_xlim(0, 1)
    axes.set_ylim(0, 1)
    done = min(1.0, now.still_s / now.needed_s) if now.needed_s > 0 else 1.0
    axes.add_patch(Rectangle((0, 0), done, 1, facecolor=LOW, hatch=None if now.is_settled else "//"))
    axes.add_patch(Rectangle((0, 0), 1, 1, fill=False, edgecolor=INK, linewidth=1.5))
    if now.is_settled:
        words = "SETTLED"
    elif now.still_s <= 0:
        words = "moving"
    elif done < 1:
        words = f"still {now.still_s:.1f} s of {now.needed_s:g}"
    else:
        words = "not settled yet"
    weight = "bold" if now.is_settled else "normal"
    figure.text(0.745, 0.565, words, fontsize=24 * size, va="center", color=INK, fontweight=weight)


def _curve(
    figure: Figure,
    state: State,
    shape: Shape | None,
    before: Shape | None,
    joints_mm: Sequence[float],
    size: float,
) -> None:
    axes = figure.add_axes((0.09, 0.10, 0.88, 0.37))
    inch = state.start.is_inch
    axes.grid(True, color=FAINT, linewidth=0.6)
    axes.axhline(0.0, color=INK, linewidth=1.0)
    per_mm = 1 / 25.4 if inch else 1.0
    if before is not None and shape is not None:
        before = beside(before, shape)
    if before is not None:
        scale = _per_value(before.unit, inch)
        x, y = with_gaps_at(joints_mm, before.station_mm, before.value)
        axes.plot(
            x * per_mm, y * scale, color=OTHER_WAY, linewidth=3 * size,
            linestyle="--", label="the other direction", zorder=2,
        )  # fmt: skip
    if shape is not None:
        _draw_shape(axes, shape, joints_mm, (per_mm, _per_value(shape.unit, inch)), size)
    mark_joints(axes, [mm * per_mm for mm in joints_mm])
    _mark_next(axes, state, per_mm, size)
    _name_axes(axes, state.start, shape or before, size)


def _draw_shape(
    axes: Axes, shape: Shape, joints_mm: Sequence[float], units: tuple[float, float], size: float
) -> None:
    """The curve so far; `units` are what a mm along and a value are drawn as."""
    per_mm, scale = units
    x, y, half = with_gaps_at(joints_mm, shape.station_mm, shape.value, 2 * shape.uncertainty)
    x, y, half = x * per_mm, y * scale, half * scale
    axes.fill_between(x, y - half, y + half, color=LOW, alpha=0.18, linewidth=0, zorder=3)
    for edge in (y - half, y + half):
        axes.plot(x, edge, color=LOW, linewidth=0.7, zorder=3)
    marker = "o" if len(x) <= 80 else ""
    axes.plot(
        x, y, color=INK, linewidth=2.2 * size, marker=marker, markersize=6 * size, zorder=4,
        label="so far, with its uncertainty (95 %)",
    )  # fmt: skip


def _mark_next(axes: Axes, state: State, per_mm: float, size: float) -> None:
    """The stretch to be measured, and a tick of its own at the station to go to."""
    places = np.array(state.start.places_mm) * per_mm
    half = (state.start.base_mm or 0.0) / 2 * per_mm
    if len(places):
        room = 0.02 * max(float(np.ptp(places)), 1.0) + half
        axes.set_xlim(places.min() - room, places.max() + room)
    now = state.now
    if now is not None and now.next_mm is not None and state.ended is None:
        axes.axvline(now.next_mm * per_mm, color=WARNING, linewidth=2.5 * size, linestyle=":", zorder=1)
    if now is not None and now.position_mm is not None and state.ended is None:
        axes.plot(
            [now.position_mm * per_mm], [0.03], marker="^", markersize=16 * size, color=INK, clip_on=False,
            transform=axes.get_xaxis_transform(), zorder=5,
        )  # fmt: skip


def _name_axes(axes: Axes, start: Start, shape: Shape | None, size: float) -> None:
    axes.tick_params(labelsize=14 * size)
    axes.set_xlabel(f"station, {'in' if start.is_inch else 'mm'}", fontsize=14 * size)
    axes.margins(y=0.2)
    if shape is None:
        axes.set_yticks([])
        return
    axes.set_ylabel(_unit_words(shape.unit, start.is_inch), fontsize=14 * size)
    axes.set_title(shape.what, fontsize=14 * size)
    if axes.get_legend_handles_labels()[0]:
        axes.legend(
            loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=2, fontsize=12 * size, borderaxespad=0.2
        )


def _per_value(unit: str, inch: bool) -> float:
    if not inch:
        return 1.0
    return 1 / UM_PER_THOU if unit == "um" else PER_FOOT


def _unit_words(unit: str, inch: bool) -> str:
    if unit == "um":
        return "thou" if inch else "µm"
    return "thou/ft" if inch else "µm/m"
