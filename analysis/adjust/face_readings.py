"""How one face was measured: the readings that say something about it, and what they cannot see."""

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from analysis.adjust.there_and_back import Return, with_untold_bows
from analysis.linear.fact import Fact
from analysis.observe import CrossedJoint, Observations

if TYPE_CHECKING:
    from analysis.level.continuous import ContinuousHeights


@dataclass(frozen=True, eq=False)
class FaceReadings:
    """The readings of a map that one face takes part in."""

    observations: tuple[Observations, ...]
    returns: tuple[Return, ...]
    """What runs there and back show, of the whole map."""

    @cached_property
    def traverses(self) -> tuple[int, ...]:
        """Numbers of the traverses, rising."""
        return tuple(
            sorted(number for each in self.observations for number in (each.traverse, *each.with_traverses))
        )

    @property
    def mode(self) -> str:
        """stepped | continuous | mixed: how the face was measured."""
        modes = {each.mode for each in self.observations}
        return modes.pop() if len(modes) == 1 else "mixed"

    @property
    def blind_wavelengths_mm(self) -> tuple[float, ...]:
        """Ripples that none of its drawn levels can see."""
        blocks = [each.drawn for each in self.observations if each.drawn]
        return tuple(float(mm) for block in blocks for mm in block.heights.blind_wavelength_mm)

    @cached_property
    def drawn(self) -> "ContinuousHeights | None":
        """The estimate from its drawn levels, where there are any."""
        block = next((each for each in self.observations if each.drawn), None)
        return None if block is None else with_untold_bows(block, self.returns)

    @property
    def crossed(self) -> tuple[CrossedJoint, ...]:
        """Joints that a level was drawn over, with the steps that its readings show."""
        return tuple(joint for each in self.observations if each.drawn for joint in each.drawn.crossed)

    @property
    def warnings(self) -> tuple[Fact, ...]:
        """What must be said beside them."""
        return tuple(fact for each in self.observations for fact in each.warnings)
