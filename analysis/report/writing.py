"""Where the report goes: a folder made beside the old one and put in its place when it is whole."""

import shutil
import tempfile
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from acquire.model.errors import AnalysisError
from analysis.report.contents import Contents
from analysis.report.page import render, render_wall
from analysis.report.printing import print_pdf

FOLDER = "report"
PAGE = "report.html"
PRINTED = "report.pdf"
SHEET = "wall.pdf"
PAPERS = ("A4", "Letter")


@dataclass(frozen=True)
class Printing:
    """What is printed as PDF besides the page, by which browser, on which paper."""

    browser: Path
    paper: str = "A4"
    is_whole: bool = False
    """The whole report."""
    is_wall: bool = False
    """The sheet for the machine alone."""


def write_report(survey: Path, contents: Contents, made: datetime, printing: Printing | None = None) -> Path:
    """Write the report of a survey; an old one stands until the new one is whole.

    Parameters
    ----------
    survey : Path
        The survey folder.
    contents : Contents
    made : datetime
    printing : Printing, optional
        What to print as PDF as well.

    Returns
    -------
    Path
        The page.

    Raises
    ------
    AnalysisError
        Where the folder cannot be written or the browser does not print.
    """
    folder = Path(survey) / FOLDER
    try:
        beside = Path(tempfile.mkdtemp(prefix=f".{FOLDER}-", dir=survey))
    except OSError as error:
        raise AnalysisError(str(survey), f"cannot be written ({error.strerror})") from error
    try:
        (beside / PAGE).write_text(render(contents, made), encoding="utf-8")
        if printing is not None:
            _print(beside, contents, made, printing)
        beside.chmod(0o755)  # a temporary folder is closed to others; a report is for them
        _put_in_place(beside, folder)
    except OSError as error:
        raise AnalysisError(str(folder), f"cannot be written ({error.strerror})") from error
    finally:
        shutil.rmtree(beside, ignore_errors=True)
    return folder / PAGE


def _print(folder: Path, contents: Contents, made: datetime, printing: Printing) -> None:
    if printing.is_whole:
        print_pdf(render(contents, made, printing.paper), folder / PRINTED, printing.browser)
    if printing.is_wall:
        print_pdf(render_wall(contents, made, printing.paper), folder / SHEET, printing.browser)


def _put_in_place(beside: Path, folder: Path) -> None:
    """Rename the old one away, the new one in; the old one comes back if that fails."""
    if folder.is_symlink() or (folder.exists() and not folder.is_dir()):
        raise AnalysisError(str(folder), "found something that is no folder", "a folder", "move it away")
    if not folder.exists():
        beside.rename(folder)
        return
    old = Path(tempfile.mkdtemp(prefix=f".{FOLDER}-old-", dir=folder.parent))
    folder.rename(old / FOLDER)
    try:
        beside.rename(folder)
    except OSError:
        (old / FOLDER).rename(folder)
        raise
    finally:
        if folder.exists():
            shutil.rmtree(old, ignore_errors=True)
