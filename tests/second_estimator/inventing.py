"""Surveys invented at random: bed, instruments, set-ups, gaps, orders, truth, noise.

Everything is drawn from one `random.Random`, so that a property test can shrink a
failing survey and a long run can be repeated by its number.  Every foot falls on a
station of the bed, and every way that a carrier's feet stand on is levelled whole at
the pitch: what a map does between stations is not what is compared here. With
`anywhere` carriers also stand on ways that nothing else read, whose shape a map can only
assume: then the ways are like ways, and only the truth can be held against the map.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from random import Random

import numpy as np

from tests.second_estimator.least_squares import (
    drift_key,
    in_order,
    is_told,
    root_of,
    stated_variances,
    taken_at,
)
from tests.second_estimator.readings import (
    Description,
    Run,
    World,
    bend_of_a_kelvin_um,
    line_counts,
    reading,
)

FACES = """
[faces.front]
normal = "up"
across_mm = 0
carriage = "front"
[faces.vee]
normal = "up"
shape = "vee"
form = "ridge"
vee_angle_deg = 90
across_mm = 300
carriage = "rear"
[faces.middle]
normal = "up"
across_mm = 120
[faces.under]
normal = "down"
across_mm = 40
[faces.under-rear]
normal = "down"
across_mm = 260
[faces.front-side]
normal = "front"
across_mm = -20
[faces.rear-side]
normal = "rear"
across_mm = 330
[faces.inner-front]
normal = "rear"
across_mm = 80
[faces.inner-rear]
normal = "front"
across_mm = 200
"""
UP, DOWN, SIDE = ("front", "vee", "middle"), ("under", "under-rear"), ("front-side", "rear-side")
EDGES = """
[straightedges.bare]
length_mm = {length}
[straightedges.heavy]
length_mm = {length}
depth_mm = 60
material = "{material}"
supports_mm = [{first}, {second}]
{warmth}
[wires.steel]
mass_g_per_m = 0.8
tension_n = {tension}
span_mm = {span}
start_mm = -150
"""
BEGAN = datetime(2026, 1, 5, 9, 0, tzinfo=UTC)


@dataclass(frozen=True, eq=False)
class Survey:
    """An invented survey with its truth."""

    bed: Description
    runs: tuple[Run, ...]
    truth: dict[tuple[str, str], np.ndarray]

    def height_um(self, kind: str, owner: str, station_mm: float) -> float:
        """The invented height at a station."""
        return float(self.world(kind, owner, np.array([station_mm]))[0])

    def world(self, kind: str, owner: str, x: np.ndarray) -> np.ndarray:
        """Invented heights at stations; places between them are nobody's business."""
        index = np.rint(np.asarray(x) / self.bed.station_mm[1]).astype(int)
        assert np.allclose(self.bed.station_mm[index], x)
        return self.truth[(kind, owner)][index]


def invent(chance: Random, anywhere: bool = False) -> Survey:
    """One survey."""
    bed = _bed(chance)
    runs = _runs(bed, anywhere, chance)
    rng = np.random.default_rng(chance.getrandbits(32))
    owners = [("height", name) for name in bed.tables["faces"]] + [("side", "vee")]
    shape = _like_a_way if anywhere else _like_nothing
    truth = {owner: shape(len(bed.station_mm), rng) for owner in owners}
    for edge in bed.tables["straightedges"]:
        size = 5.0 if is_told(edge, runs) else 0.0
        truth[("edge", edge)] = rng.normal(0, size, len(bed.station_mm))
    for name, edge in bed.tables["straightedges"].items():
        if "warmth_uncertainty_k" in edge:
            for way in ("warm up", "warm rear"):
                warmer_k = rng.spawn(1)[0].normal(0, edge["warmth_uncertainty_k"])
                truth[(way, name)] = warmer_k * bend_of_a_kelvin_um(edge, bed.station_mm)
    survey = Survey(bed, (), truth)
    return replace(survey, runs=take(runs, bed, survey.world, rng))


def _like_nothing(count: int, rng: np.random.Generator) -> np.ndarray:
    return rng.normal(0, 20, count)


def _like_a_way(count: int, rng: np.random.Generator) -> np.ndarray:
    """Tilt, bow and twist in it, and a walk of a micrometre a station."""
    t = np.linspace(-1, 1, count)
    smooth = np.polynomial.Polynomial(rng.normal(0, (5, 20, 10, 8)))(t)
    return smooth + np.cumsum(rng.normal(0, 1, count))


def take(runs: Sequence[Run], bed: Description, world: World, rng: np.random.Generator) -> tuple[Run, ...]:
    """The runs with their readings: truth, zero, lie, drift, scale and noise of the stated sizes."""
    zeros = {run.number: (rng.normal(0, 100), rng.normal(0, 50, 2), rng.normal(0, 50, 2)) for run in runs}
    rates = {drift_key(run, runs): rng.normal(0, 1) for run in runs}
    scales = {run.instrument: rng.normal() for run in runs}
    taken = []
    for run in runs:
        zero, stands, lie = zeros[root_of(run, runs)]
        value = reading(run, bed, world) + zero
        if run.straight is not None:
            counts = line_counts(run, bed)
            value = value + counts @ stands + counts @ lie * run.station_mm / 1000
        if drift_key(run, runs) is not None:
            span = max(float(np.max(taken_at(each, runs))) for each in runs)
            value = value + rates[drift_key(run, runs)] * taken_at(run, runs) * 10 / max(span, 1.0)
        value = value / (1 - scales[run.instrument] * bed.instrument(run).get("scale_uncertainty", 0))
        taken.append(replace(run, reading=value + _noise(run, bed, rng)))
    return tuple(taken)


def _noise(run: Run, bed: Description, rng: np.random.Generator) -> np.ndarray:
    shared, own = stated_variances(run, bed)
    station, which = np.unique(run.station_mm, return_inverse=True)
    return rng.normal(0, shared**0.5, len(station))[which] + rng.normal(0, own**0.5, len(which))


def _bed(chance: Random) -> Description:
    pitch, steps = chance.choice((50, 100, 150)), chance.randint(5, 9)
    length = pitch * steps
    text = [f'[bed]\nname = "invented"\nlength_mm = {length}\nstation_pitch_mm = {pitch}']
    if chance.random() < 0.7:
        text.append(f'carriage_length_mm = {2 * pitch}\ncarriage_bears = "ends"')
    text.append(FACES)
    for name, more in _instruments(pitch, chance).items():
        doubt = f"standard_uncertainty = {chance.choice((0.3, 1.0, 2.5))}"
        seat = f"seating_um = {chance.choice((0.0, 0.2, 0.5))}"
        scale = chance.choice(("", "", f"scale_uncertainty = {chance.choice((0.002, 0.02))}"))
        text.append(f"[instruments.{name}]\n{more}\n{doubt}\n{seat}\n{scale}")
    inset, material = 0.22 * length, chance.choice(("steel", "cast iron", "granite"))
    second, tension = length - chance.choice((inset, 0.0)), chance.choice((40, 100))
    text.append(EDGES.format(
        length=length, material=material, first=inset, second=second, tension=tension, span=length + 300,
        warmth="warmth_uncertainty_k = 0.1" if tension == 40 else "",
    ))  # fmt: skip
    return Description("\n".join(text))


def _instruments(pitch: int, chance: Random) -> dict[str, str]:
    feet = f"carrier_feet_mm = {2 * pitch}"
    ahead = f"overhang_along_mm = {chance.choice((-1, 1)) * pitch}"
    arms = f"overhang_across_mm = {chance.choice((0, 35, -60))}\narm_height_mm = {chance.choice((0, 80))}"
    offset = 'quantity = "offset"\nunit = "um"'
    slope = 'quantity = "slope"\nunit = "um/m"'
    return {
        "level": f"{slope}\nbase_mm = {pitch}",
        "long": f"{slope}\nbase_mm = {2 * pitch}\nbase_uncertainty_mm = {chance.choice((0, 1))}",
        "beam": f"{slope}\nbase_mm = {pitch}\ngravity = false",
        "cross": 'quantity = "roll"\nunit = "um/m"',
        "dial": f"{offset}\n{arms}",
        "stand": f"{offset}\n{arms}\n{feet}",
        "reaching": f"{offset}\n{arms}\n{feet}\n{ahead}",
        "caliper": 'quantity = "span"\nunit = "um"',
    }


def _runs(bed: Description, anywhere: bool, chance: Random) -> tuple[Run, ...]:
    whole = _levelled(bed) if chance.random() < (0.3 if anywhere else 0.6) else []
    setups = [_setup(bed, anywhere or bool(whole), chance) for _ in range(chance.randint(1, 5))]
    clocked, wanted = chance.random() < 0.5, list(whole)
    for setup in setups:
        wanted.append(_placed(setup, bed, chance))
        if chance.random() < 0.4:
            back = replace(wanted[-1], direction="reverse", station_mm=_stations(setup, bed, chance))
            wanted.append(_repeated(back, chance))
    runs: list[Run] = []
    for number, each in enumerate(wanted, 1):
        run = replace(each, number=number, same_zero_as=_sharing(each, runs, chance))
        runs.append(_clocked(run, runs, chance) if clocked else _imported(run, chance))
    return tuple(runs)


def _levelled(bed: Description) -> list[Run]:
    """Every face that a carrier with feet stands on, stepped whole."""
    middles = bed.station_mm[:-1] + bed.station_mm[1] / 2
    once = np.ones(len(middles), int)
    return [Run(0, "beam", middles, face=face, repeat=once) for face in (*UP, *DOWN)]


def _setup(bed: Description, on_feet: bool, chance: Random) -> Run:
    """What is read with what; stations are still to come."""
    kinds: list[Callable[[Description, bool, Random], Run]] = [
        _level,
        _level,
        _cross,
        _dial,
        _dial,
        _straight,
    ]
    return chance.choice([*kinds, _caliper])(bed, on_feet, chance)


def _run(instrument: str, **options) -> Run:
    return Run(0, instrument, np.zeros(0), **options)


def _level(bed: Description, on_feet: bool, chance: Random) -> Run:
    turned = chance.random() < 0.3
    if on_feet and _length(bed) and chance.random() < 0.25:
        return _run(chance.choice(("level", "long")), face="carriage", turned=turned)
    instrument = chance.choice(("level", "long", "beam"))
    return _run(instrument, face=chance.choice((*UP, *DOWN, *(SIDE * (instrument == "beam")))), turned=turned)


def _cross(bed: Description, on_feet: bool, chance: Random) -> Run:
    turned = chance.random() < 0.3
    if (on_feet or not _length(bed)) and chance.random() < 0.3:
        front, rear = bed.ways()
        return _run("cross", front=front, rear=rear, reference="carriage", turned=turned)
    front, rear = chance.choice(
        (("front", "vee"), ("front", "middle"), ("under", "vee"), ("middle", "under-rear"))
    )
    return _run("cross", front=front, rear=rear, turned=turned)


def _dial(bed: Description, on_feet: bool, chance: Random) -> Run:
    """An indicator carried on faces, reading another."""
    instrument = chance.choice(("dial", "stand", "reaching") if on_feet else ("dial",))
    references = ["front", "vee", "under", "front+vee", "front+under-rear", "under+middle"]
    if (on_feet or not _length(bed)) and instrument != "reaching":
        references.append("carriage")
    reference = chance.choice(references)
    faces = [face for face in (*UP, *DOWN) if face not in reference.split("+")]
    if "vee" in reference or (reference == "carriage" and not _length(bed)):
        faces += SIDE
    if instrument == "dial" and reference in SIDE:
        faces = [face for face in SIDE if face != reference]
    return _run(instrument, reference=reference, face=chance.choice(faces))


def _straight(bed: Description, on_feet: bool, chance: Random) -> Run:
    """A straightedge, a wire or a line on one of both sides."""
    straight = chance.choice(("straightedge:bare", "straightedge:heavy", "wire:steel", "line"))
    over = straight.startswith("straightedge") and chance.random() < 0.5
    if chance.random() < 0.6:
        face = chance.choice((*UP, *DOWN, *SIDE))
        return _run("dial", face=face, reference=straight, turned_over=over)
    instrument = chance.choice(("dial", "stand", "reaching") if on_feet else ("dial",))
    reference = chance.choice(("front", "under", "front+vee"))
    return _run(instrument, face=straight, reference=reference, turned_over=over)


def _caliper(bed: Description, on_feet: bool, chance: Random) -> Run:
    pairs = (("front", "under"), ("middle", "under-rear"), ("front-side", "rear-side"), ("vee", None))
    if chance.random() < 0.3:
        return _run("caliper", face="inner-front", other="inner-rear", inside=True)
    face, other = chance.choice(pairs)
    return _run("caliper", face=face, other=other)


def _length(bed: Description) -> float:
    return bed.tables["bed"].get("carriage_length_mm", 0)


def _placed(setup: Run, bed: Description, chance: Random) -> Run:
    direction = chance.choice(("forward", "reverse"))
    placed = replace(setup, station_mm=_stations(setup, bed, chance), direction=direction)
    return _repeated(placed, chance)


def _stations(setup: Run, bed: Description, chance: Random) -> np.ndarray:
    """Where it can be read with every foot on the bed, less a few gaps."""
    pitch, instrument = float(bed.station_mm[1]), bed.instrument(setup)
    before = after = 0.0
    if instrument["quantity"] == "slope" and setup.face != "carriage":
        before = after = instrument["base_mm"] / 2
    elif "carriage" in (setup.face, setup.reference):
        before = after = _length(bed) / 2
    elif setup.reference and setup.straight != setup.reference:
        half, ahead = instrument.get("carrier_feet_mm", 0) / 2, instrument.get("overhang_along_mm", 0)
        before, after = max(half + ahead, 0.0), max(half - ahead, 0.0)
    places = np.arange(before, bed.station_mm[-1] - after + 1e-6, pitch)
    gaps = chance.choice((0.0, 0.0, 0.2, 0.5))
    kept = np.array([chance.random() >= gaps for _ in places])
    return places if np.count_nonzero(kept) < 2 else places[kept]


def _repeated(run: Run, chance: Random) -> Run:
    """Some stations visited twice or three times, where a visit scatters by a stated amount."""
    scatter = chance.choice((0.0, 0.4))
    if not scatter or chance.random() < 0.5:
        return replace(run, scatter=scatter, repeat=np.ones(len(run.station_mm), int))
    visits = np.array([chance.choice((1, 1, 2, 3)) for _ in run.station_mm])
    repeat = np.concatenate([np.arange(1, count + 1) for count in visits])
    return replace(run, scatter=scatter, station_mm=np.repeat(run.station_mm, visits), repeat=repeat)


def _sharing(run: Run, earlier: Sequence[Run], chance: Random) -> int | None:
    """Sometimes an earlier run of the same instrument on the same carrier and straight thing."""
    alike = [
        each.number
        for each in earlier
        if (each.instrument, each.reference, each.inside, each.straight)
        == (run.instrument, run.reference, run.inside, run.straight)
        and each.turned_over == run.turned_over
    ]
    return chance.choice(alike) if alike and chance.random() < 0.5 else None


def _imported(run: Run, chance: Random) -> Run:
    """No clock ran; what it was made bears the time of importing."""
    return replace(run, created_utc=(BEGAN + timedelta(seconds=chance.randint(0, 4000))).isoformat())


def _clocked(run: Run, earlier: Sequence[Run], chance: Random) -> Run:
    """Begun some minutes after the one before, a reading every half minute or so."""
    began = BEGAN + timedelta(minutes=10 * len(earlier) + chance.randint(0, 5))
    times = np.cumsum([chance.randint(5, 200), *(chance.randint(10, 40) for _ in run.station_mm[1:])]).astype(
        float
    )
    return replace(run, time_s=times[in_order(run)], created_utc=began.isoformat())
