"""Surveys of beds whose shape is known everywhere, by any mix of instruments and habits.

A bed is bent and twisted as feet make it, worn where the carriage runs, perhaps of two pieces; its
ways are functions of the place, so that feet may stand anywhere. Readings come from plain geometry.
Habits: one way, there and back with a drift, turned, repeated, with gaps, in two overlapping parts,
bases that do not fit the pitch, carriers on feet, coarse displays, scales 1 % out (as stated).
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.interpolate import CubicSpline

from acquire.model.bed import Bed
from acquire.model.bed_toml.reading import parse_bed
from acquire.model.traverse import Traverse
from tests.invented import traverse

Height = Callable[[np.ndarray], np.ndarray]
KINDS = ("feet", "joint", "rough")
"""Twisted by its feet and worn | of two pieces | of any shape, smooth to stepped."""
ACROSS_MM = {"front": 0.0, "vee": 300.0, "tail": 120.0, "under": 0.0, "guide": -20.0}
CENTRE_MM = 160.0
UM_PER_M = 1000.0
SURE = "standard_uncertainty = 1\nseating_um = 0"
LEVEL = 'quantity = "slope"\nunit = "um/m"'
DIAL = 'quantity = "offset"\nunit = "um"'


@dataclass
class Told:
    """An invented bed and what was read on it."""

    kind: str
    bed: Bed
    rng: np.random.Generator
    heights: dict[str, Height]
    side: Height
    """Of the vee, to the rear."""
    twist: Height | None = None
    """Roll that the feet make, µm/mm."""
    joint: tuple[float, float, float, float] | None = None
    """Of the piece beyond: at mm, step µm, pitch µm/mm, roll µm/mm."""
    runs: list[Traverse] = field(default_factory=list)
    scales: dict[str, float] = field(default_factory=dict)
    """By how many standard uncertainties the scale of each instrument is out."""
    scale_off: dict[str, float] = field(default_factory=dict)
    """Share by which it is out besides, which nobody knows of."""
    base_off_mm: dict[str, float] = field(default_factory=dict)
    """By how much the feet of a level stand farther apart than is thought."""
    sign: dict[str, float] = field(default_factory=dict)
    """−1 of an instrument that is wired the other way round."""
    moved: Callable[[int, str, np.ndarray], np.ndarray] | None = None
    """What a face has been bent by, by the number of the run."""

    def height(self, face: str, x: np.ndarray) -> np.ndarray:
        """As a face stands during the next run."""
        moved = 0.0 if self.moved is None else self.moved(len(self.runs), face, np.asarray(x, float))
        return self.heights[face](x) + moved

    def slope(self, instrument: str, face: str, x: np.ndarray) -> np.ndarray:
        """What a level on its feet reads, µm/m."""
        base = self.bed.instruments[instrument].base_mm + self.base_off_mm.get(instrument, 0.0)
        rise = self.height(face, x + base / 2) - self.height(face, x - base / 2)
        return rise / base * UM_PER_M

    def add(
        self, instrument: str, x: np.ndarray, value: np.ndarray, *, zero: float | None = None, **where
    ) -> None:
        """One run with a zero, and scale, noise and steps as described."""
        described, rng = self.bed.instruments[instrument], self.rng
        number, zero = len(self.runs) + 1, rng.normal(0, 100) if zero is None else zero
        scale = self.scales.setdefault(instrument, rng.normal()) * (described.scale_uncertainty or 0.0)
        scale = (1 + scale + self.scale_off.get(instrument, 0.0)) * self.sign.get(instrument, 1.0)
        reading = (value + zero) * scale + rng.normal(0, described.uncertainty, len(x))
        step = described.resolution
        reading = np.round(reading / step) * step if step else reading
        self.runs.append(traverse(self.bed, instrument, x, reading, number=number, **where))


def invent(number: int, seed: int = 77, on: Callable[[Told], None] = lambda told: None) -> Told:
    """A survey by its number; `on` says what else is the matter with the bed and what reads it."""
    rng = np.random.default_rng([seed, number])
    kind = KINDS[number % len(KINDS)]
    length, pitch = float(rng.choice([1000, 1500, 2000])), float(rng.choice([100, 125]))
    length = pitch * round((2000 if kind == "joint" else length) / pitch)
    told = bed_of_kind(kind, parse_bed(bed_text(kind, length, pitch, rng)), rng)
    on(told)
    _survey(told)
    return told


def bed_text(kind: str, length: float, pitch: float, rng: np.random.Generator) -> str:
    """Its bed.toml."""
    scale = "scale_uncertainty = 0.01" if rng.random() < 0.4 else ""
    coarse = "resolution = 2" if rng.random() < 0.3 else ""
    feet = f"carrier_feet_mm = {rng.choice([90, 200])}" if rng.random() < 0.6 else "carrier_feet_mm = 0.001"
    unworn = f"unworn_mm = [[0, {0.2 * length}], [{0.8 * length}, {length}]]" if kind == "feet" else ""
    at_feet = [0.05, 0.5, 0.95] if rng.random() < 0.5 else [0.05, 0.95]
    stands = [
        f"[feet.{side}{k}]\nstation_mm = {share * length}\nacross_mm = {across}\num_per_turn = 1500"
        for k, share in enumerate(at_feet if kind == "feet" else [])
        for side, across in (("f", -10), ("r", 310))
    ]
    joint = f"joints_mm = [{length / 2 + 30}]" if kind == "joint" else ""
    return "\n".join([
        f'[bed]\nname = "invented"\nlength_mm = {length}\nstation_pitch_mm = {pitch}\n{joint}',
        f"carriage_length_mm = {rng.choice([2 * pitch, 230])}\ncentre_height_mm = {CENTRE_MM}",
        f'[faces.front]\nnormal = "up"\nacross_mm = 0\ncarriage = "front"\n{unworn}',
        '[faces.vee]\nnormal = "up"\nshape = "vee"\nform = "ridge"\nvee_angle_deg = 90',
        f'across_mm = 300\ncarriage = "rear"\n{unworn}',
        '[faces.tail]\nnormal = "up"\nacross_mm = 120\nruns = false',
        '[faces.under]\nnormal = "down"\nacross_mm = 0\nruns = false',
        '[faces.guide]\nnormal = "rear"\nacross_mm = -20\nruns = false',
        *stands,
        f"[instruments.level]\n{LEVEL}\nbase_mm = {pitch}\n{SURE}\n{scale}\n{coarse}",
        f"[instruments.odd]\n{LEVEL}\nbase_mm = {rng.choice([130, 80, 2 * pitch])}\n{SURE}\n{scale}",
        f"[instruments.beam]\n{LEVEL}\nbase_mm = {pitch}\ngravity = false\n{SURE}",
        f'[instruments.cross]\nquantity = "roll"\nunit = "um/m"\n{SURE}',
        f"[instruments.dial]\n{DIAL}\nstandard_uncertainty = 0.5\nseating_um = 0\n{feet}\n{scale}",
        f'[instruments.caliper]\nquantity = "span"\nunit = "um"\n{SURE}',
    ])  # fmt: skip


def bed_of_kind(kind: str, bed: Bed, rng: np.random.Generator) -> Told:
    """A bed of that kind on which nothing has been read yet."""
    length, names = bed.length_mm, ("front", "vee", "tail", "under")
    shape = {name: _smooth(length, rng) for name in (*names, "guide", "side")}
    if kind == "rough":
        shape = {name: _rough(each, length, rng) for name, each in shape.items()}
    heights = {name: shape[name] for name in (*names, "guide")}
    told = Told(kind, bed, rng, heights, shape["side"])
    if kind == "joint":
        at, step = bed.joints_mm[0], rng.normal(0, 15)
        pitch, roll = rng.normal(0, 0.03), rng.normal(0, 0.05)
        told.joint = (at, step, pitch, roll)
        for name in names:
            up = bed.faces[name].upward
            heights[name] = _with_joint(shape[name], told.joint, ACROSS_MM[name], up)
    if kind == "feet":
        _on_feet(told, rng)
    return told


def _smooth(length: float, rng: np.random.Generator) -> Height:
    at, wide, deep = rng.uniform(0.3, 0.7) * length, rng.uniform(0.25, 0.5) * length, rng.uniform(5, 60)
    tilt, bow = rng.normal(0, 0.05), rng.normal(0, 10)

    def height(x: np.ndarray) -> np.ndarray:
        x = np.asarray(x, float)
        return tilt * x + bow * (2 * x / length - 1) ** 2 - deep * np.exp(-(((x - at) / wide) ** 2))

    return height


def _rough(smooth: Height, length: float, rng: np.random.Generator) -> Height:
    """With a walk of up to 2 µm each 50 mm, or a ledge."""
    grid = np.arange(-400.0, length + 401.0, 50.0)
    walk = np.cumsum(rng.normal(0, rng.uniform(0, 2), len(grid)))
    ledge, at = rng.choice([0.0, rng.uniform(5, 20)]), rng.uniform(0.3, 0.7) * length
    return lambda x: smooth(x) + np.interp(x, grid, walk) + ledge * (np.asarray(x) > at)


def _with_joint(smooth: Height, joint: tuple[float, float, float, float], across: float, up: int) -> Height:
    at, step, pitch, roll = joint

    def height(x: np.ndarray) -> np.ndarray:
        beyond = np.asarray(x, float) > at
        return smooth(x) + up * np.where(beyond, step + pitch * (np.asarray(x) - at) + roll * across, 0.0)

    return height


def _on_feet(told: Told, rng: np.random.Generator) -> None:
    """Faces made straight, the bed bent and twisted by its feet, the carriage's ways worn in the middle."""
    bed, length = told.bed, told.bed.length_mm
    pairs = np.unique([foot.station_mm for foot in bed.feet.values()])
    rolls, about = rng.normal(0, 0.1, len(pairs)), rng.uniform(-10, 310)
    bend = CubicSpline(pairs, rng.normal(0, 15, len(pairs)), bc_type="natural") if len(pairs) > 2 else None
    lean = rng.normal(0, 0.05)
    told.twist = lambda x: np.interp(x, pairs, rolls)

    def rise(x: np.ndarray) -> np.ndarray:
        x = np.asarray(x, float)
        if bend is None:
            return lean * x
        inside = np.clip(x, pairs[0], pairs[-1])
        return lean * x + bend(inside) + bend(inside, 1) * (x - inside)

    for name in ("front", "vee", "tail", "under"):
        worn = _wear(length, rng) if name in ("front", "vee") else (lambda x: 0.0 * np.asarray(x, float))
        up, away = bed.faces[name].upward, ACROSS_MM[name] - about
        told.heights[name] = lambda x, u=up, p=away, w=worn: u * (rise(x) + told.twist(x) * p) + w(x)


def _wear(length: float, rng: np.random.Generator) -> Height:
    deep, middle = rng.uniform(5, 60), rng.uniform(0.45, 0.55) * length
    half = 0.25 * length

    def wear(x: np.ndarray) -> np.ndarray:
        off = np.clip((np.asarray(x, float) - middle) / half, -1, 1)
        return -deep * (1 - off**2) ** 2

    return wear


def _survey(told: Told) -> None:
    """Runs of a random mix, those most answers need mostly among them."""
    rng = told.rng
    faces = [name for name in ("front", "vee", "tail", "under") if rng.random() < 0.85]
    for name in faces:
        _levelled(told, name, rng.choice(["level", "level", "odd"]))
    if rng.random() < 0.7:
        _cross(told, on_carriage=rng.random() < 0.3)
    if rng.random() < 0.6:
        _beam_and_side(told)
    if rng.random() < 0.6:
        _dial(told, on_carriage=rng.random() < 0.5)
    if rng.random() < 0.5 or not told.runs:
        x = _stations(told, 0.0, 0.0)
        told.add("caliper", x, told.height("front", x) + told.height("under", x), face="front", other="under")


def _levelled(told: Told, name: str, instrument: str) -> None:
    rng, base = told.rng, told.bed.instruments[instrument].base_mm
    turned, up = rng.random() < 0.2, told.bed.faces[name].upward
    is_both = rng.random() < 0.6
    drift = rng.normal(0, 3) if is_both else 0.0
    places = _feet_places(told, base)
    parts = [places] if rng.random() < 0.8 else [places[: 2 * len(places) // 3], places[len(places) // 3 :]]
    for x in parts:
        for direction in ("forward", "reverse") if is_both else ("forward",):
            at = x[rng.random(len(x)) > rng.choice([0.0, 0.0, 0.1])]
            repeat = np.ones(len(at), int)
            if rng.random() < 0.2:
                at, repeat = np.tile(at, 2), np.repeat([1, 2], len(at))
            slope = up * told.slope(instrument, name, at) * (-1 if turned else 1)
            order = np.argsort(np.lexsort((at if direction == "forward" else -at, repeat)))
            slow = drift * order / len(at)
            told.add(
                instrument, at, slope + slow, face=name, turned=turned, direction=direction, repeat=repeat
            )


def _feet_places(told: Told, base: float) -> np.ndarray:
    """Chained foot to foot, or closer: a base that does not fit the pitch is stepped by the pitch."""
    length, pitch = told.bed.length_mm, told.bed.station_mm[1]
    apart = pitch if told.rng.random() < 0.5 else base
    return np.arange(base / 2, length - base / 2 + 1e-6, apart)


def _stations(told: Told, before: float, after: float) -> np.ndarray:
    x = np.array(told.bed.station_mm)
    x = x[(x >= before) & (x <= told.bed.length_mm - after)]
    kept = told.rng.random(len(x)) > told.rng.choice([0.0, 0.0, 0.15])
    return x[kept] if np.count_nonzero(kept) > 4 else x


def _carried(told: Told, name: str, x: np.ndarray, apart: float) -> np.ndarray:
    return (told.height(name, x - apart / 2) + told.height(name, x + apart / 2)) / 2


def _cross(told: Told, on_carriage: bool) -> None:
    apart = told.bed.carriage_length_mm if on_carriage else 0.0
    x = _stations(told, apart / 2, apart / 2)
    roll = (_carried(told, "vee", x, apart) - _carried(told, "front", x, apart)) / 0.3
    told.add(
        "cross", x, roll, front="front", rear="vee", **({"reference": "carriage"} if on_carriage else {})
    )


def _dial(told: Told, on_carriage: bool) -> None:
    apart = told.bed.carriage_length_mm if on_carriage else told.bed.instruments["dial"].carrier_feet_mm
    x = _stations(told, apart / 2, apart / 2)
    front = _carried(told, "front", x, apart)
    share = 120 / 300 if on_carriage else 0.0
    carried = front + share * (_carried(told, "vee", x, apart) - front)
    reference = "carriage" if on_carriage else "front"
    told.add("dial", x, told.height("tail", x) - carried, face="tail", reference=reference)


def _beam_and_side(told: Told) -> None:
    """The guide by a beam, and the vee sideways by an indicator that rides it."""
    base, apart = told.bed.instruments["beam"].base_mm, told.bed.instruments["dial"].carrier_feet_mm
    x, h = np.arange(base / 2, told.bed.length_mm - base / 2 + 1e-6, base), told.heights["guide"]
    told.add("beam", x, told.slope("beam", "guide", x), face="guide")
    x = _stations(told, apart / 2, apart / 2)
    side = (told.side(x - apart / 2) + told.side(x + apart / 2)) / 2
    told.add("dial", x, h(x) - side, face="guide", reference="vee")


def with_truth(profile, height_um: np.ndarray):
    """A profile whose heights are the truth."""
    return replace(profile, height_um=height_um)
