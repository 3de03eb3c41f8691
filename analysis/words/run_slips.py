"""Whole runs that look wrong as they were written: by how much, and the command that mends it."""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from acquire.model.units import unit_text
from analysis.words.of_readings import traverses

if TYPE_CHECKING:
    from analysis.adjust.run_slips import RunsContradict, RunSlip

LEAST_SHOWN = 0.01
"""In the unit of the readings, µm or µm/m."""


def run_slip_words(found: "RunSlip", survey: str = "SURVEY") -> str:
    """What is wrong with runs, by how much, and the command that mends it.

    Examples
    --------
    >>> from analysis.adjust.run_slips import Explanation, RunSlip
    >>> turned = Explanation((2,), "the level turned end for end (or its sign)", ("turned",), 2.1)
    >>> words = run_slip_words(RunSlip("vial", (2,), 48.3, 2.2, "um/m", (turned,)))
    >>> words[:72]
    'traverse 2 (vial) looks wrong as it was written: it misses what the othe'
    >>> words[72:150]
    'rs make of it by 48 µm/m (2.2 µm/m would be usual). One slip explains it: the '
    >>> words[-101:-48]
    'If it was so: `waylog redo SURVEY 2 --as turned`. Unt'
    """
    unit = unit_text(found.unit)
    who = f"{traverses(found.traverses)} ({found.instrument})"
    one = len(found.traverses) == 1
    misses = f"{'misses' if one else 'miss'} what the others make of {'it' if one else 'them'}"
    by = f"{misses} by {_size(found.misfit)} {unit} ({_size(found.expected)} {unit} would be usual)"
    if not found.explanations:
        return (
            f"{who} {by}, and no slip that is known explains it: look at how it was taken, at the instrument "
            "and at the bed, and run it again; what is read after work on the bed belongs into a new survey"
        )
    commands = [
        f"`waylog redo {survey} {' '.join(map(str, each.traverses))} --as {' --as '.join(each.redo_as)}`"
        for each in found.explanations
    ]
    last = "Until it is put right nothing here is to be trusted"
    if len(commands) == 1:
        looks, it, was = ("looks", "it", "was") if one else ("look", "they", "were")
        (only,) = found.explanations
        return (
            f"{who} {looks} wrong as {it} {was} written: {it} {by}. One slip explains it: {only.slip}; "
            f"put right, {it} would miss by {_size(only.misfit)} {unit}. If it was so: {commands[0]}. {last}"
        )
    several = "; ".join(
        f"{traverses(each.traverses)}, {each.slip} (would miss by {_size(each.misfit)} {unit}): {command}"
        for each, command in zip(found.explanations, commands, strict=True)
    )
    is_of_others = {each.traverses for each in found.explanations} != {found.traverses}
    doubted = f"{who}, or what it is held against," if is_of_others else who
    return (
        f"{doubted} looks wrong as it was written: it {by}. One of these would explain it, and nothing tells "
        f"which: {several}. {last}"
    )


def _size(misfit: float) -> str:
    """Two digits that count: drawn runs miss each other by hundredths, which are not nothing.

    Examples
    --------
    >>> [_size(each) for each in (48.3, 2.24, 0.041, 0.0004)]
    ['48', '2.2', '0.04', 'less than 0.01']
    """
    if misfit < LEAST_SHOWN:
        return f"less than {LEAST_SHOWN:g}"
    return f"{misfit:.{0 if misfit >= 9.95 else 1 if misfit >= 0.995 else 2}f}"


def _runs_contradict(found: "RunsContradict") -> str:
    return (
        f"{traverses(found.traverses)} contradict each other, by {found.times:.3g} times what their "
        "instruments claim, and no slip of one run explains all of it: more than one may be written down "
        "wrongly, or bed or instrument changed in between, or the noise is far larger than stated. Nothing "
        "here is to be trusted; hold them against each other two by two (`waylog compare`) and take those "
        "again that disagree"
    )


SENTENCES: Mapping[str, str | Callable[[Any], str]] = {
    "RunSlip": run_slip_words,
    "RunsContradict": _runs_contradict,
}
