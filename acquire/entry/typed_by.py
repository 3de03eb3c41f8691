"""A line that was typed, and by whom: a hand, or an instrument whose cable types like a keyboard."""

import math
from typing import Self

AT_ONCE_S = 0.045
"""A key after another within so long on average was struck by no hand (practised typists: 0.1 s)."""
GOES_ON_S = 0.06
"""A line that begins so soon after the one before belongs to the same burst: a memory read out, a paste."""
SECOND_PRESS_S = 1.0
"""Nobody carries an instrument to the next station in less: its key was pressed twice."""


class Typed(str):
    """A line, its end left off.

    Attributes
    ----------
    is_burst : bool
        Whether it came at once, as no hand types.
    after_s : float
        From the end of the line before to its first character.
    """

    is_burst: bool
    after_s: float

    def __new__(cls, text: str, is_burst: bool = False, after_s: float = math.inf) -> Self:
        """Make one; by default as a hand types it."""
        made = super().__new__(cls, text)
        made.is_burst, made.after_s = is_burst, after_s
        return made

    @property
    def goes_on(self) -> bool:
        """Whether it belongs to the burst of the line before."""
        return self.is_burst and self.after_s < GOES_ON_S

    @property
    def is_second_press(self) -> bool:
        """Whether the instrument's key was pressed again where it stood."""
        return self.is_burst and GOES_ON_S <= self.after_s < SECOND_PRESS_S


def typed_by(words: str) -> Typed:
    """The line as `Typed`: one from a pipe, or a test, is as a hand types it."""
    return words if isinstance(words, Typed) else Typed(words)
