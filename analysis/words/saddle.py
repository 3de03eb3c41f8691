"""How far the saddle comes down, and what that asks of apron, rack, screw and lining: in words."""

from typing import TYPE_CHECKING

import numpy as np

from acquire.model.units import MM_PER_INCH, height_text, length_text, slope_text
from analysis.words.assumptions import taken_and_notes
from analysis.words.known import height_known
from analysis.words.tables import columns

if TYPE_CHECKING:
    from analysis.answers.saddle import MillOff, SaddleDrop


def saddle_words(found: "SaddleDrop", inch: bool) -> list[str]:
    """The drop at the apron first, then the rack, the cross slide's tilt, the lining, the table."""
    worst = int(np.argmax(found.at_apron_um))
    sure = float(found.at_apron_standard_uncertainty_um[worst])
    most = height_known(float(found.at_apron_um[worst]), 2 * sure, inch)
    at = length_text(float(found.station_mm[worst]), inch)
    least = height_text(float(found.at_apron_um.min()), inch, sure)
    roll = found.roll_um_per_m
    tilt = float(roll[int(np.argmax(np.abs(roll)))])
    way = "rear high" if tilt > 0 else "front high"
    lines = [
        f"Once both ways are cut as planned the apron comes down by {most} at {at} "
        f"({least} at least), counted from the unworn stretches.",
        f"  The saddle then leans by up to {slope_text(abs(tilt), inch, 1.0)}, {way}.",
        f"  Rack and pinion change their play by {height_text(found.rack_play_um, inch, sure)} at a pressure "
        f"angle of {found.pressure_angle_deg:g}°: line the saddle, or lower rack, screw and feed shaft as "
        "much. A shim under the saddle's apron face lowers the apron more.",
    ]
    lines += [f"  {_mill_words(each, inch)}" for each in found.mill_off]
    doubt = 2 * found.at_apron_standard_uncertainty_um
    lines += columns(found.station_mm, found.at_apron_um, doubt, inch=inch, what="apron down")
    return [*lines, *taken_and_notes(found.assumptions, ())]


def _mill_words(each: "MillOff", inch: bool) -> str:
    where = each.way if each.flank == "flat" else f"{each.way}, {each.flank} flank"
    amount = f"{abs(each.mill_off_mm) / MM_PER_INCH:.4f} in" if inch else f"{abs(each.mill_off_mm):.3f} mm"
    if each.mill_off_mm < 0:
        return f"Lining {where}: {amount} thicker a sheet is needed, nothing to mill."
    square = "" if each.flank == "flat" else ", square to the flank"
    return f"Lining {where}: mill {amount} off the saddle{square}."
