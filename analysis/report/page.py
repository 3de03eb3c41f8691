"""The page itself: contents put into the template, everything in one file."""

import re
from datetime import datetime
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from acquire.model.inch_words import in_owners_unit
from acquire.model.units import length_text
from analysis.report.contents import Contents
from analysis.report.measured import (
    INSTRUMENT_HEADS,
    TRAVERSE_HEADS,
    instrument_rows,
    state_lines,
    traverse_rows,
)


def with_commands(words: str) -> Markup:
    """Text for the page, what stands between backticks set as something to type.

    Examples
    --------
    >>> print(with_commands("a < b, -0.5 µm: `plan --crown -2`"))
    a &lt; b, −0.5 µm: <code><span>plan</span> <span>--crown</span> <span>-2</span></code>
    """
    parts = re.split("`([^`]+)`", str(escape(words)))
    said = (with_minus_signs(part) for part in parts[::2])
    typed = (*(_as_command(part) for part in parts[1::2]), "")
    return Markup("".join(part for pair in zip(said, typed, strict=True) for part in pair))


def with_minus_signs(words: str) -> str:
    """Words for the page, a hyphen before a number as the sign that the tables and pictures have.

    Examples
    --------
    >>> with_minus_signs("-0.5 µm (-0.02 thou), 2026-11-26, rear-2, 10-12 mm")
    '−0.5 µm (−0.02 thou), 2026-11-26, rear-2, 10-12 mm'
    """
    return re.sub(r"(?<![\w.-])-(?=\d)", "−", words)


def _as_command(typed: str) -> str:
    """Word by word, so that a line breaks between words and never at a hyphen in one."""
    return f"<code>{' '.join(f'<span>{word}</span>' for word in typed.split())}</code>"


def _as_shown(value: Any, inch: bool) -> Any:
    """Words in the units that the survey is shown in; what is marked up, such as a picture, as it is."""
    if not isinstance(value, str) or isinstance(value, Markup):
        return value
    return with_minus_signs(in_owners_unit(value, inch))


def render(contents: Contents, made: datetime, paper: str | None = None) -> str:
    """The page as HTML; it needs no network and no script.

    Parameters
    ----------
    contents : Contents
    made : datetime
        Stands in the head of the page.
    paper : str, optional
        A4 | Letter: fixes the paper for printing; else the printer's own is taken.
    """
    measured = [each for each in contents.traverses if each.setup.measures.is_measuring]
    return _rendered(
        "report.html",
        contents,
        made,
        paper,
        links=links(contents),
        traverse_heads=TRAVERSE_HEADS,
        traverse_rows=traverse_rows(contents.traverses),
        instrument_heads=INSTRUMENT_HEADS,
        instrument_rows=instrument_rows(measured, contents.inch),
        state_lines=state_lines(contents.traverses),
    )


def render_wall(contents: Contents, made: datetime, paper: str | None = None) -> str:
    """The sheet for the machine alone, as HTML; parameters as for `render`."""
    return _rendered("wall_alone.html", contents, made, paper)


def _rendered(template: str, contents: Contents, made: datetime, paper: str | None, **more: Any) -> str:
    templates = Environment(
        loader=PackageLoader("analysis.report", "templates"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
        finalize=lambda value: _as_shown(value, contents.inch),
    )
    templates.filters["with_commands"] = lambda words: with_commands(in_owners_unit(words, contents.inch))
    loader = templates.loader
    assert loader is not None
    return templates.get_template(template).render(
        contents=contents,
        made=made.strftime("%Y-%m-%d %H:%M"),
        paper=paper,
        style=Markup(loader.get_source(templates, "style.css")[0]),
        svg=Markup,
        length=lambda mm: length_text(mm, contents.inch),
        **more,
    )


def links(contents: Contents) -> list[tuple[str, str]]:
    """Anchor and title of every part that the page has."""
    mapped = [(face.key, face.name) for face in contents.faces if face.picture]
    parts = [
        ("lines", "In five lines", True),
        ("trust", "Which faces to trust", True),
        ("bed", "The bed", contents.bed_picture is not None),
        ("faces", "Face by face", True),
        *((key, name, True) for key, name in mapped),
        ("twist", "Twist", True),
        *((part.key, part.title, True) for part in contents.parts),
        ("history", "Before and after", bool(contents.history)),
        ("agreement", "What agrees and what does not", True),
        ("open", "What cannot be told", bool(contents.cannot_tell)),
        ("next", "Which traverse next", bool(contents.advice)),
        ("measured", "What was measured, with what, when", True),
    ]
    return [(key, title) for key, title, is_there in parts if is_there]
