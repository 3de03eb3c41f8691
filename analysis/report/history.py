"""Before and after on the page: an older survey of the bed held against the present one."""

from analysis.answers.face_change import FaceChange
from analysis.answers.history import BeforeAndAfter, before_and_after
from analysis.answers.surveys import Survey
from analysis.draw.figures import inline_svg
from analysis.draw.figures.history import history_figure
from analysis.report.contents import Section, as_sentence
from analysis.words.assumptions import taken_and_notes
from analysis.words.history import alike_words, face_change_words, twist_change_words, unknown_words


def history_sections(before: Survey, after: Survey, inch: bool) -> tuple[Section, ...]:
    """What the section "Before and after" says: what was alike, every face, twist and what is left open.

    Raises
    ------
    AnalysisError
        Where the two are not surveys of one bed.
    """
    result = before_and_after(before, after)
    faces = [face_section(change, f"history-{number}", inch) for number, change in enumerate(result.faces, 1)]
    return (_alike(result), *faces, _rest(result, inch))


def face_section(change: FaceChange, key: str, inch: bool) -> Section:
    """One face before and after: its verdict in words and its picture."""
    words = tuple(each.strip() for each in face_change_words(change, inch))
    return Section(change.face, words, inline_svg(history_figure([change], inch, is_titled=False), key))


def _alike(result: BeforeAndAfter) -> Section:
    """Which survey is the older one, and what was not alike."""
    alike = [each.strip() for each in alike_words(result)]
    if result.faces and not alike:
        alike = ["Nothing that was written down differs in how the bed stood or what it was measured with."]
    told = [
        line.strip().removeprefix("Note: ") for line in taken_and_notes(result.assumptions, result.warnings)
    ]
    return Section(
        "alike", (f"Before: {result.before}. After: this survey.", *alike, *map(as_sentence, told))
    )


def _rest(result: BeforeAndAfter, inch: bool) -> Section:
    twist = [twist_change_words(result.twist, inch)] if result.twist is not None else []
    picture = None
    if result.twist is not None:
        figure = history_figure((), inch, twist=result.twist, is_titled=False)
        picture = inline_svg(figure, "history-twist")
    return Section("twist", (*twist, *unknown_words(result)), picture)
