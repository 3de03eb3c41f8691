"""`waylog map`: the shape of one face."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from analysis.commands.options import ABOVE_0, Output, answer_options, give, in_mm, survey_argument

if TYPE_CHECKING:
    from acquire.model.units import Reading
    from analysis.answers.face_map import FaceMap
    from analysis.level.cumulative import HandCheck

LINES = ("ends", "least-squares", "minimum-zone", "unworn")


@click.command("map")
@survey_argument
@click.argument("face")
@click.option("--by", type=click.Choice(["all", "level", "indicator"]), default="all", show_default=True)
@click.option(
    "--line",
    type=click.Choice(LINES),
    help="What heights are from (default: the unworn stretches where bed.toml names them, else the ends).",
)
@click.option("--over", type=ABOVE_0, metavar="L", help="Also the least straight stretch of this length.")
@click.option("--explain", is_flag=True, help="Print the sum of a stepped level station by station.")
@answer_options
def command(
    survey: Path,
    face: str,
    by: str,
    line: str | None,
    over: "Reading | None",
    explain: bool,
    output: Output,
) -> None:
    """The shape of one FACE of SURVEY: hollow or crowned, by how much, how sure."""
    from analysis.answers.face_map import map_face
    from analysis.answers.surveys import load
    from analysis.words.face_map import explain_words, map_words

    loaded = load(survey)
    over_mm = in_mm(over, loaded.bed.is_inch)
    result = map_face(loaded.map(by), face, by=by, line=line, over_mm=over_mm)
    checks = _hand_checks(loaded, result) if explain else []

    def draw(in_inches: bool) -> object:
        from analysis.draw.figures import profile_figure

        return profile_figure(result, in_inches, called=loaded.bed.called)

    def words(in_inches: bool) -> Sequence[str]:
        return [
            *map_words(result, in_inches),
            *(each for c in checks for each in explain_words(c, in_inches)),
        ]

    give(result, words, draw, output, loaded.bed.is_inch)


def _hand_checks(loaded: object, result: "FaceMap") -> "list[HandCheck]":
    """The sum on paper of every stepped level run on the face, forward and reverse by themselves."""
    from acquire.model.errors import AnalysisError
    from analysis.answers.surveys import Survey
    from analysis.level.cumulative import hand_check

    assert isinstance(loaded, Survey)
    runs = [
        t
        for t in loaded.measuring
        if t.setup.measures.has_feet_along and t.setup.face == result.face and t.mode == "stepped"
    ]
    if not runs:
        raise AnalysisError(
            f"{result.face} --explain",
            "no stepped level on it",
            "a level stepped foot to foot",
            "leave --explain out",
        )
    return [
        hand_check(
            f"{result.face}, traverse {run.number}",
            run.stations.station_mm,
            run.stations.reading * (-1 if run.setup.turned else 1),
            run.instrument.base_mm or 0.0,
            run.stations.standard_uncertainty,
            result.line,
            loaded.bed.faces[result.face].unworn_mm,
        )
        for run in runs
    ]
