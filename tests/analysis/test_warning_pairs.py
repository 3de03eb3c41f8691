"""Each warning where it belongs and nowhere else: a row for each, what raises it beside what does not."""

from pathlib import Path
from types import SimpleNamespace as Made

import numpy as np
import pytest

from acquire.model.bed import Instrument
from acquire.model.bed_toml.reading import parse_bed
from analysis.adjust.combination import ScattersMore
from analysis.answers.common_state import instrument_differences, not_said, state_differences
from analysis.answers.datums import what_is_missing
from analysis.answers.feet_on_bed import not_these_feet, nothing_unworn, warnings_of_levelling
from analysis.answers.history import perhaps_cut_where_unworn, warnings_of_both
from analysis.answers.joints import what_is_untold
from analysis.answers.known_roll import ways_of
from analysis.answers.surveys import Survey
from analysis.observe.states import state_warnings
from analysis.words.facts import sentences
from tests.invented import bed_toml, flat

BED = bed_toml(faces={"front": flat(0), "rear": flat(300)}) + "{unworn}\n"
FOOT = "[feet.f{n}]\nstation_mm = {x}\nacross_mm = {p}\n{screw}\n"


def bed(feet=(), screw="um_per_turn = 1000", unworn=""):
    text = BED.format(unworn=unworn)
    return parse_bed(text + "".join(FOOT.format(n=n, x=x, p=p, screw=screw) for n, (x, p) in enumerate(feet)))


FOUR = ((0, 0), (0, 300), (1000, 0), (1000, 300))
OFF_A_PAIR = ((0, 0), (0, 300), (500, 0), (1000, 300))


def feet(*where, screw="um_per_turn = 1000"):
    found = not_these_feet(bed(where, screw))
    return () if found is None else (found,)


def unworn(text):
    found = nothing_unworn(bed(unworn=text))
    return () if found is None else (found,)


def levelled(factor=1.0, is_all_told=True, known_up_to="nothing"):
    fit = Made(factor=factor, pairs_mm=(0, 1), misfit_um=4.0, bed_map=Made(warnings=()))
    return warnings_of_levelling(fit, Made(known_up_to=known_up_to), Made(notes=()), is_all_told)


def survey(stations):
    measures = Made(is_measuring=True)
    runs = tuple(
        Made(number=n, setup=Made(measures=measures), stations=np.zeros(count))
        for n, count in enumerate(stations, 1)
    )
    return Survey(Path("invented"), bed(), runs).left_out


def face(name="way", shape=True, is_sure=True, is_checked=True):
    known = Made(curve_is_sure=is_sure) if shape else None
    return Made(
        face=name, shape=known, why_not_known="no reading", is_checked=is_checked, cannot_tell=None, wear=None
    )


def datums(*found):
    faces = {each.face: Made(normal="up") for each in found}
    every = {"under": "down", "side": "front"}
    known = [face(name) for name in every]
    faces |= {name: Made(normal=normal) for name, normal in every.items()}
    return tuple(what_is_missing(Made(bed=Made(faces=faces)), [*found, *known]))


def datums_without(normal):
    looks = {"under": "down", "side": "front", "top": "up"}
    found = [face(name) for name, looking in looks.items() if looking != normal]
    faces = {name: Made(normal=looking) for name, looking in looks.items()}
    return tuple(what_is_missing(Made(bed=Made(faces=faces)), found))


def stood(**state):
    return [Made(setup=Made(state=state))]


DEEP = Made(depth_mm=300.0, length_mm=1000.0)


def differences(before, after, of=DEEP):
    return state_differences(stood(**before), stood(**after), of)


def read_by(base_mm=100.0, **cable):
    level = Instrument("level", "slope", "um/m", base_mm=base_mm, **cable)
    return [Made(setup=Made(instrument="level", subject="front"), instrument=level)]


def between(*states):
    runs = [Made(number=n, setup=Made(state=state)) for n, state in enumerate(states, 1)]
    return state_warnings(runs)


UNWORN_AT_THE_ENDS = Made(faces={"way": Made(unworn_mm=((0.0, 100.0), (950.0, 1200.0)))})


SHALLOW = Made(depth_mm=None, length_mm=1000.0)


def warm(top):
    return {"temperature_top_degC": top, "temperature_bottom_degC": 20.0}


def joint(*told):
    return tuple(what_is_untold(dict.fromkeys(told)))


def of_history(repeated=(), before=()):
    runs = [Made(measuring=stood(**EVERY)) for _ in range(2)]
    maps = (Made(warnings=before), Made(warnings=()))
    return warnings_of_both(Made(before=runs[0], after=runs[1], maps=maps), repeated)


EVERY = {"stands_on": "feet", "clamped": True, "headstock_on": True, "carriage_on": True}

PAIRS = {
    "empty run left out": (lambda: survey([3, 0]), "traverse 2 holds no reading", lambda: survey([3, 1])),
    "three feet": (lambda: feet(*FOUR[:3]), "three feet or fewer only tip a bed", lambda: feet(*FOUR)),
    "no feet": (feet, "says nothing of the feet", lambda: feet(*FOUR)),
    "feet that are no pairs": (
        lambda: feet(*OFF_A_PAIR),
        "f2 at 500 mm in bed.toml: needed are two feet there",
        lambda: feet(*FOUR),
    ),
    "feet in one place across": (
        lambda: feet((0, 0), (20, 0), (1000, 0), (1000, 300)),
        "in bed.toml: needed are two feet there",
        lambda: feet(*FOUR),
    ),
    "ways named in the other order": (
        lambda: ways_of(bed(), "rear", "front").notes,
        "front is taken as the front way",
        lambda: ways_of(bed(), "front", "rear").notes,
    ),
    "run in both surveys": (
        lambda: of_history(repeated=[3]),
        "traverse 3 of the present survey is in the older one too: taken as before the work only",
        of_history,
    ),
    "perhaps cut where it was unworn": (
        lambda: perhaps_cut_where_unworn([Made(face="way", came_off=("a stretch",))], UNWORN_AT_THE_ENDS),
        "metal came off way, which bed.toml calls unworn from 0 to 100 mm and from 950 to 1200 mm",
        lambda: perhaps_cut_where_unworn([Made(face="way", came_off=())], UNWORN_AT_THE_ENDS),
    ),
    "what one of two surveys has to mind": (
        lambda: of_history(before=(ScattersMore(2.0),)),
        "before: the readings scatter 2.0 times as much",
        of_history,
    ),
    "step of a foot not stated": (
        lambda: feet(*FOUR, screw=""),
        "neither um_per_turn nor hand_step_um",
        lambda: feet(*FOUR, screw="hand_step_um = 5"),
    ),
    "nothing unworn": (
        lambda: unworn(""),
        "wear would be jacked out",
        lambda: unworn("unworn_mm = [[0, 200]]"),
    ),
    "nothing unworn, but a face that nothing runs on": (
        lambda: unworn(""),
        "wear would be jacked out",
        lambda: unworn("runs = false"),
    ),
    "unworn places no feet can make": (lambda: levelled(1.5), "lie up to 4.0 µm off", lambda: levelled(1.0)),
    "bend not told": (
        lambda: levelled(is_all_told=False),
        "no foot is moved for it",
        lambda: levelled(is_all_told=True),
    ),
    "roll up to a line": (
        lambda: levelled(known_up_to="a line"),
        "known only up to a line",
        lambda: levelled(known_up_to="a constant"),
    ),
    "face not known": (lambda: datums(face(shape=False)), "way: no reading", lambda: datums(face())),
    "too few bases": (lambda: datums(face(is_sure=False)), "over too few bases", lambda: datums(face())),
    "nothing checks": (lambda: datums(face(is_checked=False)), "nothing checks its", lambda: datums(face())),
    "none looks down": (
        lambda: datums_without("down"),
        "no face that looks down",
        lambda: datums_without("none"),
    ),
    "none looks aside": (
        lambda: datums_without("front"),
        "no face that looks to the front or rear",
        lambda: datums_without("none"),
    ),
    "none looks up": (lambda: datums_without("up"), "no face that looks up", lambda: datums_without("none")),
    "stood otherwise": (
        lambda: differences({"stands_on": "feet"}, {"stands_on": "blocks"}),
        "stood on feet before, on blocks after",
        lambda: differences({"stands_on": "feet"}, {"stands_on": "feet"}),
    ),
    "clamped otherwise": (
        lambda: differences({"clamped": True}, {"clamped": False}),
        "stood clamped down before, not clamped after",
        lambda: differences({"clamped": False}, {"clamped": False}),
    ),
    "instrument described otherwise": (
        lambda: instrument_differences(read_by(100.0), read_by(200.0)),
        "level is described otherwise before and after (base_mm 100.0 then, 200.0 now)",
        lambda: instrument_differences(read_by(), read_by(lag_s=0.1)),
    ),
    "warmer": (
        lambda: differences(warm(20.0), warm(21.0)),
        "+0.0 °C against its bottom before and +1.0 °C after",
        lambda: differences(warm(20.0), warm(20.05)),
    ),
    "colder": (
        lambda: differences(warm(21.0), warm(20.0)),
        "makes it more hollow by about 4.8",
        lambda: differences(warm(21.0), warm(21.0)),
    ),
    "warmer, of a bed of unknown depth": (
        lambda: differences(warm(20.0), warm(21.0), SHALLOW),
        "+0.0 °C against its bottom before and +1.0 °C after: that alone makes it more crowned",
        lambda: differences(warm(20.0), warm(20.05), SHALLOW),
    ),
    "stood otherwise between runs": (
        lambda: between({"stands_on": "feet"}, {"stands_on": "blocks"}),
        "stood on feet for traverse 1, on blocks for traverse 2",
        lambda: between({"stands_on": "feet"}, {}, {"stands_on": "feet"}),
    ),
    "clamped otherwise between runs": (
        lambda: between({"clamped": True}, {"clamped": False}),
        "stood clamped down for traverse 1, not clamped for traverse 2",
        lambda: between({"clamped": False}, {"clamped": False}),
    ),
    "warmer between runs": (
        lambda: between(warm(20.0), warm(22.0)),
        "+2.0 °C against its bottom in traverse 2 and +0.0 °C in traverse 1",
        lambda: between(warm(20.0), warm(20.1)),
    ),
    "not written before": (
        lambda: not_said(stood(), stood(**EVERY)),
        "how the bed stood was not written down before",
        lambda: not_said(stood(**EVERY), stood(**EVERY)),
    ),
    "one thing not written after": (
        lambda: not_said(stood(**EVERY), stood(**(EVERY | {"clamped": None}))),
        "whether it was clamped was not written down after",
        lambda: not_said(stood(**EVERY), stood(**EVERY)),
    ),
    "height of a joint": (
        lambda: joint("rear"),
        "whether it is high or low",
        lambda: joint("up", "roll", "rear"),
    ),
    "roll of a joint": (
        lambda: joint("up", "rear"),
        "whether it is rolled",
        lambda: joint("up", "roll", "rear"),
    ),
    "side of a joint": (
        lambda: joint("up", "roll"),
        "to the front or rear",
        lambda: joint("up", "roll", "rear"),
    ),
}


@pytest.mark.parametrize(("raised", "words", "quiet"), PAIRS.values(), ids=PAIRS)
def test_warning_stands_where_it_belongs_and_nowhere_else(raised, words, quiet):
    assert any(words in said for said in sentences(raised()))
    assert not any(words in said for said in sentences(quiet()))


def test_bed_bent_by_less_than_a_tenth_of_a_micrometre_is_not_told_of():
    """From memory (textbook formula): 11.5e-6/K, 1 m long, 0.3 m deep bend by 4.79 µm a kelvin."""
    assert differences(warm(20.0), warm(20.01)) == ()


def test_bed_of_unknown_depth_that_warmed_by_a_twentieth_of_a_degree_is_not_told_of():
    assert differences(warm(20.0), warm(20.05), SHALLOW) == ()


def test_nothing_is_said_of_ways_in_order_of_a_survey_begun_anew_and_of_runs_that_measure_nothing():
    assert ways_of(bed(), "front", "rear").notes == ()
    assert of_history() == ()
    position = Made(number=1, setup=Made(measures=Made(is_measuring=False)), stations=())
    assert Survey(Path("invented"), None, (position,)).left_out == ()
