"""Values with shared methods beside the standard library's dataclasses: what one does, the other does."""

import copy
import dataclasses
import pickle
from dataclasses import field
from functools import cached_property

import numpy as np
import pytest

from acquire.model import values


def classes(make):
    """The same two classes, made by either."""

    @make(frozen=True)
    class Step:
        base_mm: float
        slope_um_per_m: float = 0.5
        marks: list = field(default_factory=list)
        note: str = field(default="", compare=False, repr=False)

        def __post_init__(self):
            if self.base_mm <= 0:
                raise ValueError(f"base_mm = {self.base_mm}")

        @cached_property
        def rise_um(self):
            return self.base_mm * self.slope_um_per_m / 1000

    @make(frozen=True)
    class Turned(Step):
        by: str = "half"

    return Step, Turned


OURS, THEIRS = classes(values.dataclass), classes(dataclasses.dataclass)
EITHER = pytest.mark.parametrize("made", [OURS, THEIRS], ids=["shared methods", "standard library"])
ARGUMENTS = [
    ((200.0,), {}),
    ((), {"base_mm": 200.0}),
    ((200.0, 1.5, [3]), {"note": "cold"}),
    ((200.0,), {"slope_um_per_m": -1.0, "marks": [1, 2]}),
]
MISTAKES = [
    ((), {}),
    ((200.0,), {"base_mm": 200.0}),
    ((200.0,), {"length_mm": 3.0}),
    ((200.0, 1.0, [], "", "half", "too many"), {}),
    ((), {"slope_um_per_m": 1.0}),
    ((), {"slope_um_per_m": 1.0, "length_mm": 3.0}),
]


@pytest.mark.parametrize(("placed", "named"), ARGUMENTS)
@pytest.mark.parametrize("which", [0, 1])
def test_values_are_made_and_shown_alike(placed, named, which):
    ours, theirs = OURS[which](*placed, **named), THEIRS[which](*placed, **named)
    assert repr(ours) == repr(theirs)
    assert dataclasses.asdict(ours) == dataclasses.asdict(theirs)
    assert ours.rise_um == theirs.rise_um
    changed = dataclasses.replace(ours, slope_um_per_m=2.0)
    assert repr(changed) == repr(dataclasses.replace(theirs, slope_um_per_m=2.0))


@EITHER
@pytest.mark.parametrize(("placed", "named"), MISTAKES)
@pytest.mark.parametrize("which", [0, 1])
def test_values_that_do_not_fit_are_refused(made, placed, named, which):
    with pytest.raises(TypeError):
        made[which](*placed, **named)


@EITHER
def test_a_value_is_checked_frozen_and_has_lists_of_its_own(made):
    step, _ = made
    with pytest.raises(ValueError, match="base_mm"):
        step(0.0)
    one = step(200.0)
    for change in (lambda: setattr(one, "base_mm", 1.0), lambda: delattr(one, "base_mm")):
        with pytest.raises(dataclasses.FrozenInstanceError, match="base_mm"):
            change()
    one.marks.append(1)
    assert step(200.0).marks == []


@EITHER
def test_values_are_equal_by_what_is_compared_within_one_class(made):
    step, turned = made
    assert step(200.0) == step(200.0, note="cold") != step(100.0)
    assert step(200.0) != turned(200.0) and step(200.0) != (200.0, 0.5, [])
    with pytest.raises(TypeError, match="unhashable"):  # of its list
        hash(step(200.0))
    assert copy.copy(step(200.0)) == step(200.0)


def test_hashes_go_by_the_fields():
    @values.dataclass(frozen=True)
    class Place:
        """A place."""

        face: str
        station_mm: float

    assert len({Place("front", 0.0), Place("front", 0.0), Place("rear", 0.0)}) == 2


@pytest.mark.parametrize("make", [values.dataclass, dataclasses.dataclass], ids=["shared methods", "library"])
def test_values_that_are_no_equals_are_equal_to_themselves_alone(make):
    @make(frozen=True, eq=False, repr=False)
    class Heights:
        """Heights."""

        height_um: np.ndarray

    @make(frozen=True)
    class Known:
        """Heights, and nothing else."""

        height_um: np.ndarray

    one, other = Heights(np.zeros(3)), Heights(np.zeros(3))
    assert one == one and one != other and len({one, other}) == 2
    assert "height_um" not in repr(one)
    assert Known(one.height_um) == Known(one.height_um)  # arrays are compared where they are not the same


@EITHER
def test_a_class_keeps_the_methods_that_it_writes_itself(made):
    make = values.dataclass if made is OURS else dataclasses.dataclass

    @make(frozen=True)
    class Length:
        """A length that is equal to its number."""

        mm: float

        def __eq__(self, other):
            return self.mm == other

        def __hash__(self):
            return 7

        def __repr__(self):
            return f"{self.mm} mm"

    assert (Length(3.0) == 3.0, hash(Length(3.0)), repr(Length(3.0))) == (True, 7, "3.0 mm")


def test_a_value_of_the_house_survives_being_pickled():
    from acquire.model.units import Reading

    assert dataclasses.is_dataclass(Reading)
    for value in (Reading(1.5, "mm"),):
        assert pickle.loads(pickle.dumps(value)) == value


def test_a_class_that_may_change_is_refused():
    with pytest.raises(TypeError, match="dataclasses"):
        values.dataclass(frozen=False)
