"""Turns a traverse, whatever its instrument, into linear observations of the heights."""

from analysis.observe.observing import joined, observe, observe_all
from analysis.observe.over_joints import CrossedJoint
from analysis.observe.states import state_warnings
from analysis.observe.terms import Form, Nuisance, Observations, Place, Unknown, weighted_sum

__all__ = [
    "CrossedJoint",
    "Form",
    "Nuisance",
    "Observations",
    "Place",
    "Unknown",
    "joined",
    "observe",
    "observe_all",
    "state_warnings",
    "weighted_sum",
]
