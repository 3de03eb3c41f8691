"""One of several maps of a face in one picture, in an ink, marker and dashes of its own."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from matplotlib.axes import Axes

from analysis.draw.figures.looks import Scale, draw_band
from analysis.draw.figures.thinning import thinned
from analysis.linear.pieces import with_gaps_at

if TYPE_CHECKING:
    from analysis.linear.profile import Profile


def draw_profile(
    axes: Axes,
    profile: "Profile",
    name: str,
    looks: tuple[str, str, str],
    scale: Scale,
    joints_mm: Sequence[float],
) -> None:
    """Heights with their band of 95 %; no line runs over a joint of the bed.

    Parameters
    ----------
    axes : Axes
    profile : Profile
    name : str
        For the legend.
    looks : tuple of str
        Ink, marker and dashes.
    scale : Scale
    joints_mm : sequence of float
    """
    ink, marker, line = looks
    kept = thinned(profile.height_um)
    x, y = scale.length(profile.station_mm[kept]), scale.height(profile.height_um[kept])
    half = 2 * scale.height(profile.standard_uncertainty_um[kept])
    x, y, half = with_gaps_at(scale.length(joints_mm), x, y, half)
    draw_band(axes, x, y, half, ink)
    axes.plot(
        x, y, color=ink, linewidth=1.2, marker=marker, markersize=3.5, linestyle=line, label=name, zorder=4
    )
