"""Steps and ripples that noise does not explain, named with length and height: in words."""

from typing import TYPE_CHECKING

from acquire.model.units import length_text
from analysis.words.assumptions import taken_and_notes
from analysis.words.known import height_known, line_name, station_cell

if TYPE_CHECKING:
    from analysis.answers.ripples import FaceRipples, Ripples, Step, Wave


def ripples_words(found: "Ripples", inch: bool) -> list[str]:
    """Each face: its steps and ripples, or that none stands out of the noise."""
    lines = [words for each in found.faces for words in face_ripples_words(each, inch)]
    if any(each.steps or each.ripples for each in found.faces):
        lines.append(
            "One smooth face in a hundred raises such an alarm by chance. Find out what it is before metal "
            "comes off: an undeclared joint, a ridge where the carriage stops, a mark of planing."
        )
    lines += [f"{face} was not searched: {why.rstrip('.')}." for face, why in found.not_searched.items()]
    return [*lines, *taken_and_notes(found.assumptions, found.warnings)]


def face_ripples_words(each: "FaceRipples", inch: bool) -> list[str]:
    """One face."""
    name = line_name(each.face, each.kind)
    lines = [f"{name}: {step_words(step, inch)}" for step in each.steps]
    lines += [f"{name}: {_wave_words(wave, inch)}" for wave in each.ripples]
    if not lines:
        shortest = length_text(each.shortest_mm, inch)
        lines = [
            f"{name}: no step or ripple stands out of the noise (ripples shorter than {shortest} show at no "
            "station)."
        ]
    return lines


def step_words(step: "Step", inch: bool) -> str:
    """One step in one line."""
    way = "up" if step.height_um > 0 else "down"
    first, last = (station_cell(mm, inch) for mm in (step.from_mm, step.to_mm))
    high = height_known(abs(step.height_um), step.expanded_um, inch)
    words = f"step {way} {high} at {first} to {last} {'in' if inch else 'mm'}."
    if step.hangs_on is not None:
        at = length_text(step.hangs_on.station_mm, inch)
        words += (
            f" It hangs on one reading (traverse {step.hangs_on.traverse} at {at}): a slip there looks the "
            "same; a second run must agree."
        )
    return words


def _wave_words(wave: "Wave", inch: bool) -> str:
    return (
        f"ripple {length_text(wave.wavelength_mm, inch)} long, "
        f"{height_known(wave.height_um, wave.expanded_um, inch)} from crest "
        f"to trough, first crest at {length_text(wave.crest_mm, inch)}."
    )
