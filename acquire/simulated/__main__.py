"""The invented bench in real time: `python -m acquire.simulated FOLDER`.

Makes a survey of the invented bed with its instruments' ports in it, then plays one
traverse over and over, so that `waylog record` can be tried in another window.
"""

import itertools
import signal
from contextlib import suppress
from pathlib import Path

import click

from acquire.simulated import jobs
from acquire.simulated.bench import play_in_real_time
from acquire.simulated.catalogue import SPEAKING, description
from acquire.simulated.ports import open_lines
from acquire.simulated.truth import InventedBed

DWELL_S = (7.0, 9.0)
"""At each station so long: as somebody waits who watches the screen for it."""
TRAVERSES = {
    "level-steps": lambda bed: jobs.level_steps(bed, "front-vee", dwell_s=DWELL_S),
    "level-marks": lambda bed: jobs.level_marks(bed, "front-vee"),
    "level-feed": lambda bed: jobs.level_feed(bed, "front-vee"),
    "cross-level": lambda bed: jobs.cross_level_steps(bed, dwell_s=DWELL_S),
    "indicator": lambda bed: jobs.indicator_steps(bed, dwell_s=DWELL_S),
}


@click.command(name="python -m acquire.simulated")
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
@click.option("--traverse", type=click.Choice(list(TRAVERSES)), default="level-steps", show_default=True)
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True)
@click.option("--times", type=click.IntRange(0), default=0, help="How often to play it; 0: until Ctrl-C.")
def main(folder: Path, traverse: str, seed: int, times: int) -> None:
    """Play a traverse on the invented bed in real time; FOLDER becomes its survey."""
    bed = InventedBed(seed)
    job = TRAVERSES[traverse](bed)
    _refuse_a_real_survey(folder / "bed.toml")
    with open_lines(SPEAKING) as ports:
        folder.mkdir(parents=True, exist_ok=True)
        text = description(bed, {name: port.url for name, port in ports.items()})
        (folder / "bed.toml").write_text(text, encoding="utf-8")
        for name, port in ports.items():
            click.echo(f"{name} {port.url}")
        click.echo(f"INVENTED bench. In another window: waylog record {folder} {' '.join(job.arguments)}")
        # also where a script started it with Ctrl-C ignored
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, signal.default_int_handler)
        with suppress(KeyboardInterrupt):
            for played in range(times) if times else itertools.count():
                play_in_real_time(job.perform(bed, seed + played), ports)


def _refuse_a_real_survey(bed_toml: Path) -> None:
    """Only an invented bed's description may be written over (its ports change every time)."""
    if bed_toml.exists() and not bed_toml.read_bytes().startswith(b"# INVENTED"):
        raise click.BadParameter(f"{bed_toml} describes another bed; name a new folder", param_hint="FOLDER")


if __name__ == "__main__":
    main()
