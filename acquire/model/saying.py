"""How lines for people are printed: as wide as the terminal; into a pipe or a file each goes whole."""

import sys

import click

_NO_BREAK = "\N{NO-BREAK SPACE}"
_MOVED_IN = 2


def say(text: str, err: bool = False) -> None:
    """Print lines; on a terminal that is narrower cut between words."""
    if (sys.stderr if err else sys.stdout).isatty():
        import shutil  # brings three ways of packing along: every --help would wait for them

        text = folded(text, shutil.get_terminal_size().columns)
    click.echo(text, err=err)


def folded(text: str, columns: int) -> str:
    """Cut lines that are too wide between words; the rest of one is moved in, a number keeps its unit.

    A word that is wider, such as a path, stays whole.

    Examples
    --------
    >>> print(folded("  hollow by 98 µm ± 4 µm, lowest at 18 in", 20))
      hollow by 98 µm
        ± 4 µm, lowest
        at 18 in
    """
    return "\n".join(
        line if len(line) <= columns else _folded_line(line, columns) for line in text.split("\n")
    )


def _folded_line(line: str, columns: int) -> str:
    import re
    import textwrap

    indent = " " * (len(line) - len(line.lstrip(" ")) + _MOVED_IN)
    held = re.sub(r"(?<=\d) (?=[µa-zA-Z°])|(?<=±) ", _NO_BREAK, line)
    wrapper = textwrap.TextWrapper(
        columns, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False
    )
    return wrapper.fill(held).replace(_NO_BREAK, " ")
