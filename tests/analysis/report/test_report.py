"""The report: everything on one page, true to the answers, and whole in a real browser."""

import json
import os
import re
import shutil
import stat
import subprocess
import xml.etree.ElementTree as ElementTree
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from matplotlib import image as matplotlib_image

from acquire.cli import main
from acquire.model.errors import AnalysisError
from analysis.answers.surveys import load
from analysis.report import (
    PAGE,
    PRINTED,
    SHEET,
    Printing,
    gather,
    print_pdf,
    render,
    render_wall,
    write_report,
    writing,
)
from analysis.report.measured import state_lines
from analysis.report.tables import in_blocks
from tests.invented import bed_toml, cross_level, dial, flat, imported, level, vee

pytestmark = pytest.mark.whole

BED = bed_toml(
    name="invented bed <b>& $x$</b>",
    bed={"carriage_length_mm": 300},
    faces={
        "front-vee": vee(0, "front", unworn_mm=[[800, 1000]]),
        "rear-flat": flat(300, "rear"),
        "keep": {"normal": "down", "across_mm": 300},
    },
    instruments={"level": level(2.0, base_mm=100), "cross": cross_level(2.0), "indicator": dial(0.5)},
    state={"stands_on": "feet", "clamped": False},
)
MADE = datetime(2030, 1, 2, 3, 4, tzinfo=UTC)
STATIONS = np.arange(0, 1001, 100.0)
FRONT = -60 * np.sin(np.pi * STATIONS / 1000) ** 2
REAR = -20 * np.sin(np.pi * STATIONS / 1000) ** 2 + 0.05 * STATIONS
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
needs_browser = pytest.mark.skipif(
    CHROMIUM is None and "WAYLOG_EVERY_PEER_IS_HERE" not in os.environ, reason="no chromium on this machine"
)


def write_survey(folder):
    """An invented bed, 60 and 20 µm hollow and in wind, measured by level, cross level and indicator."""
    noise = np.random.default_rng(11)
    middles = STATIONS[:-1] + 50
    (folder / "bed.toml").write_text(BED, encoding="utf-8")
    runs = [
        (["--face", "front-vee", "-i", "level"], middles, np.diff(FRONT) / 0.1 + noise.normal(0, 2, 10)),
        (["--face", "rear-flat", "-i", "level"], middles, np.diff(REAR) / 0.1 + noise.normal(0, 2, 10)),
        (["--across", "front-vee", "rear-flat", "-i", "cross"], STATIONS, (REAR - FRONT) / 0.3),
        (["--face", "rear-flat", "-i", "indicator", "-r", "front-vee"], STATIONS, REAR - FRONT),
    ]
    for options, station_mm, reading in runs:
        imported(folder, station_mm, np.round(reading, 3), *options)


@pytest.fixture(scope="module")
def survey(tmp_path_factory):
    folder = tmp_path_factory.mktemp("survey")
    write_survey(folder)
    return folder


@pytest.fixture(scope="module")
def contents(survey):
    return gather(load(survey), inch=False)


@pytest.fixture(scope="module")
def html(contents):
    return render(contents, MADE)


def test_end_that_the_owner_did_not_name_is_called_what_it_is_called_elsewhere(contents, html):
    """bed.toml gives no origin: the sheet and its picture said "station 0 at its ." and "0 is the "."""
    assert "station 0 at its near end." in html
    assert "0 is the near end" in contents.wall.picture


class Tables(HTMLParser):
    """The cells of every table, and the names of all elements."""

    def __init__(self, html):
        super().__init__()
        self.tables, self.elements, self._cell = [], [], None
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag == "table":
            self.tables.append([])
        elif tag == "tr":
            self.tables[-1].append([])
        elif tag in ("td", "th"):
            self._cell = ""

    def handle_data(self, data):
        if self._cell is not None:
            self._cell += data

    def handle_endtag(self, tag):
        if tag in ("td", "th"):
            self.tables[-1][-1].append(self._cell)
            self._cell = None


def test_summary_is_five_lines_answer_first(contents):
    assert [line.about for line in contents.summary] == ["Shape", "Twist", "How sure", "Not known", "To do"]
    assert contents.summary[0].words.startswith("front-vee is hollow by ")
    assert "rear high" in contents.summary[1].words
    assert "keep" in contents.summary[3].words
    assert "Before any metal comes off" in contents.summary[4].words


def rows_of(html, head):
    """Rows of every table that begins with these heads, by station."""
    return {
        row[0]: row[1:]
        for table in Tables(html).tables
        if tuple(table[0][: len(head)]) == head
        for row in table[1:]
    }


def as_number(cell):
    return float(cell.replace("−", "-"))


def test_table_to_take_to_the_machine_holds_what_map_says_in_one_unit(survey, contents, capsys):
    assert main(["map", str(survey), "front-vee", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    face = next(each for each in contents.faces if each.name == "front-vee")
    assert face.table.heads[:3] == ("station mm", "height µm", "±")
    assert not any("thou" in head for head in face.table.heads)
    rows = {row[0]: row[1:] for block in face.table.blocks for row in block}
    told_from_one = 0
    for station, height, doubt in zip(
        answer["station_mm"], answer["height_um"], answer["standard_uncertainty_um"], strict=True
    ):
        cells = rows[f"{station:g}"][:2]
        um, plus_minus = map(as_number, cells)
        digit = 10.0 ** -len(cells[1].partition(".")[2])
        assert um == pytest.approx(height, abs=0.51 * digit)
        assert plus_minus == pytest.approx(max(2 * doubt, digit if doubt else 0.0), abs=0.51 * digit)
        told_from_one += abs(plus_minus - doubt) > 0.51 * digit
    assert told_from_one >= 8  # nearly everywhere one standard uncertainty would be another number


def test_inch_is_inch_in_tables_and_pictures(survey):
    contents = gather(load(survey), inch=True)
    html = render(contents, MADE)
    assert rows_of(html, ("station in", "height thou", "±"))
    assert rows_of(html, ("station in", "roll thou/ft", "±"))
    assert "39.37 in long" in html
    for picture in (contents.wall.picture, contents.twist.picture, contents.faces[0].picture):
        assert "thou" in picture and "station, in" in picture and "station, mm" not in picture


def test_depths_are_those_of_the_plan_command_no_finer_than_a_scraper_takes(survey, contents, html, capsys):
    mapped = [section.name for section in contents.faces if section.picture]
    assert list(contents.plans) == mapped
    for face in mapped:
        capsys.readouterr()
        assert main(["plan", str(survey), face]) == 0
        said = capsys.readouterr().out
        assert contents.plans[face].answer[1:] in said
        assert all(words in said for words in contents.plans[face].words)
        printed = {line.split()[0]: line.split()[1:3] for line in said.splitlines() if line.split()}
        table = next(each.table for each in contents.faces if each.name == face)
        for row in (row for block in table.blocks for row in block):
            assert list(row[3:5]) == printed[row[0]]
            assert "." not in row[3]  # µm: a pass takes 2 and more
        assert any("Predicted blue" in words for words in contents.plans[face].words)


def test_page_says_which_faces_to_trust_before_any_plan_and_warns(html, contents):
    trust, first_plan = html.index("<h2>Which faces to trust"), html.index("Plan for")
    assert trust < html.index("Never scrape from one survey") < first_plan
    assert contents.trust.answer in html
    assert html.index("Before any plan below is followed") < first_plan


def test_no_plan_may_be_followed_where_no_face_can_be_trusted(html, contents):
    assert contents.trust.answer.startswith("None can be trusted yet")
    assert "Do not scrape yet" in [thing.deed for thing in contents.wall.things]
    assert html.index("Do not scrape yet: ") < html.index("Contents</h2>")
    assert contents.wall.picture.count("do not scrape yet") == 2  # each face's own strip
    for face in contents.faces:
        assert "this round" not in face.table.heads
        assert contents.plans[face.name].not_yet


def test_faces_that_nobody_measured_are_one_line(html, contents):
    assert "Not measured yet: keep." in html
    assert "keep" not in [section.name for section in contents.faces]
    assert not any("keep" in words for words in contents.trust.words)


def test_bed_measured_by_one_indicator_run_says_what_cannot_be_told(tmp_path, survey):
    (tmp_path / "bed.toml").write_text(BED, encoding="utf-8")
    options = ["--face", "rear-flat", "-i", "indicator", "-r", "front-vee"]
    assert main(["import", str(tmp_path), str(survey / "run.csv"), *options]) == 0
    contents = gather(load(tmp_path), inch=False)
    html = render(contents, MADE)
    assert contents.twist.reason and "Cannot be told." in html
    assert any("relative to front-vee" in words for face in contents.faces for words in face.words)
    assert "neither is checked by the other" in html


def test_survey_without_a_traverse_is_refused_in_one_line(tmp_path, capsys):
    (tmp_path / "bed.toml").write_text(BED, encoding="utf-8")
    assert main(["report", str(tmp_path)]) == 1
    assert capsys.readouterr().err.count("\n") == 1
    assert not (tmp_path / "report").exists()


def test_contents_lead_to_every_part_and_landmarks_are_there(html):
    elements = Tables(html).elements
    ids = {attributes["id"] for _, attributes in elements if "id" in attributes}
    linked = [attributes["href"][1:] for tag, attributes in elements if tag == "a"]
    assert {"trust", "bed", "faces", "face-1", "twist", "agreement", "next", "measured"} <= set(linked)
    assert set(linked) <= ids
    assert {"main", "nav", "footer", "header", "aside"} <= {tag for tag, _ in elements}


def test_pictures_follow_a_dark_screen(html):
    """Every ink that a picture shares with the page is a variable that the style sheet sets twice."""
    style = html[html.index("<style>") : html.index("</style>")]
    for ink in set(re.findall(r"var\(--(\w+)", html)):
        assert style.count(f"--{ink}:") == 2, ink
    assert not re.search(r"(?<!, )#1c1c1c", re.sub("<style>.*?</style>", "", html, flags=re.DOTALL))


def test_page_needs_no_network_and_no_script(html):
    elements = Tables(html).elements
    assert not {"script", "link", "iframe", "object"} & {tag for tag, _ in elements}
    for _, attributes in elements:
        for name in ("src", "href", "xlink:href"):
            value = attributes.get(name) or "#"
            assert value.startswith(("#", "data:")), value
    assert not re.search(r"@import|url\((?!#)", html)


def test_names_are_text_and_never_markup(html):
    assert "<b>& $x$</b>" not in html
    assert "invented bed &lt;b&gt;&amp; $x$&lt;/b&gt;" in html


def test_every_picture_is_sound_svg(html):
    pictures = re.findall(r"<svg.*?</svg>", html, flags=re.DOTALL)
    assert len(pictures) == 6  # from the side, the bed, two faces, twist, one comparison
    for picture in pictures:
        ElementTree.fromstring(picture)
    ids = re.findall(r'\bid="([^"]+)"', html)
    assert len(ids) == len(set(ids))


def test_all_cautions_are_met_in_plain_words(html):
    for words in (
        "lock it off", "emergency stop", "leadscrew or chuck", "every foot kept bearing", "never a limb",
        "can tip", "slings", "magnets", "wire whips", "laser", "Scrapers", "solvents", "lead", "dust",
        "chargers", "Never scrape from one survey", "blue and a straightedge", "cool first", "hide wear",
        "Local codes", "licensed practice",
    ):  # fmt: skip
        assert words in html, words


def test_words_of_the_calculation_stay_off_the_page(html):
    text = re.sub(r"<style.*?</style>|<[^>]+>", " ", html, flags=re.DOTALL).lower()
    for word in ("covariance", "redundancy", "likelihood", "nuisance", "null", "nan", "residual", "none)"):
        assert not re.search(rf"\b{re.escape(word)}", text), word


def test_same_survey_gives_the_same_page(survey, html):
    assert render(gather(load(survey), inch=False), MADE) == html


def test_what_was_measured_is_listed_with_what_and_how(html):
    tables = Tables(html).tables
    runs = next(table for table in tables if table[0][0] == "no.")
    assert [row[:3] for row in runs[1:]] == [
        ["1", "front-vee", "level"],
        ["2", "rear-flat", "level"],
        ["3", "front-vee/rear-flat", "cross"],
        ["4", "rear-flat", "indicator"],
    ]
    assert "along front-vee" in runs[4][3] and "from a file" in runs[4][3]
    instruments = next(table for table in tables if table[0][0] == "instrument")
    assert ["level", "level", "µm/m", "100 mm", "± 4 µm/m (95 %)", "none stated"] in instruments


def test_states_of_the_bed_that_differ_are_said(make_traverse, survey):
    bed = load(survey).bed
    runs = [
        make_traverse(bed, "level", [50, 150], [0, 1], face="front-vee", state={"clamped": clamped})
        for clamped in (False, True)
    ]
    assert state_lines(runs)[1:] == ["Traverses 1: free.", "Traverses 2: clamped down."]
    assert state_lines(runs[:1]) == ["The bed: free."]


def test_long_tables_fall_into_blocks_that_lose_no_row():
    rows = [(str(number),) for number in range(201)]
    blocks = in_blocks(rows)
    assert [row for block in blocks for row in block] == rows
    assert max(map(len, blocks)) <= 30


def test_old_report_is_replaced_whole_and_stays_readable(tmp_path, contents):
    folder = tmp_path / "report"
    folder.mkdir()
    (folder / PRINTED).write_text("of last week")
    page = write_report(tmp_path, contents, MADE)
    assert page == folder / PAGE
    assert [path.name for path in tmp_path.iterdir()] == ["report"]
    assert [path.name for path in folder.iterdir()] == [PAGE]
    assert stat.S_IMODE(folder.stat().st_mode) == 0o755


def test_old_report_stands_where_the_new_one_fails(tmp_path, contents, monkeypatch):
    page = write_report(tmp_path, contents, MADE)
    before = page.read_bytes()

    def no_room(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("analysis.report.writing.render", no_room)
    with pytest.raises(AnalysisError, match="No space left"):
        write_report(tmp_path, contents, MADE)
    assert page.read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == ["report"]


def test_report_that_is_no_folder_is_left_alone(tmp_path, contents):
    (tmp_path / "report").write_text("mine")
    with pytest.raises(AnalysisError, match="no folder"):
        write_report(tmp_path, contents, MADE)
    assert (tmp_path / "report").read_text() == "mine"


def test_without_a_browser_the_page_is_written_and_one_line_says_what_to_install(
    survey, tmp_path, monkeypatch, capsys
):
    copy = tmp_path / "copy"
    shutil.copytree(survey, copy)
    monkeypatch.setattr(writing.shutil, "which", lambda _: None)
    assert main(["report", str(copy), "--pdf"]) == 1
    said = capsys.readouterr()
    assert "apt install chromium" in said.err and said.err.count("\n") == 1
    assert (copy / "report" / PAGE).is_file() and "Shape: front-vee is hollow" in said.out


def test_browser_that_prints_nothing_is_told(tmp_path):
    with pytest.raises(AnalysisError, match="printed nothing"):
        print_pdf("<p>words</p>", tmp_path / "page.pdf", Path(shutil.which("true")))


MEASURE = """
<script>
addEventListener("load", () => {
  const faults = [];
  const width = document.documentElement.clientWidth;
  for (const each of document.querySelectorAll("table, figure, p, li, dd")) {
    const box = each.getBoundingClientRect();
    const name = each.tagName + " " + each.textContent.trim().slice(0, 30);
    const slides = getComputedStyle(each).overflowX == "auto";
    if (each.scrollWidth > each.clientWidth + 1 && !slides) faults.push("clipped: " + name);
    if (box.right > width + 1 || box.left < -1) faults.push("off the page: " + name);
  }
  for (const each of document.querySelectorAll("svg text, table")) {
    const box = each.getBoundingClientRect();
    const own = each.closest("svg");
    if (!own) continue;
    const around = own.getBoundingClientRect();
    if (box.right > around.right + 1 || box.left < around.left - 1)
      faults.push("text off its picture: " + each.textContent);
  }
  for (const each of document.querySelectorAll("figure")) {
    const picture = each.querySelector("svg");
    const box = picture && picture.getBoundingClientRect();
    if (!box || box.width < 100 || box.height < 50 || picture.querySelectorAll("path").length < 5)
      faults.push("missing picture");
  }
  const pictures = document.querySelectorAll("figure").length;
  document.body.innerHTML = JSON.stringify({pictures, faults});
});
</script>
"""


def chromium(*options, folder):
    done = subprocess.run(
        [CHROMIUM, *writing.OPTIONS, "--no-sandbox", f"--user-data-dir={folder}/browser", *options],
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done


@needs_browser
@pytest.mark.parametrize("width", [1000, 720, 390])
def test_browser_shows_every_picture_and_clips_no_table(html, tmp_path, width):
    page = tmp_path / "measured.html"
    page.write_text(re.sub(r"<meta http-equiv.*?>", "", html).replace("</body>", MEASURE + "</body>"))
    done = chromium(f"--window-size={width},2000", "--dump-dom", page.as_uri(), folder=tmp_path)
    found = json.loads(re.search(r"<body>(.*)</body>", done.stdout, flags=re.DOTALL).group(1).strip())
    assert found == {"pictures": 6, "faults": []}


def keep_screenshot(picture):
    kept = os.environ.get("WAYLOG_SCREENSHOTS")
    if kept:
        Path(kept).mkdir(parents=True, exist_ok=True)
        shutil.copy(picture, Path(kept) / picture.name)


@needs_browser
def test_browser_has_nothing_to_complain_of(html, tmp_path):
    page, picture = tmp_path / "report.html", tmp_path / "report.png"
    page.write_text(html, encoding="utf-8")
    done = chromium(
        "--enable-logging=stderr", "--window-size=900,4000", f"--screenshot={picture}", page.as_uri(),
        folder=tmp_path,
    )  # fmt: skip
    assert "CONSOLE" not in done.stderr
    assert picture.stat().st_size > 50_000
    keep_screenshot(picture)


@needs_browser
def test_dark_screen_is_dark_and_its_pictures_with_it(html, tmp_path):
    page, picture = tmp_path / "report.html", tmp_path / "report-dark.png"
    page.write_text(html, encoding="utf-8")
    chromium(
        "--blink-settings=preferredColorScheme=0", "--window-size=900,1200", f"--screenshot={picture}",
        page.as_uri(), folder=tmp_path,
    )  # fmt: skip
    grey = matplotlib_image.imread(picture)[..., :3].mean(axis=2)
    assert (grey < 0.25).mean() > 0.75 and (grey > 0.95).mean() < 0.01
    keep_screenshot(picture)


@needs_browser
@pytest.mark.parametrize(("paper", "points"), [("A4", (595, 842)), ("Letter", (612, 792))])
def test_printed_pages_fit_the_paper_and_cut_no_table(contents, tmp_path, paper, points):
    """Paper sizes: ISO 216 (A4, 210 × 297 mm) and ANSI A (8.5 × 11 in), published, in points of 1/72 in."""
    if shutil.which("pdftotext") is None and "WAYLOG_EVERY_PEER_IS_HERE" not in os.environ:
        pytest.skip("no pdftotext on this machine")
    pdf = tmp_path / "report.pdf"
    print_pdf(render(contents, MADE, paper), pdf, Path(CHROMIUM))
    laid = subprocess.run(["pdftotext", "-layout", pdf, "-"], capture_output=True, text=True, check=True)
    boxes = subprocess.run(["pdfinfo", pdf], capture_output=True, text=True, check=True).stdout
    size = re.search(r"Page size:\s+([\d.]+) x ([\d.]+)", boxes).groups()
    assert tuple(round(float(each)) for each in size) == points
    pages = laid.stdout.split("\f")
    # each face's table: its heads and its first and last station stand on one page
    assert [number for number, page in enumerate(pages) if "Leads and chargers" in page] == [0]
    assert "Contents" not in pages[0] and "Contents" in pages[1]
    for name in ("front-vee (1 of 2)", "rear-flat (1 of 2)"):
        page = next(page for page in pages if name in page)
        below = page[page.index(name) :]
        assert "station mm" in below
        assert {"0", "300", "400", "700", "800", "1000"} <= set(below.split())


@needs_browser
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_sheet_for_the_machine_is_one_page_by_itself(contents, tmp_path, paper):
    pdf = tmp_path / "wall.pdf"
    print_pdf(render_wall(contents, MADE, paper), pdf, Path(CHROMIUM))
    assert len(re.findall(rb"/Type\s*/Page\b", pdf.read_bytes())) == 1


@needs_browser
def test_report_prints_the_sheet_alone_beside_the_page(contents, tmp_path):
    page = write_report(tmp_path, contents, MADE, Printing(Path(CHROMIUM), "Letter", is_wall=True))
    assert sorted(path.name for path in page.parent.iterdir()) == [PAGE, SHEET]


@needs_browser
def test_command_prints_the_sheet_on_the_paper_asked_for(survey, tmp_path, capsys):
    """Letter is 612 by 792 points: ANSI A, 8.5 by 11 in (published)."""
    copy = tmp_path / "copy"
    shutil.copytree(survey, copy)
    assert main(["report", str(copy), "--wall", "--paper", "letter"]) == 0
    assert f"sheet for the machine: {copy / 'report' / SHEET}" in capsys.readouterr().out
    boxes = re.findall(rb"/MediaBox\s*\[([^\]]*)\]", (copy / "report" / SHEET).read_bytes())
    assert {tuple(round(float(each)) for each in box.split()) for box in boxes} == {(0, 0, 612, 792)}
    assert not (copy / "report" / PRINTED).exists()
