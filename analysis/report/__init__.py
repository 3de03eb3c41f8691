"""The survey as one page to print, pin to the wall and take to the machine."""

from analysis.report.contents import Contents, gather
from analysis.report.history import history_sections
from analysis.report.page import render, render_wall
from analysis.report.summary import Line
from analysis.report.writing import (
    PAGE,
    PAPERS,
    PRINTED,
    SHEET,
    Printing,
    find_browser,
    print_pdf,
    write_report,
)

__all__ = [
    "PAGE",
    "PAPERS",
    "PRINTED",
    "SHEET",
    "Contents",
    "Line",
    "Printing",
    "find_browser",
    "gather",
    "history_sections",
    "print_pdf",
    "render",
    "render_wall",
    "write_report",
]
