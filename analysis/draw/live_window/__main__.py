"""Run as ``python -m analysis.draw.live_window`` by ``waylog record --window``."""

from analysis.draw.live_window.window import run

raise SystemExit(run())
