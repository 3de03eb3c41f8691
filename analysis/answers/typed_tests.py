"""Tests of a few readings, answered from these and the map: as typed now, or as kept with the survey.

Every test is named as the command line calls it; its readings have the names that they are kept under, each
with its unit.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from acquire.model.errors import AnalysisError
from acquire.model.units import UM_PER_MM
from acquire.store.kept import KeptTest, read_tests
from analysis.adjust.bed_map import BedMap
from analysis.answers.alignment import (
    Bar,
    axis_of_bar,
    centres_of_bar,
    facing_test,
)
from analysis.answers.alignment_on_bed import (
    AgainstWhole,
    CollarsOnBed,
    Tailstock,
    collars_on_bed,
    line_on_bed,
    tailstock_on_bed,
)
from analysis.answers.dovetail import Dovetail, dovetail, gib_for
from analysis.answers.flanks import VeeAngles, angles_of_rollers
from analysis.answers.measured import Measured
from analysis.answers.squareness import (
    Square,
    against_whole,
    cylinder_turned,
    frame_level,
    guides_joined,
    square_turned,
    swept,
)
from analysis.answers.surveys import Survey

Run = Sequence[float]


def answer_test(survey: Survey, test: str, readings: Mapping[str, Any]) -> Any:
    """The answer of one test.

    Parameters
    ----------
    survey : Survey
        Whose map is used where it tells more.
    test : str
    readings : mapping
        What is None counts as not read.

    Raises
    ------
    AnalysisError
        If there is no such test, or the readings give no answer.
    """
    if test not in TESTS:
        raise AnalysisError(f"test {test!r}", "found no such test", ", ".join(TESTS))
    given = {name: value for name, value in readings.items() if value is not None}
    return TESTS[test](survey, **given)


@dataclass(frozen=True)
class Told:
    """A test that was kept, and what it tells with the map as it is now."""

    kept: KeptTest
    answer: Any
    """None where there is none."""
    why_not: str | None = None


@dataclass(frozen=True)
class KeptTests:
    """All that were kept, in order of number."""

    tests: tuple[Told, ...]


def answer_kept(survey: Survey) -> KeptTests:
    """Every test that was kept, answered again; one that gives no answer hides no other.

    Raises
    ------
    SurveyError
        Where a file of one holds something else.
    """
    return KeptTests(tuple(_told(survey, kept) for kept in read_tests(survey.folder)))


def _told(survey: Survey, kept: KeptTest) -> Told:
    try:
        return Told(kept, answer_test(survey, kept.test, kept.readings))
    except AnalysisError as why:
        return Told(kept, None, str(why))
    except (TypeError, ValueError) as error:  # written by hand, or by another version
        unfit = AnalysisError("its readings", f"do not fit it ({error})", "as `--keep` writes them")
        return Told(kept, None, str(unfit))


def _map(survey: Survey) -> BedMap | None:
    """The map of the ways; None before anything was measured."""
    return survey.map() if survey.measuring else None


def _tailstock(
    survey: Survey, *, faces: Sequence[str], base_mm: float | None = None, guide: str | None = None
) -> Tailstock:
    return tailstock_on_bed(survey.map(), faces, base_mm=base_mm, guide=guide)


def _line(
    survey: Survey,
    *,
    top_um: Run,
    front_um: Run,
    at_mm: Run,
    uncertainty_um: float,
    held_mm: float = 0.0,
    diameter_mm: float | None = None,
    length_mm: float | None = None,
    taper_uncertainty_um: float = 0.0,
    guide: str | None = None,
) -> AgainstWhole:
    """A test bar or a quill, for its sag as thick and as long as it is out."""
    bar = None
    if diameter_mm is not None and length_mm is not None:
        bar = Bar(diameter_mm, length_mm, taper_uncertainty_um=taper_uncertainty_um)
    near, far = at_mm
    line = axis_of_bar(top_um, front_um, abs(far - near), uncertainty_um, bar=bar, near_mm=held_mm)
    return line_on_bed(_map(survey), line, near, far, guide=guide, called=survey.bed.called)


def _turned(
    survey: Survey,
    *,
    diameters_mm: Run,
    at_mm: Run,
    uncertainty_um: float,
    guide: str | None = None,
    **_cut: float,
) -> CollarsOnBed:
    """Two collars; force, stick-out and diameter of the bar are for the words beside."""
    near, far = at_mm
    return collars_on_bed(
        _map(survey), taper_of_collars(diameters_mm, uncertainty_um), near, far, guide=guide
    )


def taper_of_collars(diameters_mm: Run, uncertainty_um: float) -> Measured:
    """Far diameter less near diameter, in µm."""
    near, far = diameters_mm
    return Measured(UM_PER_MM * (far - near), 2**0.5 * uncertainty_um)


def _by_itself(answer: Callable[..., Any]) -> Callable[..., Any]:
    """The answer of a test that asks nothing of the survey."""
    return lambda _, **readings: answer(**readings)


def _on_a_face(answer: Callable[..., Square]) -> Callable[..., Square]:
    """The same against the whole face that the tool stood on, where that was said."""

    def answered(
        survey: Survey, *, face: str | None = None, stood_mm: Run | None = None, **readings: Any
    ) -> Square:
        found = answer(**readings)
        if face is None or stood_mm is None:
            return found
        return against_whole(survey.map(), found, face, *stood_mm)

    return answered


def _guides(
    _: Survey,
    *,
    height_mm: float,
    up_um: Run,
    travel_mm: float,
    along_um: Run,
    uncertainty_um: float,
    up_turned_um: Run | None = None,
    along_turned_um: Run | None = None,
    square_uncertainty_um: float | None = None,
) -> Square:
    up, along = (
        [run for run in runs if run is not None]
        for runs in ((up_um, up_turned_um), (along_um, along_turned_um))
    )
    return guides_joined(
        height_mm, up, travel_mm, along, uncertainty_um, square_uncertainty_um=square_uncertainty_um
    )


def _angles(
    _: Survey,
    *,
    rollers_mm: Run,
    top_mm: Run,
    side_mm: Run,
    uncertainty_um: float,
    roller_uncertainty_um: float | None = None,
    sound_mm: Run | None = None,
) -> VeeAngles:
    small, large = rollers_mm
    sound = None if sound_mm is None else _pair(sound_mm)
    return angles_of_rollers(
        (small / 2, large / 2), _pair(top_mm), _pair(side_mm), uncertainty_um,
        roller_uncertainty_um=roller_uncertainty_um, flank_mm=sound,
    )  # fmt: skip


def _pins(
    _: Survey,
    *,
    at_mm: Run,
    measure_mm: Run,
    pin_mm: float,
    uncertainty_um: float,
    other_pin_mm: float | None = None,
    other_measure_mm: float | None = None,
    **described: Any,
) -> Dovetail:
    second = None
    if other_pin_mm is not None and other_measure_mm is not None:
        second = (other_pin_mm, other_measure_mm)
    return dovetail(
        at_mm,
        measure_mm,
        pin_mm,
        second=second,
        reading_uncertainty_um=uncertainty_um,
        **described,
    )


def _pair(two: Run) -> tuple[float, float]:
    one, other = two
    return one, other


TESTS: Mapping[str, Callable[..., Any]] = {
    "align tailstock": _tailstock,
    "align bar": _line,
    "align quill": _line,
    "align turned": _turned,
    "align centres": _by_itself(centres_of_bar),
    "align facing": _by_itself(facing_test),
    "square blade": _on_a_face(square_turned),
    "square guides": _guides,
    "square cylinder": _on_a_face(cylinder_turned),
    "square level": _by_itself(frame_level),
    "square sweep": _by_itself(swept),
    "flanks angles": _angles,
    "dovetail pins": _pins,
    "dovetail gib": _by_itself(gib_for),
}
"""By the name that the command line calls each by."""
