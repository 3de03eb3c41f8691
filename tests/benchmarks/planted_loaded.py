"""A mistake planted into what is loaded already: other bodies for the functions that it changes.

Nothing has to be imported again then.  What it changes outside the bodies of functions (a constant, a
default, a decorator, a class) was worked out when the file was imported; so was what a function gave that was
called then: tests that see nothing of such a mistake must be asked again after an import.
"""

import gc
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from types import CodeType, FunctionType

CO_OPTIMIZED = 1
"""Flag of code that is a function's, not a module's or a class's."""
Exchange = tuple[FunctionType, CodeType]


class Loaded:
    """The functions of all files below a folder that are loaded now."""

    def __init__(self, below: Path) -> None:
        self._functions: dict[tuple[str, str], list[FunctionType]] = {}
        for each in gc.get_objects():
            if type(each) is FunctionType and each.__code__.co_filename.startswith(f"{below}/"):
                code = each.__code__
                self._functions.setdefault((code.co_filename, code.co_qualname), []).append(each)
        self._files = {file for file, _ in self._functions}

    def exchanges(self, file: Path, right: str, wrong: str) -> list[Exchange] | None:
        """Functions and their other bodies; None where the mistake is not in bodies of functions alone."""
        old, new = (compile(text, str(file), "exec", dont_inherit=True) for text in (right, wrong))
        before, after = dict(_bodies(old)), dict(_bodies(new))
        if _outside(old) != _outside(new) or before.keys() != after.keys():
            return None
        changed = {name for name in after if before[name] != after[name]}
        often = Counter(name for name, _ in _bodies(new))  # a property and its setter have one name
        found: list[Exchange] = []
        for name in changed:
            functions = self._functions.get((str(file), name), [])
            if often[name] > 1 or (not functions and str(file) in self._files):
                return None
            if any(each.__code__.co_freevars != after[name].co_freevars for each in functions):
                return None
            found += [(each, after[name]) for each in functions]
        return found


def _bodies(code: CodeType) -> Iterator[tuple[str, CodeType]]:
    """Functions and methods by their qualified names, without those inside of functions."""
    for part in code.co_consts:
        if isinstance(part, CodeType) and _is_named_function(part):
            yield part.co_qualname, part
        elif isinstance(part, CodeType):
            yield from _bodies(part)


def _is_named_function(code: CodeType) -> bool:
    return bool(code.co_flags & CO_OPTIMIZED) and not code.co_name.startswith("<")


def _outside(code: CodeType) -> tuple[object, ...]:
    """All that runs at import."""
    return (code.co_code, code.co_names, *(_constant(each) for each in code.co_consts))


def _constant(value: object) -> object:
    if not isinstance(value, CodeType):
        return repr(value)
    return value.co_qualname if _is_named_function(value) else _outside(value)
