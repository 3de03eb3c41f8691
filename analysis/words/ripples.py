"""Steps and ripples that noise does not explain, named with length and height: in words."""

from typing import TYPE_CHECKING

from acquire.model.units import MM_PER_INCH, height_text, length_text
from analysis.words.assumptions import taken_and_notes

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
    name = f"{each.face} sideways" if each.kind == "side" else each.face
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
    sure = step.expanded_um / 2
    first, last = (f"{mm / MM_PER_INCH:.2f}" if inch else f"{mm:g}" for mm in (step.from_mm, step.to_mm))
    words = (
        f"step {way} {height_text(abs(step.height_um), inch, sure)} ± "
        f"{height_text(step.expanded_um, inch, sure)} at {first} to {last} {'in' if inch else 'mm'}."
    )
    if step.hangs_on is not None:
        at = length_text(step.hangs_on.station_mm, inch)
        words += (
            f" It hangs on one reading (traverse {step.hangs_on.traverse} at {at}): a slip there looks the "
            "same; a second run must agree."
        )
    return words


def _wave_words(wave: "Wave", inch: bool) -> str:
    sure = wave.expanded_um / 2
    return (
        f"ripple {length_text(wave.wavelength_mm, inch)} long, "
        f"{height_text(wave.height_um, inch, sure)} ± {height_text(wave.expanded_um, inch, sure)} from crest "
        f"to trough, first crest at {length_text(wave.crest_mm, inch)}."
    )
