"""What people at a machine call its two ends and sides, and from where they look at it.

Only the survey says so: a planer has no headstock, a column no operator's side.
"""

from dataclasses import dataclass

STANDS = ("lying", "upright")


@dataclass(frozen=True)
class Called:
    """The words that one bed goes by; where bed.toml names none, plain ones.

    Examples
    --------
    >>> Called.of(origin="headstock end").away, Called.of(stands="upright").towards
    ('away from the headstock end', 'towards the bottom')
    """

    origin: str
    """The end at station 0."""
    far_end: str
    front: str
    rear: str
    seen_from: str
    is_upright: bool = False

    @classmethod
    def of(
        cls,
        origin: str = "",
        far_end: str = "",
        front: str = "",
        rear: str = "",
        seen_from: str = "",
        stands: str = STANDS[0],
    ) -> "Called":
        """The words said, and plain ones for those that are not."""
        is_upright = stands == STANDS[1]
        near, far = ("bottom", "top") if is_upright else ("near end", "far end")
        far_end = far_end or far
        return cls(
            origin or near,
            far_end,
            _side("front", front),
            _side("rear", rear),
            seen_from or far_end,
            is_upright,
        )

    @property
    def away(self) -> str:
        """The way in which stations rise."""
        return f"away from the {self.origin}"

    @property
    def towards(self) -> str:
        """The way in which they fall."""
        return f"towards the {self.origin}"

    @property
    def view(self) -> str:
        """What a picture along and across the whole of it shows."""
        if self.is_upright:
            return f"Laid on its side, {self.origin} on the left"
        return f"From above, {self.origin} on the left"


def _side(side: str, called: str) -> str:
    return f"{side}, {called}" if called and called != side else side
