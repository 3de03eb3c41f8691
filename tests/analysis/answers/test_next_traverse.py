"""Advice on the next traverse is the computed uncertainty with it and without it."""

import dataclasses
from functools import cache

import numpy as np
import pytest

from acquire.model.bed_toml.reading import parse_bed
from acquire.model.errors import AnalysisError
from analysis.adjust.combination import combine
from analysis.adjust.hypothetical import covariance_with
from analysis.answers import next_traverse as next_module
from analysis.answers.face_map import map_face
from analysis.answers.known_roll import known_roll, ways_of, wind_expanded
from analysis.answers.next_traverse import next_traverse, varied
from analysis.answers.twist import twist_of
from analysis.observe import observe
from analysis.words.facts import sentence
from tests.invented import bed_toml, cross_level, dial, flat, level

BED = bed_toml(
    faces={
        "front": flat(0, "front"),
        "rear": flat(250, "rear"),
        "side": {"normal": "front", "across_mm": -20},
    },
    instruments={"level": level(base_mm=100), "cross": cross_level(2.0), "dial": dial()},
)
X = np.arange(0, 1001, 100.0)
MIDDLE = (X[1:] + X[:-1]) / 2


@pytest.fixture(scope="module")
def bed():
    return parse_bed(BED)


@pytest.fixture(scope="module")
def advised(from_one, bed):
    """What is advised after level runs, "front" or "front reverse", for a wish; worked out once for each."""

    @cache
    def make(*runs, wanted="all"):
        make_traverse, ways = from_one(), [run.partition(" ") for run in runs]
        levels = [
            _level(make_traverse, bed, face, direction=direction or "forward") for face, _, direction in ways
        ]
        return next_traverse(combine(levels, bed), wanted).advice

    return make


def _level(make_traverse, bed, face, **setup):
    return make_traverse(bed, "level", MIDDLE, np.zeros(10), face=face, **setup)


def test_promised_uncertainty_is_the_one_that_the_traverse_then_gives(make_traverse, bed, advised):
    promised = next(a for a in advised("front", wanted="front") if a.instrument == "level")
    first = _level(make_traverse, bed, "front")
    second = _level(make_traverse, bed, "front", direction="reverse")
    now, then = (map_face(combine(runs, bed), "front") for runs in ([first], [first, second]))
    assert promised.now == pytest.approx(now.straightness_expanded_um)
    assert promised.then == pytest.approx(then.straightness_expanded_um)


def test_unknown_face_that_becomes_known_stands_before_any_narrowing(advised):
    advice = advised("front")
    assert advice[0].what == "straightness of rear"
    assert advice[0].now is None
    known = [a.now is not None for a in advice]
    assert known == sorted(known)


def test_level_whose_feet_never_met_is_to_be_stepped_foot_to_foot(make_traverse):
    """One way, as the run that is there: a run back would bring a drift that nothing tells."""
    described = parse_bed(
        bed_toml(faces={"front": flat(0, "front")}, instruments={"level": level(base_mm=103)})
    )
    at = np.arange(60.0, 941.0, 100.0)
    missed = make_traverse(described, "level", at, 0.1 * at, face="front")
    best = next_traverse(combine([missed], described)).advice[0]
    assert best.words.run.direction == "forward"
    assert "front" in best.what
    steps = 103 * (np.arange(9) + 0.5)
    met = make_traverse(described, "level", steps, 0.1 * steps, face="front")
    assert combine([missed, met], described).profile("front").station_mm.size > 8


def test_run_that_checks_a_face_which_nothing_checks_stands_before_any_narrowing(advised):
    """Front was read there and back, rear once: an error in rear's readings would not show."""
    found = advised("front", "front reverse", "rear")
    ranks = [bool(each.checks) for each in found if each.now is not None]
    assert any(ranks) and ranks == sorted(ranks, reverse=True)
    again = next(each for each in found if each.instrument == "level" and each.face == "rear")
    assert again.checks == "rear" and "checks the readings on rear" in sentence(again.words)
    assert not any(each.checks == "front" for each in found), "the way back has checked it"


def test_nothing_is_said_to_check_a_face_that_is_checked(advised):
    found = advised("front", "front reverse", "rear", "rear reverse", wanted="rear")
    assert found and not any(each.checks for each in found)


def test_indicator_carried_on_either_of_two_faces_is_told_once(advised):
    found = advised("front", "rear")
    carried = [each for each in varied(found) if each.instrument == "dial"]
    pairs = [(each.what, frozenset(each.words.run.faces)) for each in carried]
    assert len(pairs) == len(set(pairs)) and len(carried) < sum(each.instrument == "dial" for each in found)


def test_cross_level_is_advised_for_the_twist(make_traverse, bed, advised):
    runs = [_level(make_traverse, bed, face) for face in ("front", "rear")]
    advice = advised("front", "rear", wanted="twist")
    assert advice[0].instrument == "cross"
    assert "--across front rear" in advice[0].command
    cross = make_traverse(bed, "cross", X, np.zeros(11), front="front", rear="rear")
    assert advice[0].then == pytest.approx(twist_of([*runs, cross], bed).wind_expanded_um_per_m)
    assert advice[0].then < 2 * np.sqrt(8)  # two readings of 2 µm/m alone, k = 2; the levels help
    assert advice[0].now is None


def test_level_is_never_advised_on_a_side_face(advised):
    assert not [a for a in advised("front") if a.instrument == "level" and a.face == "side"]


def test_nothing_is_promised_from_an_instrument_that_cannot_narrow_anything(make_traverse, bed):
    vial = (
        '[instruments.vial]\nquantity = "slope"\nunit = "um/m"\nbase_mm = 100\nstandard_uncertainty = 500\n'
    )
    coarse = parse_bed(BED + vial)
    runs = [
        _level(make_traverse, coarse, "front"),
        _level(make_traverse, coarse, "front", direction="reverse"),
    ]
    advice = next_traverse(combine(runs, coarse), "front").advice
    assert not [a for a in advice if a.instrument == "vial"]


def test_unknown_wish_is_refused(make_traverse, bed):
    with pytest.raises(AnalysisError, match="nothing to improve"):
        next_traverse(combine([_level(make_traverse, bed, "front")], bed), "beauty")


def _drawn(make_traverse, bed):
    middles = np.arange(50, 951, 2.0)
    slope = 30 * np.cos(2 * np.pi * middles / 700)
    return make_traverse(bed, "level", middles, slope, face="front", mode="continuous")


@pytest.mark.statistics
def test_second_base_is_advised_where_a_drawn_level_is_blind(make_traverse, bed):
    advice = next_traverse(combine([_drawn(make_traverse, bed)], bed), "front").advice
    second = [a for a in advice if "65 mm base" in sentence(a.words)]
    assert len(second) == 1
    assert "removes the blind wavelengths 100, 50" in sentence(second[0].words)


def _drawn_over(make_traverse, bed, base, rng, **setup):
    """A level over feet `base` apart drawn along a worn way; noise as stated."""
    middles = np.arange(base / 2, 1000 - base / 2 + 1, 2.0)
    near, far = (-40 * np.exp(-(((middles + side * base / 2 - 450) / 200) ** 2)) for side in (-1, 1))
    slope = (far - near) / base * 1000 + rng.normal(0, 1.0, len(middles))
    return make_traverse(bed, "level", middles, slope, face="front", mode="continuous", **setup)


@pytest.mark.statistics
def test_promise_of_a_second_base_is_kept_by_the_run(make_traverse, bed):
    """Near enough: what kind of way it is, and its noise, are judged anew with both runs."""
    rng = np.random.default_rng(12)
    first = _drawn_over(make_traverse, bed, 100, rng)
    promised = next(
        a for a in next_traverse(combine([first], bed), "front").advice if "65 mm base" in sentence(a.words)
    )
    other_feet = parse_bed(BED.replace("base_mm = 100", "base_mm = 65"))
    second = _drawn_over(make_traverse, other_feet, 65, rng, number=2)
    then = map_face(combine([first, second], bed), "front").straightness_expanded_um
    assert promised.then < 0.8 * promised.now
    assert promised.then == pytest.approx(then, rel=0.25)


@pytest.mark.statistics
def test_way_back_is_advised_where_a_level_was_drawn_one_way_only(make_traverse, bed):
    rng = np.random.default_rng(13)
    worn = np.diff(-40 * np.exp(-(((X - 450) / 200) ** 2))) / 0.1
    runs = [
        make_traverse(bed, "level", MIDDLE, worn, face="front", direction=way)
        for way in ("forward", "reverse")
    ]
    runs.append(_drawn_over(make_traverse, bed, 100, rng))
    (promised,) = [
        a for a in next_traverse(combine(runs, bed), "front").advice if "drawn back" in sentence(a.words)
    ]
    assert "--direction reverse" in promised.command
    runs.append(_drawn_over(make_traverse, bed, 100, rng, direction="reverse"))
    then = map_face(combine(runs, bed), "front").straightness_expanded_um
    assert promised.then == pytest.approx(then, rel=0.25)
    assert not [
        a for a in next_traverse(combine(runs, bed), "front").advice if "drawn back" in sentence(a.words)
    ]


def test_second_base_is_not_advised_for_a_stepped_level(advised):
    assert not [a for a in advised("front", wanted="front") if "base" in sentence(a.words)]


HEIGHT = {
    "front": lambda x: -40 * np.sin(np.pi * x / 1000),
    "rear": lambda x: -25 * np.sin(np.pi * x / 1000) + 0.03 * x,
    "side": lambda x: 30 * np.sin(np.pi * x / 1000),
}


def _recorded(make_traverse, bed, instrument, **setup):
    """One traverse of the invented bed, without noise."""
    if instrument == "level":
        return make_traverse(bed, "level", MIDDLE, np.diff(HEIGHT[setup["face"]](X)) / 0.1, **setup)
    if instrument == "cross":
        roll = (HEIGHT["rear"](X) - HEIGHT["front"](X)) / 0.25
        return make_traverse(bed, "cross", X, roll, front="front", rear="rear")
    return make_traverse(bed, "dial", X, HEIGHT[setup["face"]](X) - HEIGHT[setup["reference"]](X), **setup)


def _as_advised(make_traverse, bed, advice):
    words = advice.command.split()
    if advice.instrument == "cross":
        return _recorded(make_traverse, bed, "cross")
    options = {"face": words[3]}
    for option in ("direction", "reference"):
        if f"--{option}" in words:
            options[option] = words[words.index(f"--{option}") + 1]
    return _recorded(make_traverse, bed, advice.instrument, **options)


@pytest.mark.statistics
@pytest.mark.parametrize(
    "taken",
    [
        [("level", "front")],
        [("level", "front"), ("level", "rear")],
        [("level", "front"), ("cross", None)],
        [("level", "front"), ("level", "rear"), ("cross", None)],
        [("level", "front"), ("level", "front"), ("cross", None), ("dial", "rear")],
    ],
)
def test_what_is_promised_is_what_map_and_twist_then_print(make_traverse, bed, taken):
    """One definition of a figure: the promise is printed to the last digit that the shape decides."""
    runs = []
    for instrument, face in taken:
        further = {"reference": "front"} if instrument == "dial" else {}
        runs.append(_recorded(make_traverse, bed, instrument, face=face, **further))
    promises = next_traverse(combine(runs, bed)).advice
    assert promises
    for promise in promises:
        with_it = [*runs, _as_advised(make_traverse, bed, promise)]
        if promise.what == "twist":
            printed = twist_of(with_it, bed).wind_expanded_um_per_m
            now = None if promise.now is None else twist_of(runs, bed).wind_expanded_um_per_m
        else:
            face = promise.what.removeprefix("straightness of ")
            printed = map_face(combine(with_it, bed), face).straightness_expanded_um
            now = promise.now and map_face(combine(runs, bed), face).straightness_expanded_um
        # of a face not known before, how hollow it is and where is not known either
        sure = 1e-6 if promise.now or promise.what == "twist" else 0.15
        assert promise.then == pytest.approx(printed, rel=sure), promise.words
        assert promise.now == (None if now is None else pytest.approx(now, rel=1e-6)), promise.words


def _with(bed_text, **more):
    """The bed with further keys of instruments."""
    for name, keys in more.items():
        bed_text = bed_text.replace(f"[instruments.{name}]\n", f"[instruments.{name}]\n{keys}\n")
    return parse_bed(bed_text)


def test_run_by_the_same_level_is_not_promised_to_tell_its_scale(make_traverse):
    """A further run reads too much by the same share as the first: the ± of a deep hollow stays."""
    bed = _with(BED, level="scale_uncertainty = 0.05")
    runs = [
        _recorded(make_traverse, bed, "level", face="front", direction=way) for way in ("forward", "reverse")
    ]
    now, then = (map_face(combine(some, bed), "front").straightness_expanded_um for some in (runs[:1], runs))
    assert then > 0.95 * now > 1.9  # 5 % of 40 µm, k = 2, and some noise
    told = [a for a in next_traverse(combine(runs[:1], bed), "front").advice if a.instrument == "level"]
    assert all(a.then > 0.95 * now and a.checks == "front" for a in told), "it checks, and narrows nothing"


def test_promise_of_a_carried_indicator_counts_the_way_between_its_stations(make_traverse):
    """Feet 90 mm apart on a way that is another at every station: what lies between is as rough."""
    bed = _with(BED, dial="carrier_feet_mm = 90")
    rough = np.random.default_rng(3).normal(0, 5, len(X))
    way = make_traverse(bed, "level", MIDDLE, np.diff(rough) / 0.1, face="front")
    (promise,) = [
        a
        for a in next_traverse(combine([way], bed), "rear").advice
        if a.face == "rear" and a.instrument == "dial"
    ]
    at = X[1:-1]
    carried = np.interp(at - 45, X, rough) / 2 + np.interp(at + 45, X, rough) / 2
    run = make_traverse(bed, "dial", at, -carried, face="rear", reference="front")
    printed = map_face(combine([way, run], bed), "rear").straightness_expanded_um
    assert promise.then > 0.5 * printed > 5.0  # noise decides which stations stand out


def test_promise_counts_the_steps_in_which_a_level_was_written_down(make_traverse, bed):
    """Whole tens of µm/m, whatever the display could show: the next run will be written so as well."""
    written = np.round(np.diff(HEIGHT["front"](X)) / 0.1, -1)
    runs = [
        make_traverse(bed, "level", MIDDLE, written, face="front", direction=way)
        for way in ("forward", "reverse")
    ]
    now, then = (map_face(combine(some, bed), "front").straightness_expanded_um for some in (runs[:1], runs))
    assert then > 0.95 * now  # equal readings share the step
    told = [a for a in next_traverse(combine(runs[:1], bed), "front").advice if a.instrument == "level"]
    assert all(a.then > 0.95 * now and a.checks == "front" for a in told), "it checks, and narrows nothing"


def test_roll_with_a_run_that_is_only_imagined_does_not_rest_on_its_readings(make_traverse, bed):
    """An indicator rides one way, so that the roll is asked for again without it."""
    runs = [
        _recorded(make_traverse, bed, "level", face="front"),
        _recorded(make_traverse, bed, "dial", face="rear", reference="front"),
        _recorded(make_traverse, bed, "cross"),
    ]
    bed_map, rng = combine(runs, bed), np.random.default_rng(4)
    winds = []
    for reading in (np.zeros(10), rng.normal(0, 500, 10)):
        imagined = make_traverse(bed, "level", MIDDLE, reading, face="rear", direction="reverse", number=9)
        with_it = covariance_with(bed_map, observe(imagined, bed))
        winds.append(wind_expanded(known_roll(with_it, ways_of(bed))))
    assert winds[0] == pytest.approx(winds[1], rel=1e-6)


@pytest.mark.parametrize(
    "told",
    [
        ("level", "cross"),
        *(pytest.param(each, marks=pytest.mark.statistics) for each in ((), ("level",), ("cross",))),
    ],
)
def test_wind_is_as_promised_where_it_is_told_without_carriers_each_time(
    make_traverse, bed, told, monkeypatch
):
    """Second method: for every candidate the readings without the carried dial, adjusted by themselves."""
    random = np.random.default_rng(len(told))
    traverses = [
        _level(make_traverse, bed, "front", number=1),
        make_traverse(bed, "dial", X, random.normal(0, 2, 11), face="rear", reference="front", number=2),
    ]
    if "level" in told:
        traverses.append(_level(make_traverse, bed, "rear", number=3))
    if "cross" in told:
        traverses.append(
            make_traverse(bed, "cross", X, random.normal(0, 4, 11), front="front", rear="rear", number=4)
        )
    bed_map = combine(traverses, bed)
    quick = next_traverse(bed_map, "twist")
    targets = next_module._Targets.of

    class NothingTold:
        """What makes it ask each time."""

        @staticmethod
        def of(bed_map, wanted):
            return dataclasses.replace(targets(bed_map, wanted), is_roll_told=False)

    monkeypatch.setattr(next_module, "_Targets", NothingTold)
    assert next_traverse(bed_map, "twist") == quick
    assert bool(quick.advice)
