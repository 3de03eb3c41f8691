"""Which runs bear on a face: those whose readings, or zeros, are tied to its heights, one over another."""

from collections.abc import Mapping, Sequence

from analysis.adjust.nodes import Key
from analysis.adjust.nuisances import zero_roots
from analysis.linear.fact import Fact
from analysis.observe import Observations


def linked_traverses(observations: Sequence[Observations], face: str) -> frozenset[int]:
    """Numbers of all runs that a change in could change what is known of a face.

    Two runs are linked by a line of heights that both read (of a face, a straightedge, a carrier's
    path) or by one zero.  All others are a problem of their own: their readings and this face's stand
    in no equation together.
    """
    roots = zero_roots(observations)
    tied = [_lines(each) | _zero(roots, each) for each in observations]
    reached: set[Key] = {("height", face), ("side", face)}
    while not all(each <= reached or reached.isdisjoint(each) for each in tied):
        reached.update(*(each for each in tied if not reached.isdisjoint(each)))
    return frozenset(
        number
        for each, own in zip(observations, tied, strict=True)
        if own <= reached
        for number in (each.traverse, *each.with_traverses)
    )


def _lines(observations: Observations) -> set[Key]:
    return {(place.kind, place.owner) for form in observations.forms for place in form}


def _zero(roots: Mapping[int, int], observations: Observations) -> set[Key]:
    root = roots.get(observations.traverse)
    return set() if root is None else {("zero", str(root))}


def bears_on(fact: Fact, traverses: frozenset[int]) -> bool:
    """Whether a fact is about one of these runs, or about no run in particular."""
    named = getattr(fact, "traverses", None) or (getattr(fact, "traverse", None),)
    return named == (None,) or not traverses.isdisjoint(named)
