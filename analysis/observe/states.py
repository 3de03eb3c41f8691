"""Whether the bed stood alike while its traverses were taken: only like can be held against like."""

from collections.abc import Sequence
from dataclasses import dataclass

from acquire.model.traverse import Traverse
from analysis.linear.fact import Fact

IS_OR_IS_NOT = ("clamped", "headstock_on", "carriage_on")
"""What a state says yes or no to."""
LEAST_DIFFERENCE_K = 0.5
"""Change of the difference between top and bottom that is worth a word where the depth is not known."""


@dataclass(frozen=True)
class StoodOtherwise(Fact):
    """The bed stood otherwise for some traverses than for others."""

    key: str
    """stands_on, or one of `IS_OR_IS_NOT`."""
    stood: tuple[tuple[str | bool, tuple[int, ...]], ...]
    """Each way it stood, and the traverses for which it did."""


@dataclass(frozen=True)
class WarmedBetween(Fact):
    """Top less bottom of the bed was not alike in all traverses."""

    least: int
    """The traverse in which it was least."""
    least_k: float
    most: int
    most_k: float


def state_warnings(traverses: Sequence[Traverse]) -> tuple[Fact, ...]:
    """What has changed about the bed between traverses; what was not said is passed over.

    Parameters
    ----------
    traverses : sequence of Traverse
        Those that are taken together or held against each other.

    Returns
    -------
    tuple of Fact
        Nothing where all that was said is alike.
    """
    found = [*(_changed(traverses, key) for key in ("stands_on", *IS_OR_IS_NOT)), _warmed(traverses)]
    return tuple(each for each in found if each is not None)


def how_it_stood(traverse: Traverse, key: str) -> str | bool | None:
    """What a traverse says of how the bed stood; None where it says nothing."""
    value = traverse.setup.state.get(key)
    if value is None or key == "stands_on":
        return value or None
    return bool(value)


def warmer_by_k(traverse: Traverse) -> float | None:
    """Top less bottom of the bed; None where it was not written down."""
    top, bottom = (traverse.setup.state.get(f"temperature_{side}_degC") for side in ("top", "bottom"))
    return None if top is None or bottom is None else float(top) - float(bottom)


def _changed(traverses: Sequence[Traverse], key: str) -> Fact | None:
    numbers: dict[str | bool, list[int]] = {}
    for each in traverses:
        value = how_it_stood(each, key)
        if value is not None:
            numbers.setdefault(value, []).append(each.number)
    if len(numbers) < 2:
        return None
    return StoodOtherwise(key, tuple((value, tuple(which)) for value, which in numbers.items()))


def _warmed(traverses: Sequence[Traverse]) -> Fact | None:
    warmer = {each.number: kelvin for each in traverses if (kelvin := warmer_by_k(each)) is not None}
    if not warmer:
        return None
    least, most = min(warmer, key=lambda n: warmer[n]), max(warmer, key=lambda n: warmer[n])
    if warmer[most] - warmer[least] < LEAST_DIFFERENCE_K:
        return None
    return WarmedBetween(least, warmer[least], most, warmer[most])
