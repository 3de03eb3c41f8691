"""Short parts, such as keys and their meaning, on as few lines as a terminal is wide for."""

from collections.abc import Sequence

BETWEEN = "   "


def on_lines(parts: Sequence[str], columns: int) -> list[str]:
    """The parts on lines of at most `columns`, none cut in two.

    Examples
    --------
    >>> on_lines(["b: back", "q: end and keep"], 40), on_lines(["b: back", "q: end and keep"], 20)
    (['b: back   q: end and keep'], ['b: back', 'q: end and keep'])
    """
    lines = [""]
    for part in parts:
        longer = lines[-1] + BETWEEN + part if lines[-1] else part
        if lines[-1] and len(longer) > columns:
            lines.append(part)
        else:
            lines[-1] = longer
    return lines
