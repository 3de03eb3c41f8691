"""A short text in characters five lines high, to be read from two metres."""

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
