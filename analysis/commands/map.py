"""`waylog map`: the shape of one face."""

from typing import TYPE_CHECKING

import click

from analysis.commands.options import LENGTH_ABOVE_0, Answer, Opened, answers, drawn, length, survey_argument

if TYPE_CHECKING:
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
@length("--over", "over_mm", of=LENGTH_ABOVE_0, help="Also the least straight stretch of this length.")
@click.option("--explain", is_flag=True, help="Print the sum of a stepped level station by station.")
@answers
def command(
    survey: Opened, face: str, by: str, line: str | None, over_mm: float | None, explain: bool
) -> Answer:
    """The shape of one FACE of SURVEY: hollow or crowned, by how much, how sure."""
    from analysis.answers.face_map import map_face
    from analysis.words.face_map import explain_words, map_words

    found = map_face(survey.map(by), face, by=by, line=line, over_mm=over_mm)
    checks = _hand_checks(survey, found) if explain else []

    def words(inch: bool) -> list[str]:
        return [*map_words(found, inch), *(each for c in checks for each in explain_words(c, inch))]

    return Answer(found, words, drawn("profile_figure", found, called=survey.bed.called))


def _hand_checks(survey: Opened, found: "FaceMap") -> "list[HandCheck]":
    """The sum on paper of every stepped level run on the face, forward and reverse by themselves."""
    from acquire.model.errors import AnalysisError
    from analysis.level.cumulative import hand_check

    runs = [
        run
        for run in survey.measuring
        if run.setup.measures.has_feet_along and run.setup.face == found.face and run.mode == "stepped"
    ]
    if not runs:
        raise AnalysisError(
            f"{found.face} --explain",
            "no stepped level on it",
            "a level stepped foot to foot",
            "leave --explain out",
        )
    return [
        hand_check(
            f"{found.face}, traverse {run.number}",
            run.stations.station_mm,
            run.stations.reading * (-1 if run.setup.turned else 1),
            run.instrument.base_mm or 0.0,
            run.stations.standard_uncertainty,
            found.line,
            survey.bed.faces[found.face].unworn_mm,
        )
        for run in runs
    ]
