"""Squareness in the words of the trade."""

from typing import TYPE_CHECKING

from acquire.model.units import height_text, length_text, slope_text

if TYPE_CHECKING:
    from analysis.answers.alignment import Measured
    from analysis.answers.squareness import Square


def square_words(found: "Square", name: str, inch: bool, tool: str = "square") -> list[str]:
    """How the guide leans, the tool's own error, and the same against the whole face."""
    lines = [f"{name} {_leans(found.lean_um_per_m, inch)}{_over(found, inch)}."]
    if found.tool_um_per_m is not None:
        own = found.tool_um_per_m
        u = own.standard_uncertainty
        lines.append(
            f"  The {tool}'s own error is {slope_text(own.value, inch, u)} ± "
            f"{slope_text(own.expanded, inch, u)}; it is taken out."
        )
    elif tool != "sweep":
        lines.append(f"  The {tool} was not turned: its stated error is in the ±.")
    if found.whole_um_per_m is not None:
        lines.append(
            f"  Against the line along the whole of {found.stood_on} it {_leans(found.whole_um_per_m, inch)}."
        )
    return lines


def _leans(lean: "Measured", inch: bool) -> str:
    u = lean.standard_uncertainty
    if not lean.is_shown:
        return f"is square within what could be seen, {slope_text(lean.expanded, inch, u)}"
    side = "+x" if lean.value > 0 else "−x"
    return (
        f"leans, top towards {side}, by {slope_text(abs(lean.value), inch, u)} ± "
        f"{slope_text(lean.expanded, inch, u)}"
    )


def _over(found: "Square", inch: bool) -> str:
    lean = found.lean_um_per_m
    if found.height_mm is None or not lean.is_shown:
        return ""
    um, u = (abs(each) * found.height_mm / 1000 for each in (lean.value, lean.standard_uncertainty))
    return f", {height_text(um, inch, u)} over {length_text(found.height_mm, inch)}"
