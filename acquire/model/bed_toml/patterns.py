r"""Line patterns: regular expressions that are matched in time linear in the line.

Python's own matcher tries again in every way that a pattern leaves open, so that `(\d+)*x` can
take years over one bad line and hold up the recording. RE2 keeps all ways in mind at once
instead, and refuses what cannot be matched so: looking ahead or behind, references back.
`\d`, `\s` and `\w` are those of ASCII.
"""

import re
from typing import Any

import re2

_FROM_NOUGHT = re.compile(r"(?<!\\)\{,\d*\}")
"""To Python a repeat from none on, to RE2 plain text."""


def line_pattern(pattern: str) -> Any:
    r"""A pattern ready to be matched; it answers as `re.compile` does, but `start` and `end` take no names.

    Raises
    ------
    re2.error
        If it cannot be matched in linear time or is no regular expression.

    Examples
    --------
    >>> line_pattern(r"(?P<value>(\d+)*)x").fullmatch("1" * 1000 + "x")["value"] == "1" * 1000
    True
    """
    options = re2.Options()
    options.log_errors = False
    return re2.compile(pattern, options)


def pattern_fault(pattern: str) -> str | None:
    r"""Why a pattern will not do, in words; None where it will.

    Examples
    --------
    >>> pattern_fault(r".*?(?P<value>[-+]?\d+(?:\.\d+)?)\s*(?P<unit>mm|in)?.*")
    >>> pattern_fault(r"(?P<value>\d+)(?=x)")
    'it looks ahead or behind, refers back, or is no regular expression (invalid perl operator: (?=)'
    >>> pattern_fault(r"(?P<value>\d{,3})")
    'a repeat from none on begins with 0, {0,3} for instance rather than {,3}'
    """
    if _FROM_NOUGHT.search(pattern):
        return "a repeat from none on begins with 0, {0,3} for instance rather than {,3}"
    try:
        line_pattern(pattern)
    except re2.error as error:
        said = error.args[0].decode() if error.args else "too large"
        return f"it looks ahead or behind, refers back, or is no regular expression ({said})"
    return None
