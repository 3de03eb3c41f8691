"""Run as ``python -m analysis.live_window`` by ``waylog record --window``."""

from analysis.live_window.window import run

raise SystemExit(run())
