"""`waylog demo`: the whole job on an invented bed, without hardware."""

import importlib
from pathlib import Path

import click


@click.command(name="demo")
@click.argument("folder", metavar="[DIR]", type=click.Path(path_type=Path), default="waylog-demo")
@click.option(
    "--seed", type=click.IntRange(0), metavar="N", default=1, show_default=True, help="Another invented bed."
)
@click.option("--quick", is_flag=True, help="Fewer traverses: forward only.")
def command(folder: Path, seed: int, quick: bool) -> int:
    """Do the whole job on an invented bed, without hardware.

    Makes the survey DIR (new; "waylog-demo" if none is named), records traverses from
    simulated instruments that send real bytes, maps the bed, writes the report, and says
    how far the map is from the invented truth. Nothing in it was measured on any machine.
    """
    from acquire.demo import run_demo

    # Named as text: the table of commands stands above the commands.
    table = importlib.import_module("acquire.cli")
    return run_demo(folder, seed, quick, run=table.main)
