"""`waylog report`: the whole survey as one page."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from acquire.model.inch_words import in_owners_unit
from acquire.model.saying import say
from analysis.commands.options import INCH, Opened, opened, survey_argument

if TYPE_CHECKING:
    from analysis.report import Contents


@click.command("report")
@survey_argument
@click.option(
    "--before",
    type=click.Path(path_type=Path),
    help="A survey of the same bed from before work on it: adds what that changed.",
)
@click.option("--pdf", is_flag=True, help="Also print it as PDF (needs Debian's package chromium).")
@click.option("--wall", is_flag=True, help="Also print its first page alone as PDF, for the machine.")
@click.option(
    "--paper",
    type=click.Choice(["A4", "Letter"], case_sensitive=False),
    help="Of the PDF (default: Letter where inches come first, else A4).",
)
@INCH
def command(
    survey: Path, before: Path | None, pdf: bool, wall: bool, paper: str | None, inch: bool | None
) -> None:
    """Write the report of SURVEY, one page that needs nothing else, into SURVEY/report.

    Its first page is the sheet to carry to the machine. It is made anew each time. Prints its five
    lines, then where it is. With --before, traverses that SURVEY has from before the work stand in
    that part of the page alone.
    """
    from acquire.model.errors import AnalysisError
    from analysis.report import PRINTED, SHEET, Printing, find_browser, write_report

    loaded = opened(survey)
    in_inches = loaded.bed.is_inch if inch is None else inch
    contents = _contents(loaded, before, in_inches)
    printing, missing = None, None
    if pdf or wall:
        try:
            printing = Printing(find_browser(), paper or ("Letter" if in_inches else "A4"), pdf, wall)
        except AnalysisError as why:
            missing = why
    page = write_report(survey, contents, datetime.now(UTC), printing)
    for line in contents.summary:
        say(f"{line.about}: {in_owners_unit(line.words, in_inches)}")
    say(f"report: {page}")
    if missing is not None:
        raise missing
    for is_asked, name, file in ((pdf, "PDF", PRINTED), (wall, "sheet for the machine", SHEET)):
        if is_asked:
            say(f"{name}: {page.with_name(file)}")


def _contents(survey: Opened, before: Path | None, inch: bool) -> "Contents":
    """What is on the page; what was measured before the work is no part of the present shape."""
    from analysis.answers.history import only_new
    from analysis.report import gather, history_sections

    if before is None:
        return gather(survey, inch)
    older = opened(before)
    history = history_sections(older, survey, inch)
    return replace(gather(only_new(older, survey)[0], inch), history=history)
