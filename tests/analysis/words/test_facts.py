"""Results are facts, and every fact has its sentence, in one room."""

import ast
import importlib
import pkgutil
from collections.abc import Iterator
from pathlib import Path

import pytest

import analysis
from analysis.adjust.cannot_tell import NEVER_MET, ONLY_ACROSS, REFERENCE_UNKNOWN, TOO_FEW
from analysis.linear.fact import Fact
from analysis.words.facts import SENTENCES
from analysis.words.of_adjustment import WHY

HOUSE = Path(analysis.__file__).parent
MOST_WORDS = 6
"""Longer texts are sentences; names, units and what an error says are none."""


def kinds(of: type = Fact) -> Iterator[type]:
    for kind in of.__subclasses__():
        yield kind
        yield from kinds(kind)


def test_every_fact_has_one_sentence():
    for module in pkgutil.walk_packages([str(HOUSE / "answers")], "analysis.answers."):
        importlib.import_module(module.name)
    names = [kind.__name__ for kind in kinds() if kind.__module__.startswith("analysis")]
    assert sorted(names) == sorted(SENTENCES)


def test_every_reason_why_a_shape_is_unknown_has_its_words():
    assert set(WHY) == {NEVER_MET, ONLY_ACROSS, REFERENCE_UNKNOWN, TOO_FEW}


def is_error_or_docstring(node: ast.AST) -> bool:
    if isinstance(node, ast.Call):
        return isinstance(node.func, ast.Name) and node.func.id.endswith("Error")
    is_text_alone = isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    return is_text_alone or isinstance(node, ast.Raise)


def texts(source: str) -> Iterator[str]:
    """Every text outside docstrings and errors."""
    left: list[ast.AST] = [ast.parse(source)]
    while left:
        node = left.pop()
        if isinstance(node, ast.Name | ast.expr_context) or is_error_or_docstring(node):
            continue
        if isinstance(node, ast.JoinedStr):
            yield "".join(str(part.value) if isinstance(part, ast.Constant) else "{}" for part in node.values)
            left += [part.value for part in node.values if isinstance(part, ast.FormattedValue)]
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value
        else:
            left += ast.iter_child_nodes(node)


def long_texts(source: str) -> list[str]:
    """Texts of more words than a name has; a command to type is none."""
    long = (text for text in texts(source) if len(text.split()) > MOST_WORDS)
    return [text for text in long if not text.startswith("waylog ")]


def test_a_sentence_is_found_and_errors_and_docstrings_are_none():
    assert long_texts('x = f"the {way} is hollow by {um} µm in its middle"')
    assert long_texts('def f():\n    return "the way is hollow in its very middle"')
    assert not long_texts('def f():\n    "What this does, in a sentence of many words."\n    return "µm/m"')
    assert not long_texts('raise E("level", "found no way that it could have been used on")')


@pytest.mark.parametrize("room", ["linear", "level", "observe", "adjust", "answers"])
def test_no_sum_and_no_answer_makes_a_sentence(room):
    files = sorted((HOUSE / room).rglob("*.py"))
    found = {file.name: texts for file in files if (texts := long_texts(file.read_text(encoding="utf-8")))}
    assert files and not found
