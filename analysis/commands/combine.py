"""`waylog combine`: one map of the bed from every traverse."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from analysis.commands.options import Output, answer_options, give, survey_argument

if TYPE_CHECKING:
    from analysis.answers.whole_bed import WholeBed


@click.command("combine")
@survey_argument
@click.option(
    "--own-noise",
    is_flag=True,
    help="Weigh each instrument by the scatter that its readings show, not by what bed.toml says.",
)
@answer_options
def command(survey: Path, own_noise: bool, output: Output) -> None:
    """One map of SURVEY's bed from every traverse: what disagrees, and what cannot be told."""
    from analysis.adjust.combination import noise_of
    from analysis.answers.surveys import load
    from analysis.answers.whole_bed import whole_bed

    loaded = load(survey)
    bed_map = loaded.map(use_variance_components=own_noise)
    result = whole_bed(bed_map, loaded.noise() if own_noise else noise_of(bed_map), loaded.left_out)

    def draw(in_inches: bool) -> object:
        from analysis.draw.figures import bed_figure

        return bed_figure(result, loaded.bed, in_inches)

    give(result, lambda i: words(result, i, own_noise), draw, output, loaded.bed.is_inch)


def words(result: "WholeBed", inch: bool, own_noise: bool) -> Sequence[str]:
    """Face by face, then whether the readings fit each other, then what is not known."""
    from analysis.words.assumptions import taken_and_notes
    from analysis.words.facts import sentences
    from analysis.words.shape import shape_words
    from analysis.words.whole_bed import fit_words, suspect_words, unchecked_words

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
