"""Text for a terminal: short parts on as few lines as it is wide for, figures to be read from two metres."""

from collections.abc import Sequence

BETWEEN = "   "
_ROWS = {
    "0": ("███", "█ █", "█ █", "█ █", "███"), "1": (" █ ", "██ ", " █ ", " █ ", "███"),
    "2": ("███", "  █", "███", "█  ", "███"), "3": ("███", "  █", " ██", "  █", "███"),
    "4": ("█ █", "█ █", "███", "  █", "  █"), "5": ("███", "█  ", "███", "  █", "███"),
    "6": ("███", "█  ", "███", "█ █", "███"), "7": ("███", "  █", " █ ", " █ ", " █ "),
    "8": ("███", "█ █", "███", "█ █", "███"), "9": ("███", "█ █", "███", "  █", "███"),
    ".": (" ", " ", " ", " ", "█"), "-": ("   ", "   ", "███", "   ", "   "),
}  # fmt: skip
HEIGHT = 5


def large(text: str, columns: int = 80) -> str:
    """`text` with its digits drawn large and the rest (the unit) beside them; plain where it is too wide.

    Examples
    --------
    >>> print(large("17 mm"))
      █  ███
     ██    █
      █   █
      █   █
     ███  █   mm
    """
    digits, _, unit = text.partition(" ")
    if any(character not in _ROWS for character in digits):
        return text
    lines = [" " + "  ".join(_ROWS[c][row] for c in digits).rstrip() for row in range(HEIGHT)]
    width = sum(len(_ROWS[c][0]) + 2 for c in digits)
    if width + len(unit) + 2 > columns:
        return text
    return "\n".join([*lines[:-1], f" {'  '.join(_ROWS[c][-1] for c in digits)}  {unit}"])


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
