"""The paper strip: full scale, tiles that meet at their marks, a length to measure on every page."""

import re
from functools import cache

import numpy as np
import pytest

from analysis.adjust.combination import combine
from analysis.answers.plan import plan_faces
from analysis.answers.rounds import passes_of
from analysis.draw import strip
from analysis.draw.sheets import PAPERS
from analysis.draw.strip import CHECK_MM, strip_pages, tile_mm, write_strips

X = np.arange(0.0, 1001.0, 100.0)
POINTS_PER_MM = 72 / 25.4


@pytest.fixture(scope="module")
def planned(invented_bed, from_one):
    bed = invented_bed()
    hollow = -40 * np.sin(np.pi * X / 1000) ** 2
    runs = [from_one()(bed, "level", X[:-1] + 50, np.diff(hollow) / 0.1, face="front-flat")]
    return bed, plan_faces(combine(runs, bed), ["front-flat"]).plans["front-flat"]


@pytest.fixture(scope="module")
def pages_of(planned):
    """The strip's pages, drawn once for each unit and paper."""
    return cache(lambda inch, paper: strip_pages(*planned, inch, paper))


def tiles(pages, step):
    return [a for page in pages for a in page.axes if abs(np.ptp(a.get_xlim()) - step - 16) < 1e-6]


@pytest.mark.parametrize(
    ("inch", "paper"),
    [
        (False, "A4"),
        (True, "Letter"),
        *(pytest.param(*other, marks=pytest.mark.whole) for other in ((True, "A4"), (False, "Letter"))),
    ],
)
def test_strip_is_full_scale_and_its_tiles_cover_the_way(pages_of, inch, paper):
    step = tile_mm(inch, paper)
    found = tiles(pages_of(inch, paper), step)
    for axes in found:
        axes.figure.dpi = 72
        ends = axes.transData.transform([(0.0, 0.0), (100.0, 0.0)])
        assert ends[1, 0] - ends[0, 0] == pytest.approx(100 * POINTS_PER_MM, rel=1e-9)
        left, right = axes.transData.transform([(mm, 0.0) for mm in axes.get_xlim()])[:, 0]
        width = PAPERS[paper][1] * POINTS_PER_MM
        assert left >= 11.9 * POINTS_PER_MM and right <= width - 11.9 * POINTS_PER_MM
    starts = sorted(axes.get_xlim()[0] + 8 for axes in found)
    assert starts == pytest.approx([k * step for k in range(len(starts))])
    assert starts[-1] + step >= 1000


@pytest.mark.parametrize(("inch", "first"), [(False, "100"), (True, "3.94")])
def test_every_tile_shows_the_stations_of_its_own_stretch(pages_of, inch, first):
    """100 mm are 3.94 in."""
    shown = {}
    for axes in tiles(pages_of(inch, "A4"), tile_mm(inch, "A4")):
        low, high = axes.get_xlim()
        names = {t.get_position()[0]: t.get_text() for t in axes.texts if t.get_position()[1] == 8}
        assert all(low <= mm <= high for mm in names)
        shown |= names
    assert sorted(shown) == X.tolist() and shown[100.0] == first


def test_every_page_says_which_end_lies_to_the_left(planned, pages_of):
    """That of station 0: laid the other way round, metal comes off where none should."""
    bed, _ = planned
    for page in pages_of(False, "A4"):
        assert any(f"{bed.called.origin} to the left" in text.get_text() for text in page.texts)


def test_every_page_carries_a_length_to_measure(pages_of):
    for page in pages_of(False, "A4"):
        page.dpi = 72
        check = next(a for a in page.axes if any("measure this line" in t.get_text() for t in a.texts))
        ends = check.transData.transform([(0.0, 0.0), (CHECK_MM, 0.0)])
        assert ends[1, 0] - ends[0, 0] == pytest.approx(CHECK_MM * POINTS_PER_MM, rel=1e-9)


def says_not_yet(page):
    return any("do not scrape yet" in text.get_text() for text in page.texts)


def test_every_page_of_a_face_that_is_not_to_be_scraped_yet_says_so(planned, pages_of):
    pages = strip_pages(*planned, False, not_yet=True)
    assert all(map(says_not_yet, [*pages, *tiles(pages, tile_mm(False, "A4"))]))
    assert not any(map(says_not_yet, pages_of(False, "A4")))


@pytest.mark.whole
def test_file_is_a_pdf_of_landscape_pages(planned, pages_of, tmp_path, monkeypatch):
    bed, plan = planned
    monkeypatch.setattr(strip, "strip_pages", lambda *_, **__: pages_of(False, "A4")[-2:])
    write_strips(tmp_path / "strip.pdf", bed, [plan], False, "A4")
    raw = (tmp_path / "strip.pdf").read_bytes()
    assert raw.startswith(b"%PDF")
    boxes = {
        tuple(round(float(n)) for n in box.split()) for box in re.findall(rb"/MediaBox \[([^\]]*)\]", raw)
    }
    assert boxes == {(0, 0, 842, 595)}


@pytest.mark.parametrize("seed", range(5))
def test_every_place_gets_as_many_passes_as_its_depth_holds_to_within_one(seed):
    depth = np.abs(np.random.default_rng(seed).normal(0, 12, 20))
    x = np.arange(20.0) * 50
    passes = passes_of(x, depth)
    for mm, um in zip(x, depth, strict=True):
        count = sum(any(low <= mm <= high for low, high in each.stretches_mm) for each in passes)
        assert abs(5.0 * count - um) < 5.0 + 1e-6
    widths = [sum(high - low for low, high in each.stretches_mm) for each in passes]
    assert widths == sorted(widths)


def test_nothing_to_take_off_is_no_pass():
    assert passes_of([0, 100], [0.0, 0.2]) == ()
