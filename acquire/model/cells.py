"""Text in a cell of a CSV: what a spreadsheet would run as a formula stays text, and reads back the same."""

import re

_RUN = re.compile(r"'*[=+\-@\t\r]")
_KEPT = re.compile(r"'+[=+\-@\t\r]")


def as_cell(text: str) -> str:
    """The text as it is written: an apostrophe goes before what a spreadsheet would run.

    Examples
    --------
    >>> as_cell("=1+1"), as_cell("wiped"), as_cell("'-1")
    ("'=1+1", 'wiped', "''-1")
    """
    return f"'{text}" if _RUN.match(text) else text


def from_cell(text: str) -> str:
    """The text that such a cell stands for.

    Examples
    --------
    >>> from_cell("'=1+1"), from_cell("'tis loose"), from_cell(as_cell("'-1"))
    ('=1+1', "'tis loose", "'-1")
    """
    return text[1:] if _KEPT.match(text) else text
