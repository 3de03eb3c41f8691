"""Flanks of vees and dovetails in the words of the trade."""

from typing import TYPE_CHECKING

import numpy as np

from acquire.model.units import (
    MM_PER_INCH,
    decimals_for,
    height_text,
    length_text,
    number_text,
)
from analysis.answers.assumptions import ANGLE, DIAMETERS, Assumption
from analysis.words.assumptions import taken_and_notes, taken_words
from analysis.words.known import (
    height_bound,
    height_known,
    height_unit,
    slope_bound,
    slope_known,
    station_cell,
    station_head,
)
from analysis.words.shape import LINE_WORDS
from analysis.words.tables import table

if TYPE_CHECKING:
    from analysis.answers.dovetail import Dovetail, Gib
    from analysis.answers.flanks import VeeAngles, VeeFlanks
    from analysis.answers.measured import Measured


def flanks_words(found: "VeeFlanks", inch: bool) -> list[str]:
    """Which flank is worn, then both along the bed."""
    at = length_text(found.at_mm, inch)
    if found.more_worn is None:
        seen = height_bound(found.difference_um.expanded, inch)
        first = f"{found.face}: both flanks stand alike within what could be seen, {seen}."
    else:
        by = height_known(abs(found.difference_um.value), found.difference_um.expanded, inch)
        first = f"{found.face}: the {found.more_worn} flank is worn more, most at {at}, by {by}."
    lines = [first, f"  Square to each flank, from {LINE_WORDS[found.line]}; + stands proud, − is worn."]
    return [
        *lines,
        "  The angles in bed.toml are taken as sound: two rollers tell (`waylog flanks angles`).",
        *_flank_table(found, inch),
        *taken_and_notes(found.assumptions, found.warnings),
    ]


def _flank_table(found: "VeeFlanks", inch: bool) -> list[str]:
    unit, per = height_unit(inch)
    typical = float(np.median(found.front_uncertainty_um[found.front_uncertainty_um > 0])) / per
    digits = decimals_for(typical)
    heads = (station_head(inch), f"front {unit}", f"± {unit}", f"rear {unit}", f"± {unit}")
    rows = []
    for i, mm in enumerate(found.station_mm.tolist()):
        front, rear = found.front_uncertainty_um[i], found.rear_uncertainty_um[i]
        figures = (found.front_um[i], 2 * front, found.rear_um[i], 2 * rear)
        rows.append((station_cell(mm, inch), *(number_text(float(each) / per, digits) for each in figures)))
    return table(heads, rows)


def angles_words(found: "VeeAngles", inch: bool) -> list[str]:
    """Flank angles by two rollers, and where these touch."""
    near, far = (length_text(mm, inch) for mm in found.contact_mm)
    return [
        f"Flanks from the vertical: front {_angle(found.front_deg)}, rear {_angle(found.rear_deg)}; included "
        f"{_angle(found.included_deg)}.",
        f"  The rollers touch {near} and {far} from the root along the flank: what lies beyond was not read.",
        *taken_words(
            found.assumptions,
            {DIAMETERS: f"{height_text(1.0, inch)} off is {60 * found.degrees_per_um_of_roller:.1f}′"},
        ),
    ]


def dovetail_words(found: "Dovetail", inch: bool) -> list[str]:
    """Width, taper, which flank; then place by place."""
    lines = [] if found.angle is None else [f"Angle by two sizes of pins: {_angle(found.angle)}."]
    u = found.width_uncertainty_um
    first = _mm(found.width_mm[0], u, inch)
    lines.append(
        f"The dovetail is {first} ± {height_bound(2 * u, inch)} wide from corner to corner"
        f"{_if_the_angle_is_exact(found, inch)}."
    )
    if found.taper_um_per_m is not None and found.varies_um is not None:
        lines.append(f"  {_taper(found, inch)}")
        low, high = found.varies_um.interval
        fine = (high - low) / 4
        lines.append(
            f"  Its width varies by {height_text(found.varies_um.value, inch, fine)}, in truth between "
            f"{height_text(low, inch, fine)} and {height_text(high, inch, fine)}."
        )
    if found.flanks_um is None:
        lines.append(
            "  Which flank it is, a width cannot tell: guide an indicator by a sound side, plunger on a pin."
        )
    lines.append(
        "  The flat where the pins lie is taken as sound: one that is down by t takes off 2t cot α as well."
    )
    by_pin = (
        f"{height_text(1.0, inch)} off is up to {height_text(found.width_um_per_um_of_pin, inch)} of width"
    )
    taken = taken_words(found.assumptions, {DIAMETERS: by_pin})
    return [*lines, *taken, *_dovetail_table(found, inch)]


def _if_the_angle_is_exact(found: "Dovetail", inch: bool) -> str:
    """Said in the same breath, because a tenth of a degree outweighs every reading."""
    if found.width_um_per_degree is None or Assumption(ANGLE, False) not in found.assumptions:
        return ""
    by_angle = height_text(found.width_um_per_degree / 10, inch)
    return (
        f" if its flanks stand at {found.angle_deg:g}° exactly: 0.1° off is {by_angle} (state "
        "--angle-uncertainty, or measure by a second size of pins)"
    )


def _taper(found: "Dovetail", inch: bool) -> str:
    taper = found.taper_um_per_m
    assert taper is not None
    if not taper.is_shown:
        seen = slope_bound(taper.expanded, inch)
        return f"No taper that could be seen: {seen}."
    way = "wider" if taper.value > 0 else "narrower"
    return f"Away from station 0 it gets {way} by {slope_known(abs(taper.value), taper.expanded, inch)}."


def _dovetail_table(found: "Dovetail", inch: bool) -> list[str]:
    heads = [station_head(inch), "width in" if inch else "width mm"]
    unit, per = height_unit(inch)
    if found.flanks_um is not None:
        heads += [f"flank read {unit}", f"other flank {unit}"]
    rows = []
    for i, mm in enumerate(found.station_mm):
        row = [station_cell(mm, inch)]
        row.append(f"{found.width_mm[i] / MM_PER_INCH:.5f}" if inch else f"{found.width_mm[i]:.4f}")
        if found.flanks_um is not None and found.flank_uncertainty_um is not None:
            digits = decimals_for(found.flank_uncertainty_um[1] / per)
            row += [number_text(flank[i] / per, digits) for flank in found.flanks_um]
        rows.append(row)
    return table(heads, rows)


def gib_words(found: "Gib", inch: bool) -> list[str]:
    """How much thicker, how far driven."""
    lines = [f"A gib {height_text(found.thicker_um, inch, 1.0)} thicker takes up that play."]
    if found.driven_mm is not None:
        driven = f"{found.driven_mm / MM_PER_INCH:.3f} in" if inch else f"{found.driven_mm:.2f} mm"
        lines.append(f"  A tapered one goes {driven} further in.")
    return lines


def _angle(angle: "Measured") -> str:
    """Degrees with an uncertainty in minutes or seconds of arc."""
    seconds = 3600 * angle.expanded
    sure = f"{seconds / 60:.1f}′" if seconds >= 60 else f"{seconds:.0f}″"
    return f"{angle.value:.3f}° ± {sure}"


def _mm(mm: float, u_um: float, inch: bool) -> str:
    """A measure with the digits that it deserves."""
    if inch:
        return f"{mm / MM_PER_INCH:.{max(decimals_for(u_um / 1000 / MM_PER_INCH), 0)}f} in"
    return f"{mm:.{max(decimals_for(u_um / 1000), 0)}f} mm"
