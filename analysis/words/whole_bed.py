"""The whole bed: how well all fits, which readings cannot be right, which nothing checks, what drifted."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from acquire.model.units import unit_text
from analysis.words.assumptions import taken_and_notes
from analysis.words.facts import sentences
from analysis.words.shape import shape_words

if TYPE_CHECKING:
    from analysis.adjust.drift import Drift
    from analysis.adjust.reliability import Suspect
    from analysis.answers.whole_bed import WholeBed


MOST_UNCHECKED = 4


def drift_words(found: "Sequence[Drift]") -> list[str]:
    """Each drift in one line.

    Examples
    --------
    >>> from analysis.adjust.drift import Drift
    >>> drift_words([Drift("level", 4.04, 0.61, "µm/m", True), Drift("dial", 0.2, 0.6, "µm", False)])
    ['level drifted by 4.0 ± 0.6 µm/m over a run; runs there and back tell it, and it is taken off.',
     'dial drifted by less than 0.8 µm over a run.']
    """
    lines = []
    for each in found:
        most = abs(each.over_run) + each.expanded
        amount = f"{each.over_run:.1f} ± {each.expanded:.1f} {each.unit}"
        seen = f"by {amount} over a run; runs there and back tell it, and it is taken off."
        if not each.is_told:
            seen = (
                f"by {amount} over a run, which is taken off; a bed that bent in between would look the same."
            )
        unseen = f"by less than {most:.1f} {each.unit} over a run."
        lines.append(f"{each.instrument} drifted {seen if each.is_seen else unseen}")
    return lines


def fit_words(result: "WholeBed") -> str:
    """Whether the readings fit each other."""
    if result.p_value is None or result.redundancy < 1:
        return "No reading checks another: an error in one would not show. Repeat a traverse."
    checks = f"({result.redundancy:.0f} of them are checks)"
    if result.p_value >= 0.01:
        return f"The readings fit each other within their uncertainty {checks}."
    return f"The readings do not fit each other as well as their stated uncertainties promise {checks}."


def suspect_words(result: "WholeBed") -> list[str]:
    """Readings that the others contradict, where to look again."""
    if not result.suspects:
        if result.slips:
            return []
        return ["No reading stands out as wrong."] if result.redundancy > 0 else []
    return [
        f"{'Or look at' if each.runner_up else 'Look again at'} traverse {each.traverse} "
        f"at {each.station_mm:g} mm: it reads {each.reading:.4g}{_unit(each)}, "
        f"the others make it {each.predicted:.4g}{_unit(each)}"
        f"{f'; {each.words}' if each.words else ''}."
        for each in result.suspects
    ]


def _unit(suspect: "Suspect") -> str:
    return f" {unit_text(suspect.unit)}" if suspect.unit else ""


def unchecked_words(result: "WholeBed") -> list[str]:
    """Readings in which an error would not show, gathered by traverse."""
    places: dict[int, list[float]] = {}
    for each in result.unchecked:
        places.setdefault(each.traverse, []).append(each.station_mm)
    if not places or result.redundancy < 1:
        return []
    told = []
    for number, stations in places.items():
        few = ", ".join(f"{station:g}" for station in stations)
        some = f"{len(stations)} readings between {min(stations):g} and {max(stations):g} mm"
        told.append(
            f"traverse {number} at {few} mm"
            if len(stations) <= MOST_UNCHECKED
            else f"{some} of traverse {number}"
        )
    return [f"No other reading checks {'; '.join(told)}."]


def whole_bed_words(result: "WholeBed", inch: bool, own_noise: bool) -> Sequence[str]:
    """Face by face, then whether the readings fit each other, then what is not known."""
    slips = [f"{each}." for each in sentences(result.slips)]
    lines = [*slips, *(shape_words(each, inch) for each in result.maps.values())]
    lines += [f"{face}: {why}." for face, why in result.unknown.items()]
    lines += [fit_words(result), *suspect_words(result), *_noise(result, own_noise), *unchecked_words(result)]
    told = sentences(result.cannot_tell)
    if told:
        lines += ["What these readings leave open:", *(f"  - {each}." for each in told)]
    return [
        *lines,
        *taken_and_notes(result.assumptions, [each for each in result.warnings if each not in result.slips]),
    ]


def _noise(result: "WholeBed", own_noise: bool) -> list[str]:
    noisy = [each for each in result.noise if each.noise_ratio > 1.5 and each.is_told]
    if not noisy or result.slips:  # what a wrong run scatters is no noise
        return []
    tail = "that is in use here" if own_noise else "`--own-noise` takes that into account"
    names = ", ".join(
        f"{each.instrument} scatters {each.noise_ratio:.1f} times what it claims" for each in noisy
    )
    return [f"{names}; {tail}."]
