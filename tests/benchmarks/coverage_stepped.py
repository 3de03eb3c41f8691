"""Cases of `coverage.py` for readings taken at stations: levels stepped, dials, calipers, edges, lines."""

import numpy as np
from coverage_bench import Bench, Height, worn_face


def one_level(bench: Bench) -> None:
    """A level stepped there and back, seating and noise as stated."""
    for direction in ("forward", "reverse"):
        bench.step("front", name="seated", seat=0.4, direction=direction)


def drifting_level(bench: Bench) -> None:
    """As before, the level drifting by some 1.5 µm/m a reading, its zero untouched for the return."""
    rate, zero = bench.rng.normal(0, 1.5), bench.zero()
    bench.step("front", direction="forward", drift=rate, zero=zero)
    later = zero + rate * len(bench.runs[0].stations)
    bench.step("front", direction="reverse", drift=rate, zero=later, same_zero_as=1)


def bent_between(bench: Bench) -> None:
    """There and back, the bed bent by 0.3 to 5 µm in between; it is asked for as it stood either time."""
    there_and_back(bench, bends_um(bench), 2)


def bent_between_and_run_again(bench: Bench) -> None:
    """As before, and run forward once more."""
    there_and_back(bench, bends_um(bench), 3)


def drifting_and_run_again(bench: Bench) -> None:
    """There, back and forward once more with a drifting level whose zero was set anew each time."""
    there_and_back(bench, 0.0, 3, drift=bench.rng.normal(0, 1.5))


def bends_um(bench: Bench) -> float:
    """By how much a bed bends between two runs, either way."""
    return float(bench.rng.choice([-1, 1]) * 10 ** bench.rng.uniform(np.log10(0.3), np.log10(5.0)))


def there_and_back(
    bench: Bench, bow_um: float, runs: int, *, drift: float = 0.0, is_drawn: bool = False
) -> None:
    """Runs in turn forward and in reverse, the bed bowed after the first; its truth is either shape."""
    before, length = bench.heights["front"], bench.bed.length_mm

    def after(x: np.ndarray) -> np.ndarray:
        return before(x) + bow_um * (1 - (2 * np.asarray(x) / length - 1) ** 2)

    for number in range(runs):
        bench.heights["front"] = before if number == 0 else after
        run = bench.draw if is_drawn else bench.step
        run("front", direction=("forward", "reverse")[number % 2], drift=drift)
    bench.heights["front"] = before if bench.rng.random() < 0.5 else after


def levels_and_cross(bench: Bench) -> None:
    """Both ways levelled, each with its own zero, and a cross level."""
    bench.step("front")
    bench.step("rear")
    bench.across("front", "rear")


def one_zero(bench: Bench) -> None:
    """Both ways levelled with one zero."""
    zero = bench.zero()
    bench.step("front", zero=zero)
    bench.step("rear", zero=zero, same_zero_as=1)


def dial_between(bench: Bench) -> None:
    """Both ways levelled, cross level, and an indicator carried along the front reading the rear."""
    levels_and_cross(bench)
    x = np.array(bench.bed.station_mm)
    bench.dial("rear", "front", bench.heights["front"](x), x)


def caliper_below(bench: Bench) -> None:
    """Front way levelled, a caliper down to the underside, an indicator from the rear to it."""
    bench.step("front")
    bench.step("rear")
    x = np.array(bench.bed.station_mm)
    both = bench.heights["front"](x) + bench.heights["under"](x)
    bench.add("caliper", x, both + bench.noise(len(x), 1.0) + bench.zero(), face="front", other="under")
    bench.dial("under", "rear", -bench.heights["rear"](x), x)


def edge_reversal(bench: Bench) -> None:
    """The front way along a bent straightedge, turned over."""
    x = np.array(bench.bed.station_mm)
    edge = worn_face(bench.rng, bench.bed.length_mm)(x)
    for sign in (1, -1):
        for _ in range(2):
            lie = bench.rng.normal(0, 0.05) * x
            bench.dial("front", "straightedge:edge", sign * edge + lie, x, turned_over=sign < 0)


def optical_line(bench: Bench) -> None:
    """Both ways read from an optical line, put up anew for each."""
    x = np.array(bench.bed.station_mm)
    for face in ("front", "rear"):
        bench.dial(face, "line", bench.rng.normal(0, 0.05) * x, x)


def on_the_carriage(bench: Bench) -> None:
    """Both ways levelled and tied; a dial on the carriage, on its end pads, reads a table line."""
    levels_and_cross(bench)
    x = np.arange(200.0, 1001.0, 100.0)
    ends = {
        name: (bench.heights[name](x + 115) + bench.heights[name](x - 115)) / 2 for name in ("front", "rear")
    }
    bench.dial("middle", "carriage", ends["front"] + (ends["rear"] - ends["front"]) * 100 / 320, x)


def scale_unknown(bench: Bench) -> None:
    """The level's scale is off by up to some 4 %, of which 2 % is stated."""
    off = bench.rng.normal(0, 0.02)
    for direction in ("forward", "reverse"):
        bench.step("front", name="scaled", scale=off, direction=direction)


def noisy_level(bench: Bench) -> None:
    """The level twice as noisy as it claims; four runs."""
    for direction in ("forward", "reverse") * 2:
        bench.step("front", noise=2.0, direction=direction)


def dirty_ways(bench: Bench) -> None:
    """One placing in thirty on a chip of 4 to 12 µm; suspects are set aside."""
    for direction in ("forward", "reverse") * 2:
        bench.step("front", dirt=0.03, direction=direction)


def coarse_display(bench: Bench) -> None:
    """Readings in steps of 2 µm/m, noise 1: the rounding is within what is stated."""
    for direction in ("forward", "reverse"):
        bench.step("front", noise=0.82, grain=2.0, direction=direction)


def coarse_display_repeated(bench: Bench) -> None:
    """Four runs with one zero in steps of 4 µm/m, noise 0.2: most readings repeat to the digit."""
    zero = bench.zero()
    for direction in ("forward", "reverse") * 2:
        bench.step("front", name="coarse", noise=0.2, grain=4.0, zero=zero, direction=direction)


def warm_bed(bench: Bench) -> None:
    """The bed's top up to 2 °C warmer than its bottom throughout: the truth is the bed as it stood."""
    bend = bench.rng.uniform(0, 2) * 11.5e-6 * bench.bed.length_mm**2 / (8 * 300) * 1000

    def bent(h: Height) -> Height:
        return lambda x: h(x) + bend * (1 - (2 * np.asarray(x) / bench.bed.length_mm - 1) ** 2)

    bench.heights = {name: bent(h) for name, h in bench.heights.items()}
    levels_and_cross(bench)
