"""What a traverse may be. The geometry is argued beside each case; no outside source is needed."""

import pytest

from acquire.model.bed_toml.reading import parse_bed
from acquire.model.errors import EntryError
from acquire.record.setup_checks import make_setup, setup_warnings
from tests.invented import bed_toml, caliper, cross_level, dial, flat, level, scale, vee

BED = parse_bed(
    bed_toml(
        1600,
        50,
        name="invented lathe bed",
        faces={
            "front-vee": vee(0, "front"),
            "rear-flat": flat(300, "rear"),
            "front-keeper": {"normal": "down", "across_mm": 20},
            "front-side": {"normal": "front", "across_mm": -40},
            "rear-side": {"normal": "rear", "across_mm": 340},
            "unplaced": flat(),
        },
        instruments={
            "level": level(seating_um=0.3),
            "autocollimator": level(0.3, unit="arcsec", base_mm=100, gravity=False, footprint="full"),
            "cross-level": cross_level(0.002, unit="mm/m"),
            "indicator": dial(),
            "caliper": caliper(2),
            "scale": scale(),
        },
        straightedges={"two-foot": {"length_mm": 610}},
        wires={"steel": {"mass_g_per_m": 0.5, "tension_n": 50, "span_mm": 1800}},
        state={"stands_on": "feet"},
    )
)


@pytest.fixture
def setup(tmp_path):
    return lambda **asked: make_setup(BED, tmp_path, **asked)


ALLOWED = {
    "level on a way": {"instrument": "level", "face": "front-vee"},
    "level on an underside": {"instrument": "level", "face": "front-keeper"},
    "level on the carriage": {"instrument": "level", "face": "carriage"},
    "autocollimator on a side": {"instrument": "autocollimator", "face": "front-side"},
    "cross level": {"instrument": "cross-level", "across": ("front-vee", "rear-flat")},
    "indicator, same way": {"instrument": "indicator", "face": "rear-flat", "reference": "front-vee"},
    "indicator, opposite way": {"instrument": "indicator", "face": "front-keeper", "reference": "rear-flat"},
    "a vee guides sideways": {"instrument": "indicator", "face": "rear-side", "reference": "front-vee"},
    "carriage over a keeper": {"instrument": "indicator", "face": "front-keeper", "reference": "carriage"},
    "carriage guides sideways by its vee": {
        "instrument": "indicator", "face": "front-side", "reference": "carriage",
    },
    "linked parallels": {
        "instrument": "indicator", "face": "front-keeper", "reference": "front-vee+rear-flat",
    },
    "optical line": {"instrument": "indicator", "face": "rear-flat", "reference": "line"},
    "stand on the way, touching the edge": {
        "instrument": "indicator", "face": "straightedge:two-foot", "reference": "rear-flat",
        "turned_over": True,
    },
    "wire": {"instrument": "indicator", "face": "front-vee", "reference": "wire:steel"},
    "caliper across two sides": {"instrument": "caliper", "face": "front-side", "other": "rear-side"},
    "micrometer over a roller": {"instrument": "caliper", "face": "front-vee"},
    "scale": {"instrument": "level", "face": "front-vee", "position": "scale:scale"},
    "feed": {"instrument": "level", "face": "front-vee", "position": "feed:5"},
}  # fmt: skip


@pytest.mark.parametrize("asked", ALLOWED.values(), ids=ALLOWED)
def test_what_can_be_measured_is_allowed(setup, asked):
    assert setup(**asked).instrument == asked["instrument"]


REFUSED = {
    "unknown instrument": ({"instrument": "levle", "face": "front-vee"}, "levle"),
    "a scale measures no face": ({"instrument": "scale", "face": "front-vee"}, "reads position"),
    "unknown face": ({"instrument": "level", "face": "front"}, "no such face"),
    "no face": ({"instrument": "level"}, "Name the face"),
    "level on a side": ({"instrument": "level", "face": "front-side"}, "sees only up and down"),
    "level with a reference": (
        {"instrument": "level", "face": "front-vee", "reference": "rear-flat"}, "--reference",
    ),
    "indicator across": ({"instrument": "indicator", "across": ("front-vee", "rear-flat")}, "a level"),
    "cross level on one face": ({"instrument": "cross-level", "face": "front-vee"}, "--across FRONT REAR"),
    "cross level front to front": ({"instrument": "cross-level", "across": ("front-vee",) * 2}, "twice"),
    "cross level swapped": (
        {"instrument": "cross-level", "across": ("rear-flat", "front-vee")}, "Swap",
    ),
    "cross level without a gauge width": (
        {"instrument": "cross-level", "across": ("front-vee", "unplaced")}, "across_mm",
    ),
    "cross level on a side": (
        {"instrument": "cross-level", "across": ("front-vee", "rear-side")}, "both look up",
    ),
    "indicator without reference": ({"instrument": "indicator", "face": "rear-flat"}, "never B alone"),
    "indicator along its own face": (
        {"instrument": "indicator", "face": "rear-flat", "reference": "rear-flat"}, "own reference",
    ),
    "a flat does not guide sideways": (
        {"instrument": "indicator", "face": "front-side", "reference": "rear-flat"}, "right angles",
    ),
    "a side does not guide upwards": (
        {"instrument": "indicator", "face": "rear-flat", "reference": "front-side"}, "right angles",
    ),
    "one of two carriers at right angles": (
        {"instrument": "indicator", "face": "rear-flat", "reference": "front-vee+rear-side"}, "right angles",
    ),
    "unknown straightedge": (
        {"instrument": "indicator", "face": "rear-flat", "reference": "straightedge:long"}, "two-foot",
    ),
    "unknown kind of reference": (
        {"instrument": "indicator", "face": "rear-flat", "reference": "beam:x"}, "no such kind",
    ),
    "nothing of the bed": (
        {"instrument": "indicator", "face": "wire:steel", "reference": "line"}, "a face on one of the sides",
    ),
    "turned over without a straightedge": (
        {"instrument": "indicator", "face": "rear-flat", "reference": "line", "turned_over": True},
        "straightedge",
    ),
    "caliper across two tops": (
        {"instrument": "caliper", "face": "rear-flat", "other": "unplaced"}, "look up and up",
    ),
    "caliper inside two outsides": (
        {"instrument": "caliper", "face": "front-side", "other": "rear-side", "inside": True}, "away from",
    ),
    "caliper on one flat": ({"instrument": "caliper", "face": "rear-flat"}, "--other"),
    "unit of another quantity": ({"instrument": "level", "face": "front-vee", "unit": "thou"}, "arcsec"),
    "divisions where none are described": (
        {"instrument": "level", "face": "front-vee", "unit": "div"}, "um/m",
    ),
    "feed of nothing": ({"instrument": "level", "face": "front-vee", "position": "feed:0"}, "above 0"),
    "unknown scale": ({"instrument": "level", "face": "front-vee", "position": "scale:x"}, "scale"),
    "same zero as none": ({"instrument": "level", "face": "front-vee", "same_zero_as": 3}, "no such"),
    "turned indicator": (
        {"instrument": "indicator", "face": "rear-flat", "reference": "line", "turned": True}, "a level",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("asked", "words"), REFUSED.values(), ids=REFUSED)
def test_what_cannot_be_measured_is_refused_with_the_reason(setup, asked, words):
    with pytest.raises(EntryError) as refusal:
        setup(**asked)
    assert words in str(refusal.value)
    assert "\n" not in str(refusal.value)


def test_level_across_the_carriage_lies_on_the_carriages_two_ways(setup):
    made = setup(instrument="cross-level", across=("carriage",))
    assert (made.front, made.rear, made.reference, made.face) == ("front-vee", "rear-flat", "carriage", None)


def test_setup_survives_its_own_text(setup):
    made = setup(instrument="indicator", face="rear-flat", reference="front-vee", unit="thous")
    assert type(made).from_json(made.as_json()) == made
    assert made.unit == "thou"


def test_blanks_around_the_plus_of_two_references_do_not_matter(setup):
    made = setup(instrument="indicator", face="front-keeper", reference="front-vee + rear-flat")
    assert made.reference == "front-vee+rear-flat"


def test_blank_within_a_name_is_part_of_it(tmp_path):
    bed = parse_bed(
        BED.text.replace("faces.rear-flat", "faces.'rear flat'").replace("rear-flat", "rear flat")
    )
    made = make_setup(
        bed, tmp_path, instrument="indicator", face="front-keeper", reference="front-vee + rear flat"
    )
    assert made.reference == "front-vee+rear flat" and made.carried_by.names == ("front-vee", "rear flat")


def test_unsaid_state_of_the_bed_is_warned_of(tmp_path):
    stateless = parse_bed(BED.text[: BED.text.index("[state]")])
    words = setup_warnings(make_setup(stateless, tmp_path, instrument="level", face="front-vee"))
    assert len(words) == 1 and "[state]" in words[0]


def test_full_footprint_and_unstated_seating_are_warned_of(setup):
    words = setup_warnings(setup(instrument="autocollimator", face="front-vee"))
    assert len(words) == 2 and "whole length" in words[0] and "seating_um" in words[1]
    assert setup_warnings(setup(instrument="level", face="front-vee")) == ()
