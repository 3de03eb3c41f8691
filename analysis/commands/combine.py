"""`waylog combine`: one map of the bed from every traverse."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from analysis.commands.options import Shown, answer_options, give, survey_argument

if TYPE_CHECKING:
    from analysis.whole_bed import WholeBed

MOST_UNCHECKED = 8


@click.command("combine")
@survey_argument
@click.option(
    "--own-noise",
    is_flag=True,
    help="Weigh each instrument by the scatter that its readings show, not by what bed.toml says.",
)
@answer_options
def command(survey: Path, own_noise: bool, as_json: bool, picture: Path | None, inch: bool | None) -> None:
    """One map of SURVEY's bed from every traverse: what disagrees, and what cannot be told."""
    from analysis.surveys import load
    from analysis.whole_bed import whole_bed

    loaded = load(survey)
    bed_map = loaded.map(use_variance_components=own_noise)
    result = whole_bed(bed_map, loaded.noise())

    def draw(in_inches: bool) -> object:
        from analysis.figures import bed_figure

        return bed_figure(result, loaded.bed, in_inches)

    give(
        result, lambda i: words(result, i, own_noise), draw, Shown(as_json, picture, inch), loaded.bed.is_inch
    )


def words(result: "WholeBed", inch: bool, own_noise: bool) -> Sequence[str]:
    """Face by face, then whether the readings fit each other, then what is not known."""
    from analysis.words import notes, shape_words

    lines = [shape_words(each, inch) for each in result.maps.values()]
    lines += [f"{face}: {why}." for face, why in result.unknown.items()]
    lines += [_fit(result), *_suspects(result), *_noise(result, own_noise), *_unchecked(result)]
    lines += [f"Cannot be told: {each}." for each in result.cannot_tell]
    return [*lines, *notes(result.warnings)]


def _fit(result: "WholeBed") -> str:
    if result.p_value is None or result.redundancy < 1:
        return "No reading checks another: an error in one would not show. Repeat a traverse."
    if result.p_value >= 0.01:
        return f"The readings fit each other within their uncertainty ({result.redundancy} more than needed)."
    return (
        f"The readings do not fit each other as well as their stated uncertainties promise "
        f"({result.redundancy} more than needed)."
    )


def _suspects(result: "WholeBed") -> list[str]:
    if not result.suspects:
        return ["No reading stands out as wrong."] if result.redundancy > 0 else []
    return [
        f"{'Or look at' if each.runner_up else 'Look again at'} traverse {each.traverse}, "
        f"{each.station_mm:g} mm: it reads {each.reading:.4g}, the others make it {each.predicted:.4g}"
        f"{f'; {each.words}' if each.words else ''}."
        for each in result.suspects
    ]


def _noise(result: "WholeBed", own_noise: bool) -> list[str]:
    noisy = [each for each in result.noise if each.noise_ratio > 1.5]
    if not noisy:
        return []
    tail = "that is in use here" if own_noise else "`--own-noise` takes that into account"
    names = ", ".join(
        f"{each.instrument} scatters {each.noise_ratio:.1f} times what it claims" for each in noisy
    )
    return [f"{names}; {tail}."]


def _unchecked(result: "WholeBed") -> list[str]:
    if not result.unchecked:
        return []
    shown = [
        f"traverse {each.traverse} at {each.station_mm:g} mm" for each in result.unchecked[:MOST_UNCHECKED]
    ]
    more = len(result.unchecked) - len(shown)
    tail = f" and {more} more" if more > 0 else ""
    return [f"Nothing checks: {', '.join(shown)}{tail}."]
