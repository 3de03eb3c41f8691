"""Where the report goes: a folder made beside the old one and put in its place when it is whole.

As PDF it is printed by a browser that is on the machine: Debian's Chromium.
"""

import os
import shutil
import subprocess
import tempfile
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from acquire.model.errors import AnalysisError
from analysis.report.contents import Contents
from analysis.report.page import render, render_wall

BROWSERS = ("chromium", "chromium-browser")
LONGEST_S = 120
OPTIONS = (
    "--headless",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-extensions",
    "--no-pdf-header-footer",
)


def find_browser() -> Path:
    """The browser that prints the page.

    Raises
    ------
    AnalysisError
        Where there is none; it says what to install.
    """
    for name in BROWSERS:
        found = shutil.which(name)
        if found:
            return Path(found)
    raise AnalysisError(
        "report --pdf",
        f"found no {' or '.join(BROWSERS)} on this machine",
        "a browser that prints",
        "install Debian's package chromium (`apt install chromium`), or print report.html from any browser",
    )


def print_pdf(html: str, pdf: Path, browser: Path) -> None:
    """Print a page into a PDF.

    Raises
    ------
    AnalysisError
        Where the browser does not.
    """
    with tempfile.TemporaryDirectory(prefix="waylog-print-") as folder:
        page = Path(folder) / "page.html"
        page.write_text(html, encoding="utf-8")
        command = [
            str(browser),
            *OPTIONS,
            *(["--no-sandbox"] if _is_superuser() else []),
            f"--user-data-dir={folder}/browser",
            f"--print-to-pdf={pdf}",
            page.as_uri(),
        ]
        said = _run(command)
    if not pdf.is_file() or not pdf.read_bytes().startswith(b"%PDF"):
        raise AnalysisError(
            str(browser), f"printed nothing ({said})", "a PDF", "print report.html from a browser by hand"
        )


def _is_superuser() -> bool:
    """Chromium refuses its sandbox to the superuser; the page holds no script and loads nothing."""
    return hasattr(os, "geteuid") and os.geteuid() == 0


def _run(command: list[str]) -> str:
    """Run it and return the last line that it said."""
    try:
        done = subprocess.run(command, capture_output=True, timeout=LONGEST_S, check=False)
    except subprocess.TimeoutExpired:
        return f"it did not end within {LONGEST_S} s"
    except OSError as error:
        return str(error.strerror)
    lines = done.stderr.decode("utf-8", "replace").strip().splitlines()
    return lines[-1][:200] if lines else f"exit code {done.returncode}"


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
