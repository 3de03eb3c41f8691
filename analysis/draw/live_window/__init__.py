"""The growing picture of a recording, to be read from two metres: a process of its own.

Run as ``python -m analysis.draw.live_window``; the recorder feeds its standard input with one
JSON object a line (the lines are described in `acquire.console`).  Whatever happens here
never reaches the recorder: its lines are taken by a thread that keeps only the newest
state of things, and the picture is drawn when there is time.
"""

from analysis.draw.live_window.picture import draw
from analysis.draw.live_window.shapes import Shape, shape_of
from analysis.draw.live_window.state import Now, Start, State, Station, after

__all__ = ["Now", "Shape", "Start", "State", "Station", "after", "draw", "shape_of"]
