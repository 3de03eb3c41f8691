"""From traverse files to the shape of the bed: how straight, how twisted, how sure.

For a notebook: ``from analysis import load``, then ``survey = load("my-survey")`` and

* ``survey.profile("front-vee")``: heights with their joint covariance;
* ``map_face(survey.map(), "front-vee")``: how straight, hollow or crowned, from which line;
* ``twist_of(survey.measuring, survey.bed)``, ``compare(survey.measuring, survey.bed, A, B)``;
* ``before_and_after(older_survey, survey)``: what work on the bed changed;
* ``plan_faces(survey.map(), ["front-vee"])``: what to take off where, and the blue to expect;
* ``sentences(answer.warnings)``: what must be said beside an answer, in words;
* ``survey.whole_bed()``: every face, what disagrees, what nothing checks, what cannot be told;
* ``profile_figure``, ``twist_figure``, ``comparison_figure``, ``history_figure``, ``plan_figure``,
  ``bed_figure`` draw these answers, and ``save`` keeps a picture.

Nothing is imported before it is asked for.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analysis.answers.comparison import compare
    from analysis.answers.face_map import map_face
    from analysis.answers.history import before_and_after
    from analysis.answers.plan import plan_faces
    from analysis.answers.surveys import Survey, load
    from analysis.answers.twist import twist_of
    from analysis.draw.figures import (
        bed_figure,
        comparison_figure,
        history_figure,
        plan_figure,
        profile_figure,
        save,
        twist_figure,
    )
    from analysis.words.facts import sentences

__all__ = [
    "Survey",
    "bed_figure",
    "before_and_after",
    "compare",
    "comparison_figure",
    "history_figure",
    "load",
    "map_face",
    "plan_faces",
    "plan_figure",
    "profile_figure",
    "save",
    "sentences",
    "twist_figure",
    "twist_of",
]

_ROOMS = {
    "answers.surveys": ("Survey", "load"),
    "answers.face_map": ("map_face",),
    "answers.plan": ("plan_faces",),
    "answers.twist": ("twist_of",),
    "answers.comparison": ("compare",),
    "answers.history": ("before_and_after",),
    "draw.figures": (
        "bed_figure",
        "comparison_figure",
        "history_figure",
        "plan_figure",
        "profile_figure",
        "save",
        "twist_figure",
    ),
    "words.facts": ("sentences",),
}
_ROOM_OF = {name: room for room, names in _ROOMS.items() for name in names}


def __getattr__(name: str) -> Any:
    """Fetch a public name from its room when it is first asked for."""
    if name not in _ROOM_OF:
        raise AttributeError(f"module 'analysis' has no attribute {name!r}")
    return getattr(import_module(f"analysis.{_ROOM_OF[name]}"), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
