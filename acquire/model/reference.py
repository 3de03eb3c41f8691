"""What guides an instrument along the bed, and what it touches.

FACE                 one face
A+B                  parallels linking two faces
carriage             the carriage on its ways
straightedge:NAME    an edge, for its shape and sag
wire:NAME            a taut wire, for its sag
line                 an optical line or beam: straight by itself
"""

from dataclasses import dataclass

from acquire.model.errors import EntryError

CARRIAGE = "carriage"
LINE = "line"
ARTEFACTS = ("straightedge", "wire")


@dataclass(frozen=True)
class Reference:
    """One side of a reading; its text is what files keep.

    Examples
    --------
    >>> Reference.parse("front-vee + rear-flat").names
    ('front-vee', 'rear-flat')
    >>> edge = Reference.parse("straightedge:two-foot")
    >>> edge.kind, edge.name, edge.is_straight
    ('straightedge', 'two-foot', True)
    """

    kind: str
    """face | faces | carriage | straightedge | wire | line."""
    names: tuple[str, ...] = ()
    """The faces, or the straightedge or wire."""

    @classmethod
    def parse(cls, text: str) -> "Reference":
        """Read the text, blanks around names left out.

        Raises
        ------
        EntryError
            If it is of no known kind, or names other than two different faces with a plus.
        """
        text = text.strip()
        if text in (CARRIAGE, LINE):
            return cls(text)
        kind, colon, name = text.partition(":")
        if colon:
            if kind not in ARTEFACTS:
                needed = "straightedge:NAME | wire:NAME | line"
                raise EntryError(repr(text), "found no such kind of reference", needed)
            return cls(kind, (name,))
        names = tuple(part.strip() for part in text.split("+"))
        if len(names) == 1:
            return cls("face", names)
        if len(names) != 2 or names[0] == names[1]:
            found = f"found {len(names)} faces" if len(names) != 2 else "found one face twice"
            raise EntryError(f"--reference {text}", found, "two different faces, A+B")
        return cls("faces", names)

    def __str__(self) -> str:
        """The text that `parse` reads."""
        named = "+".join(self.names)
        return f"{self.kind}:{named}" if self.kind in ARTEFACTS else named or self.kind

    @property
    def name(self) -> str:
        """The one face, straightedge or wire."""
        (only,) = self.names
        return only

    @property
    def is_carriage(self) -> bool:
        """Whether it is the carriage on its ways."""
        return self.kind == CARRIAGE

    @property
    def is_straight(self) -> bool:
        """Whether it is an edge, a wire or an optical line rather than faces of the bed."""
        return self.kind in (*ARTEFACTS, LINE)


ON_CARRIAGE = Reference(CARRIAGE)
