"""Alignment and squareness in the words of the trade: what is out, which way, how sure, what to read then."""

from typing import TYPE_CHECKING

from acquire.model.units import height_text, length_text, slope_text
from analysis.words.assumptions import taken_and_notes
from analysis.words.facts import sentences
from analysis.words.known import height_bound, height_known, slope_bound, slope_known

if TYPE_CHECKING:
    from analysis.answers.alignment import Centres, Facing, Line
    from analysis.answers.alignment_on_bed import AgainstWhole, CollarsOnBed, Tailstock
    from analysis.answers.measured import Measured
    from analysis.answers.squareness import Square


def square_words(found: "Square", name: str, inch: bool, tool: str = "square") -> list[str]:
    """How the guide leans, the tool's own error, and the same against the whole face."""
    lines = [f"{name} {_leans(found.lean_um_per_m, inch)}{_over(found, inch)}."]
    if found.tool_um_per_m is not None:
        own = slope_known(found.tool_um_per_m.value, found.tool_um_per_m.expanded, inch)
        lines.append(f"  The {tool}'s own error is {own}; it is taken out.")
    elif tool != "sweep":
        lines.append(f"  The {tool} was not turned: its stated error is in the ±.")
    if found.whole_um_per_m is not None:
        lines.append(
            f"  Against the line along the whole of {found.stood_on} it {_leans(found.whole_um_per_m, inch)}."
        )
    return lines


def _leans(lean: "Measured", inch: bool) -> str:
    if not lean.is_shown:
        seen = slope_bound(lean.expanded, inch)
        return f"is square within what could be seen, {seen}"
    side = "+x" if lean.value > 0 else "−x"
    return f"leans, top towards {side}, by {_slope(lean, inch)}"


def _over(found: "Square", inch: bool) -> str:
    lean = found.lean_um_per_m
    if found.height_mm is None or not lean.is_shown:
        return ""
    um, u = (abs(each) * found.height_mm / 1000 for each in (lean.value, lean.standard_uncertainty))
    return f", {height_text(um, inch, u)} over {length_text(found.height_mm, inch)}"


SIDEWAYS = (
    "Sideways: not known. It takes the sideways path and the roll of both, at the height of the axis: read "
    "an indicator on a side face or the vee sideways, and a level across."
)
CENTRE_HEIGHT = "Sideways: not known without centre_height_mm under [bed]: roll acts on that arm."
TILT = (
    "How the tailstock ways rise against the carriage ways is not known: nothing ties the tilt of the one "
    "to the tilt of the other. Read them with one zero (`--same-zero-as`), or carry an indicator from one "
    "to the other."
)
NO_BLAME = (
    "The headstock is not to be blamed: what roll and sway of the carriage do to the part is not known. "
    "Read a level across the carriage, and its path sideways."
)


def tailstock_words(found: "Tailstock", inch: bool) -> list[str]:
    """The tailstock against the carriage: up and sideways, per metre and over the stretch."""
    name = " and ".join(found.faces)
    where = f"from {length_text(found.from_mm, inch)} to {length_text(found.to_mm, inch)}"
    lines = [f"Tailstock on {name} against the carriage, {where}:"]
    for slope, over, ways in (
        (found.rise_um_per_m, found.rise_um, ("rises", "drops")),
        (found.rear_um_per_m, found.rear_um, ("runs to the rear", "runs to the front")),
    ):
        if slope is not None and over is not None:
            lines.append(f"  {_way(slope, ways, inch, found.away, over=over)}.")
    refused = {"tilt": TILT, "sideways": SIDEWAYS, "centre height": CENTRE_HEIGHT}
    lines += [f"  {refused[each]}" for each in found.missing]
    if found.rear_um is not None and found.rear_um.is_shown:
        out = height_text(2 * abs(found.rear_um.value), inch, 2 * found.rear_um.standard_uncertainty)
        lines.append(f"  A centre set right at one end makes a part {out} tapered at the other.")
    return [
        *lines,
        *taken_and_notes(found.assumptions, found.warnings),
    ]


QUILL_HOLDS = (
    "This is the quill in its tailstock together with the ways that the tailstock is clamped on there, and "
    "how it was clamped. Before the quill is blamed: `waylog align tailstock` tells how these ways run "
    "against the carriage's; clamp again and read again."
)


def line_words(found: "AgainstWhole", name: str, inch: bool, *, holds: str | None = None) -> list[str]:
    """Axis or quill: up and sideways, against the path near and far and along the whole; what it holds."""
    places = f"{length_text(found.near_mm, inch)} and {length_text(found.far_mm, inch)}"
    lines = [f"{name} against the path of the carriage between {places}:", *_both(found, inch)]
    if found.rise_um_per_m is not None or found.rear_um_per_m is not None:
        lines.append("Against the line along the whole path:")
        for slope, ways in (
            (found.rise_um_per_m, ("rises", "drops")),
            (found.rear_um_per_m, ("runs to the rear", "runs to the front")),
        ):
            lines.append("  " + ("not known" if slope is None else _way(slope, ways, inch, found.away)) + ".")
    if found.rise_um_per_m is None or found.rear_um_per_m is None:
        lines.append(
            "  How that stretch of the carriage's path lies to the whole is not known all round: the ways "
            "may be to blame as well as this."
        )
    return [*lines, *([f"  {holds}"] if holds else []), *_beside(found.read, inch)]


def _both(found: "AgainstWhole", inch: bool) -> list[str]:
    line, away = found.read, found.away
    return [
        f"  {_way(line.rise_um_per_m, ('rises', 'drops'), inch, away)}.",
        f"  {_way(line.rear_um_per_m, ('runs to the rear', 'runs to the front'), inch, away)}.",
    ]


def _beside(line: "Line", inch: bool) -> list[str]:
    """Run-out of the bar, and the sag that was put in."""
    lines = []
    if line.run_out_um is not None:
        near, far = (height_text(um, inch) for um in line.run_out_um)
        lines.append(
            f"  The bar runs out (half of what turning it changes) {near} near, {far} far; left out."
        )
    if line.sag_um:
        lines.append(f"  The bar hangs {height_text(line.sag_um, inch, 0.1)} more far than near; put in.")
    else:
        lines.append("  No sag of the bar is put in.")
    return lines


def collars_words(found: "CollarsOnBed", inch: bool) -> list[str]:
    """Is the headstock out, or is it the ways; then the shares of the difference."""
    split = found.split
    taper = _figure(split.taper_um, inch)
    larger = "larger" if split.taper_um.value >= 0 else "smaller"
    first = f"The far collar is {taper} {larger} than the near one."
    if not split.taper_um.is_shown:
        first = f"The collars do not differ by more than could be seen: {taper}."
    shares = (
        ("By the carriage's roll", split.from_roll_um),
        ("By its sway", split.from_sway_um),
        ("Of the roll, what the feet can take out", found.feet_um),
        ("Of the roll, wear", found.wear_um),
    )
    lines = [f"{first} {_blame(found, inch)}"]
    for name, share in shares:
        if share is not None:
            lines.append(f"  {name}: {_figure(share, inch, is_signed=True)}.")
    if split.twist_to_hide_um_per_m is not None and split.headstock_um_per_m is not None:
        hide = slope_text(split.twist_to_hide_um_per_m, inch, split.headstock_um_per_m.standard_uncertainty)
        lines.append(
            f"  Twisting the bed by {hide} would hide it at this one length and at no other: never do it."
        )
    lines += [f"  Feet or wear: {each}." for each in sentences(found.cannot_tell)]
    if found.near_mm > found.far_mm:
        lines.append(f"  Taken: the spindle is at the {found.far_end}, for the near collar stood that way.")
    return [
        *lines,
        *taken_and_notes(found.assumptions, found.warnings),
    ]


def _blame(found: "CollarsOnBed", inch: bool) -> str:
    headstock = found.split.headstock_um_per_m
    if headstock is None:
        return NO_BLAME
    if not headstock.is_shown:
        seen = slope_bound(headstock.expanded, inch)
        return f"The headstock is not shown out: less than {seen} could not have been seen."
    side = "rear" if headstock.value > 0 else "front"
    return f"The headstock points to the {side} by {_slope(headstock, inch)} against the carriage's line."


def centres_words(found: "Centres", inch: bool) -> list[str]:
    """The tailstock's centre against the headstock's."""
    up, aside = found.higher_um, found.rear_um
    lines = [
        f"The tailstock's centre is {_figure(up, inch)} {'higher' if up.value >= 0 else 'lower'} and "
        f"{_figure(aside, inch)} {'to the rear' if aside.value >= 0 else 'to the front'} of the headstock's, "
        "along the path of the carriage."
    ]
    if found.taper_um.is_shown:
        thick = "thicker" if found.taper_um.value > 0 else "thinner"
        lines.append(
            f"  A part between centres comes out {_figure(found.taper_um, inch)} {thick} at the tailstock."
        )
    else:
        most = height_bound(found.taper_um.expanded, inch)
        lines.append(f"  A taper of the part is not shown; {most} would have been.")
    return lines


def facing_words(found: "Facing", inch: bool) -> list[str]:
    """Hollow or crowned faces, how deep."""
    gamma, depth = found.hollow_um_per_m, found.depth_um
    if not gamma.is_shown:
        seen = height_bound(depth.expanded, inch)
        over = length_text(found.diameter_mm, inch)
        return [f"The slide faces flat within what could be seen: {seen} over Ø{over}."]
    form = "hollow" if gamma.value > 0 else "crowned"
    return [
        f"The slide faces {form} by {_figure(depth, inch)} over Ø{length_text(found.diameter_mm, inch)}, "
        f"{_slope(gamma, inch)} from square to the spindle.",
        "  Against the ways it is out by this and by the spindle's own error together.",
    ]


def push_off_words(push_um: float, taper: "Measured", inch: bool) -> list[str]:
    """Whether the bar is stiff enough for the test."""
    text = height_text(push_um, inch, 0.5)
    if push_um > taper.standard_uncertainty:
        return [f"  The cut bends this bar by {text}, more than the readings are sure: take a stouter bar."]
    return [f"  The cut bends this bar by {text}: stiff enough."]


def _way(
    slope: "Measured", ways: tuple[str, str], inch: bool, away: str, over: "Measured | None" = None
) -> str:
    """Which way and by how much, or that nothing was seen."""
    if not slope.is_shown:
        seen = slope_bound(slope.expanded, inch)
        return f"neither {ways[0]} nor {ways[1]} by what could be seen, {seen}"
    beside = "" if over is None else f", {_figure(over, inch)} over the stretch"
    return f"{ways[0] if slope.value > 0 else ways[1]} {away} by {_slope(slope, inch)}{beside}"


def _slope(slope: "Measured", inch: bool) -> str:
    return slope_known(abs(slope.value), slope.expanded, inch)


def _figure(figure: "Measured", inch: bool, *, is_signed: bool = False) -> str:
    return height_known(figure.value if is_signed else abs(figure.value), figure.expanded, inch)
