"""Run as ``python -m waylog``: the same as the console script."""

from waylog import run

run()
