"""A figure from a few readings, with its standard uncertainty."""

from dataclasses import dataclass
from math import hypot
from typing import Self

from analysis.linear.profile import COVERAGE_FACTOR


@dataclass(frozen=True)
class Measured:
    """A figure with its standard uncertainty.

    Examples
    --------
    >>> Measured(4.0, 0.5).times(-2).plus(Measured(1.0, 0.0))
    Measured(value=-7.0, standard_uncertainty=1.0)
    """

    value: float
    standard_uncertainty: float

    @classmethod
    def of(cls, value: float, variance: float) -> Self:
        """By its variance, which rounding may leave a little below 0."""
        return cls(float(value), max(float(variance), 0.0) ** 0.5)

    @property
    def expanded(self) -> float:
        """Twice the standard uncertainty."""
        return COVERAGE_FACTOR * self.standard_uncertainty

    @property
    def is_shown(self) -> bool:
        """Whether it exceeds its own expanded uncertainty."""
        return abs(self.value) > self.expanded

    def times(self, factor: float) -> "Measured":
        """It times a number that is known."""
        return Measured(self.value * factor, self.standard_uncertainty * abs(factor))

    def plus(self, other: "Measured") -> "Measured":
        """The sum with another that shares no error with it."""
        return Measured(
            self.value + other.value, hypot(self.standard_uncertainty, other.standard_uncertainty)
        )
