"""`waylog combine`: one map of the bed from every traverse."""

from pathlib import Path

import click

from analysis.commands.options import Output, answer_options, give, survey_argument


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
    from analysis.words.whole_bed import whole_bed_words

    loaded = load(survey)
    bed_map = loaded.map(use_variance_components=own_noise)
    result = whole_bed(bed_map, loaded.noise() if own_noise else noise_of(bed_map), loaded.left_out)

    def draw(in_inches: bool) -> object:
        from analysis.draw.figures import bed_figure

        return bed_figure(result, loaded.bed, in_inches)

    give(result, lambda i: whole_bed_words(result, i, own_noise), draw, output, loaded.bed.is_inch)
