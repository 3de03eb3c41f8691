"""One page on a terminal, redrawn in place: of a recording, and of what is watched."""

from typing import Self

from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.text import Text


class LivePage:
    """The page; a context manager."""

    def __init__(self) -> None:
        self.console = Console(highlight=False)
        self._live = Live(console=self.console, auto_refresh=False, transient=False)

    def __enter__(self) -> Self:
        self._live.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._live.stop()

    @property
    def can_redraw(self) -> bool:
        """Whether this is a terminal, and one that can be drawn over."""
        return self.console.is_terminal and not self.console.is_dumb_terminal

    def draw(self, *parts: RenderableType) -> None:
        """Draw these, one under the other, in place of what was shown."""
        self._live.update(Group(*parts), refresh=True)

    def say(self, words: str) -> None:
        """Say it above the page, where it stays."""
        self.console.print(Text(words))

    def bell(self) -> None:
        """Ring the terminal's bell."""
        self.console.bell()
