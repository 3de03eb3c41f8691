"""Which faces to start from, how they stand to each other, and what is still to be measured."""

from typing import TYPE_CHECKING

import numpy as np

from acquire.model.units import decimals_for, height_text, length_text, number_text
from analysis.words.assumptions import taken_words, unstated_words
from analysis.words.facts import sentences
from analysis.words.known import height_known, height_unit, slope_bound, slope_known
from analysis.words.plan import trust_answer, trust_words
from analysis.words.tables import columns, table

if TYPE_CHECKING:
    from analysis.answers.datums import Datums
    from analysis.answers.fixture_path import FixturePath
    from analysis.answers.standing import Parallel

MOST_PAIRS = 6
"""Pairs of faces named in one line of a page: many faces make hundreds."""


def datums_answer(found: "Datums", inch: bool) -> list[str]:
    """The answer, then every face, the order, parallel or not, good stretches, fixture, what is missing."""
    lines = [trust_answer(found, inch), *(f"  {words}" for words in trust_words(found, inch))]
    lines += ["", *_ranking_words(found, inch), *_parallel_words(found, inch), *_good_words(found, inch)]
    lines += [*_fixture_words(found), *(words for each in found.fixture_path for words in _path(each, inch))]
    if found.missing:
        lines += [
            "Still to be measured before they can be trusted:",
            *(f"  {each}." for each in sentences(found.missing)),
        ]
    return [*lines, *taken_words(found.assumptions), *unstated_words(found.assumptions)]


def _ranking_words(found: "Datums", inch: bool) -> list[str]:
    if not found.ranking:
        return []
    unit, per = height_unit(inch)
    rows = []
    for place, each in enumerate(found.ranking, 1):
        digits = decimals_for(each.straightness_expanded_um / 2 / per)
        rows.append(
            (
                str(place),
                each.face,
                number_text(each.straightness_um / per, digits),
                number_text(each.straightness_expanded_um / per, digits),
                "not told from the next" if each.as_good_as_next else "",
            )
        )
    heads = ("", "face", f"from straight {unit}", "±", "")
    return ["From the straightest on (order by departure from the least-squares line):", *table(heads, rows)]


def _parallel_words(found: "Datums", inch: bool) -> list[str]:
    if not found.parallel:
        return []
    return ["Parallel along the bed:", *(f"  {_taper(each, inch, found.far_end)}" for each in found.parallel)]


def standing_words(found: "Datums", inch: bool) -> list[str]:
    """The order, and how the faces stand to each other in as few lines as there are kinds of pairs."""
    lines = _ranking_words(found, inch)
    known = [each for each in found.parallel if each.taper_um_per_m is not None]
    seen = [each for each in known if each.is_seen]
    lines += [_taper(each, inch, found.far_end) for each in seen[:MOST_PAIRS]]
    if len(seen) > MOST_PAIRS:
        lines.append(f"{len(seen) - MOST_PAIRS} more pairs are not parallel (`waylog datums`).")
    alike = [f"{each.a} and {each.b}" for each in known if not each.is_seen]
    if alike:
        lines.append(f"Parallel within what could be seen: {'; '.join(alike[:MOST_PAIRS])}{_more(alike)}.")
    open_ = [f"{each.a} and {each.b}" for each in found.parallel if each.taper_um_per_m is None]
    if open_:
        lines.append(
            f"Not known whether they are parallel: {'; '.join(open_[:MOST_PAIRS])}{_more(open_)}; a cross "
            "level at both ends, or an indicator from one to the other, would tell."
        )
    return [*lines, *_fixture_words(found)]


def _more(pairs: list[str]) -> str:
    return f"; and {len(pairs) - MOST_PAIRS} more" if len(pairs) > MOST_PAIRS else ""


def _fixture_words(found: "Datums") -> list[str]:
    each = found.fixture
    if each is None:
        return []
    return [f"A fixture can ride under {each.under}, against {each.side} and on {each.top}."]


def _path(each: "FixturePath", inch: bool) -> list[str]:
    """How straight the fixture runs, and where it departs."""
    way = "up and down" if each.direction == "up" else "sideways (+ to the rear)"
    by = height_known(each.range_um, each.range_expanded_um, inch)
    return [
        f"  Riding on {each.face} its tool goes {way} by {by}{_roll_words(each, inch)}",
        *columns(each.station_mm, each.path_um, each.expanded_um, inch=inch, what="path"),
    ]


def _roll_words(each: "FixturePath", inch: bool) -> str:
    """Whether the fixture's roll is in it; if not, what it would do."""
    if each.is_roll_in_it:
        return ", its roll counted."
    arm = "100 mm" if not inch else "4 in"
    one = "1 µm" if not inch else "0.04 thou"
    per = "10 µm/m" if not inch else "0.12 thou/ft"
    return (
        f"; its roll is not in it: {per} of it on an arm of {arm} moves the tool by {one}. Say where the "
        "tool is (`--tool-across`, `--tool-above`), unless it stands on the line of its pads."
    )


def _taper(each: "Parallel", inch: bool, far_end: str) -> str:
    if each.taper_um_per_m is None or each.taper_expanded_um_per_m is None:
        return (
            f"{each.a} and {each.b}: not known; levels with one zero on both, a cross level at both ends "
            "or an indicator from one to the other would tell."
        )
    doubt = each.taper_expanded_um_per_m
    pair, amount = f"{each.a} and {each.b}", slope_known(abs(each.taper_um_per_m), doubt, inch)
    if not each.is_seen:
        return f"{pair}: parallel within what could be seen (± {slope_bound(doubt, inch)})."
    end = f"towards the {far_end}, by {amount}."
    if each.look_opposite:
        return f"{pair}: what lies between is {'thicker' if each.taper_um_per_m > 0 else 'thinner'} {end}"
    return f"{pair}: {each.b} {'rises' if each.taper_um_per_m > 0 else 'falls'} against it {end}"


def _good_words(found: "Datums", inch: bool) -> list[str]:
    if found.within_um is None:
        return []
    limit = height_text(found.within_um, inch, 0.1)
    lines = [f"Straight within {limit}, uncertainty counted:"]
    good = {each.face: each for each in found.good}
    for face in (each.face for each in found.ranking):
        if face not in good:
            lines.append(f"  {face}: no stretch of three stations.")
        elif face not in found.relief:
            lines.append(f"  {face}: all along.")
        else:
            start, end = (length_text(mm, inch) for mm in (good[face].from_mm, good[face].to_mm))
            lines.append(f"  {face}: from {start} to {end}; {_relief_words(found, face, inch)}")
    return lines


def _relief_words(found: "Datums", face: str, inch: bool) -> str:
    off = found.relief[face]
    cut = np.flatnonzero(off.removal_um > 0)
    if not cut.size:
        return "all along as measured, but not surely."
    most = int(off.removal_um.argmax())
    ends = f"{length_text(off.station_mm[cut[0]], inch)} to {length_text(off.station_mm[cut[-1]], inch)}"
    deep = height_text(float(off.removal_um[most]), inch, 0.3)
    return (
        f"all along once metal is off from {ends}, most at {length_text(off.station_mm[most], inch)}, {deep}."
    )
