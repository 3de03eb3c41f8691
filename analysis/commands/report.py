"""`waylog report`: the whole survey as one page."""

from datetime import UTC, datetime
from pathlib import Path

import click

from analysis.commands.options import survey_argument


@click.command("report")
@survey_argument
@click.option("--pdf", is_flag=True, help="Also print it as PDF (needs Debian's package chromium).")
@click.option("--inch/--metric", "inch", default=None, help="Inches and thou first, or mm and µm.")
def command(survey: Path, pdf: bool, inch: bool | None) -> None:
    """Write the report of SURVEY, one page that needs nothing else, into SURVEY/report.

    It is made anew each time. Prints its five lines, then where it is.
    """
    from acquire.errors import AnalysisError
    from analysis.report import PRINTED, find_browser, gather, write_report
    from analysis.surveys import load

    loaded = load(survey)
    in_inches = loaded.bed.is_inch if inch is None else inch
    contents = gather(loaded, in_inches)
    missing: AnalysisError | None = None
    browser = None
    if pdf:
        try:
            browser = find_browser()
        except AnalysisError as why:
            missing = why
    page = write_report(survey, contents, datetime.now(UTC), browser, "Letter" if in_inches else "A4")
    for line in contents.summary:
        click.echo(f"{line.about}: {line.words}")
    click.echo(f"report: {page}")
    if browser is not None:
        click.echo(f"PDF: {page.with_name(PRINTED)}")
    if missing is not None:
        raise missing
