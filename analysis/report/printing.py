"""The page as PDF, printed by a browser that is on the machine: Debian's Chromium."""

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from acquire.model.errors import AnalysisError

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
