"""`waylog combine`: one map of the bed from every traverse."""

import click

from analysis.commands.options import Answer, Opened, answers, drawn, survey_argument


@click.command("combine")
@survey_argument
@click.option(
    "--own-noise",
    is_flag=True,
    help="Weigh each instrument by the scatter that its readings show, not by what bed.toml says.",
)
@answers
def command(survey: Opened, own_noise: bool) -> Answer:
    """One map of SURVEY's bed from every traverse: what disagrees, and what cannot be told."""
    from analysis.adjust.combination import noise_of
    from analysis.answers.whole_bed import whole_bed
    from analysis.words.whole_bed import whole_bed_words

    bed_map = survey.map(use_variance_components=own_noise)
    noise = survey.noise() if own_noise else noise_of(bed_map)
    found = whole_bed(bed_map, noise, survey.left_out)
    draw = drawn("bed_figure", found, survey.bed)
    return Answer(found, lambda inch: whole_bed_words(found, inch, own_noise), draw)
