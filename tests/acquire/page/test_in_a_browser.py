"""The page in a real browser, on a phone and on a tablet, touched as a finger does."""

import os
from contextlib import contextmanager
from dataclasses import replace

import pytest

from acquire.model.companion import Prediction
from acquire.model.errors import RecordingError
from acquire.page import run as run_module
from acquire.page.beginning import Helpers
from acquire.page.desk import Desk
from acquire.record.keeping import lines_of
from acquire.store import files_of, read_traverse
from acquire.store.journal import begin
from analysis.draw.set_up import set_up

from .browsing import CHROMIUM, browser, until
from .conftest import INCH_BED, command, in_doubt, needs_extra, serving, wish

pytestmark = [
    pytest.mark.whole,
    needs_extra,
    pytest.mark.skipif(
        CHROMIUM is None and "WAYLOG_EVERY_PEER_IS_HERE" not in os.environ,
        reason="no chromium on this machine",
    ),
]
PHONE, TABLET = 360, 1024
FINGER_PX = 56
"""Height of a key that is hit without looking for it, with gloves on: common practice, from memory."""


@pytest.fixture(scope="module")
def chromium(tmp_path_factory):
    with browser(tmp_path_factory.mktemp("chromium")) as running:
        yield running


@pytest.fixture(autouse=True)
def every_phone_is_put_away(chromium):
    yield
    chromium.put_away()


@pytest.fixture
def desk(survey):
    made = Desk(survey, ["caution: isolate the machine and lock it off first;"], Helpers(set_up=set_up))
    made.begin(wish("vial"))
    yield made
    made.close()


def journal_words(survey):
    found = files_of(survey, "journal")
    return [(line.station_mm, line.words) for path in found.values() for line in lines_of(path)]


def told(page, words):
    page.until(f"document.getElementById('stored').textContent.startsWith('{words}')")


def stored(page, place):
    told(page, f"stored: {place}")


def at_place(page, place):
    page.until(f"document.getElementById('place').textContent === '{place}'")


@contextmanager
def on_phone(chromium, desk, place="100 mm"):
    """The page of a desk on a phone, open at its first station."""
    with serving(desk) as asker:
        page = chromium.page(PHONE)
        page.open(asker.link)
        at_place(page, place)
        yield page


FAULTS = """(() => {
  const found = [], width = document.documentElement.clientWidth;
  if (document.documentElement.scrollWidth > width) found.push("wider than the screen");
  for (const e of document.querySelectorAll("button, select, summary")) {
    const b = e.getBoundingClientRect(), name = e.textContent.trim().slice(0, 20);
    if (!b.height) continue;
    if (b.height < FINGER || b.width < FINGER) found.push(`small: ${name}, ${b.width} x ${b.height}`);
    if (e.tagName !== "SELECT" && e.scrollWidth > e.clientWidth + 1) found.push(`cut off: ${name}`);
  }
  for (const e of document.querySelectorAll("button, select, input, section, [role=group]")) {
    const written = e.ariaLabel || e.textContent.trim() || e.getAttribute("aria-labelledby");
    if (!written && !e.labels?.length) found.push("without a name: " + e.outerHTML.slice(0, 60));
  }
  return found;
})()""".replace("FINGER", str(FINGER_PX))


def choose(page, name, value):
    page.value(
        f"(() => {{ const e = document.getElementById('{name}'); e.value = '{value}';"
        " e.dispatchEvent(new Event('change')); })()"
    )


def test_run_is_typed_on_a_phone_from_the_first_station_to_the_traverse(chromium, survey, desk, tmp_path):
    with on_phone(chromium, desk) as page:
        assert "isolate the machine" in page.words("#cautions")
        page.photograph("page-phone-begun", tmp_path)
        page.touch("#cautions-seen")
        assert page.words("#feet") == "feet at 0 mm and 200 mm" and page.words("#count") == "1 of 4"
        page.type("-1.5")
        stored(page, "100 mm")
        assert page.words("#stored") == "stored: 100 mm: −1.5 div = −30 µm/m (−0.36 thou/ft)"
        for words, place in (("2", "300 mm"), ("0.5", "500 mm"), ("1", "700 mm")):
            at_place(page, place)
            page.type(words)
            stored(page, place)
        assert page.value(FAULTS) == []
        page.touch("#finish")
        page.says("#sure", "All stations are read")
        page.touch("#sure-yes")
        page.shows("ended")
        assert "4 readings of way by vial" in page.words("#ended")
        assert page.complaints() == []
    kept = read_traverse(files_of(survey)[1])
    assert kept.complete and kept.stations.reading.tolist() == [-30, 40, 10, 20]


@pytest.mark.parametrize(
    ("width", "is_dark"), [(PHONE, False), (PHONE, True), (TABLET, False), (TABLET, True)]
)
def test_keys_are_large_and_nothing_is_cut_off(chromium, desk, tmp_path, width, is_dark):
    with serving(desk) as asker:
        page = chromium.page(width, 1100 if width == TABLET else 780)
        scheme = {"name": "prefers-color-scheme", "value": "dark" if is_dark else "light"}
        page.call("Emulation.setEmulatedMedia", features=[scheme])
        page.open(asker.link)
        at_place(page, "100 mm")
        page.touch("#cautions-seen")
        for key in "12.5":
            page.touch(f'.keys [data-key="{key}"]')
        page.says("#typed", "+12.5 div")
        assert page.value(FAULTS) == []
        if width == PHONE:
            for each in ("#stands", "#so-far"):
                page.touch(f"{each} summary")
                page.until(f"document.querySelector('{each}').open")
        assert page.value(FAULTS) == [] and "+ means" in page.words("#signs")
        if width == PHONE:
            page.value("document.querySelectorAll('details').forEach((e) => { e.open = false; })")
        page.photograph(
            f"page-{'tablet' if width == TABLET else 'phone'}{'-dark' if is_dark else ''}", tmp_path
        )
        ground = page.value("getComputedStyle(document.body).backgroundColor")
        assert (sum(map(int, ground[4:-1].split(","))) < 100) is is_dark


def test_keypad_is_in_sight_with_the_station_and_store(chromium, desk):
    """What is needed for one reading fits on a small phone without scrolling, once the cautions are seen."""
    with on_phone(chromium, desk) as page:
        page.touch("#cautions-seen")
        page.value("scrollTo(0, 0)")
        assert page.value("document.querySelector('.keys .main').getBoundingClientRect().bottom") <= 780


def test_readings_typed_without_connection_wait_and_are_stored_once_in_order(chromium, survey, desk):
    with on_phone(chromium, desk) as page:
        page.type("1")
        stored(page, "100 mm")
        page.connect(False)
        for words, place in (("2", "500 mm"), ("-3", "700 mm")):
            page.type(words)
            at_place(page, place)
        told(page, "2 readings wait on this phone")
        assert "NO CONNECTION" in page.words("#connection")
        page.touch("#back")
        page.says("#last", "now −3")
        assert journal_words(survey) == [(100, "1")]
        page.connect(True)
        stored(page, "500 mm")
        page.until("document.getElementById('connection').textContent === 'connected'")
    assert journal_words(survey) == [(100, "1"), (300, "2"), (500, "-3")]


def test_what_waits_outlives_a_page_that_is_closed(chromium, survey, desk):
    with serving(desk) as asker:
        page = chromium.page(PHONE)
        page.open(asker.link)
        at_place(page, "100 mm")
        page.connect(False)
        page.type("-1")
        told(page, "1 reading waits")
        page.open("about:blank")
        page.connect(True)
        page.open(asker.link)
        stored(page, "100 mm")
    assert journal_words(survey) == [(100, "-1")]


def test_disk_that_takes_no_more_is_shown_and_the_reading_waits_on_the_phone(
    chromium, survey, desk, monkeypatch
):
    def full(writer, line):
        raise RecordingError(str(writer.path), "recording must stop (No space left on device)", "room")

    with on_phone(chromium, desk) as page:
        with monkeypatch.context() as patch:
            patch.setattr(run_module, "keep_line", full)
            page.type("1")
            page.says("#entry-refused", "No space left")
            assert "waits on this phone" in page.words("#stored") and journal_words(survey) == []
        stored(page, "100 mm")
    assert journal_words(survey) == [(100, "1")]


def test_run_that_the_others_contradict_is_mended_by_a_finger(chromium, survey, tmp_path):
    desk = Desk(survey, helpers=Helpers(set_up=set_up), run_doubt=in_doubt)
    with serving(desk) as asker:
        page = chromium.page(PHONE)
        for number in (1, 2):
            desk.begin(wish("level"))
            for place in (100, 300, 500, 700):
                asker.reading("3", float(place), sent_as=f"reading-{number}-{place}")
            page.open(asker.link)
            at_place(page, "all read")
            page.touch("#finish")
            page.touch("#sure-yes")
            page.until(f"document.querySelector('#ended h2').textContent.startsWith('Run {number} is')")
        assert "run 2 has its sign turned" in page.words("#ended")
        page.photograph("page-phone-slip", tmp_path)
        page.touch("#ended-questions button")
        page.says("#ended", "taken as sign")
    assert read_traverse(files_of(survey)[2]).stations.reading.tolist() == [-3, -3, -3, -3]


def test_reading_whose_answer_was_lost_is_sent_again_and_kept_once(chromium, survey, desk):
    with on_phone(chromium, desk) as page:
        page.swallow_answers("/reading")
        page.type("1")
        until(lambda: page.value("1") and journal_words(survey), "the reading on disk")
        told(page, "1 reading waits on this phone")
        page.swallow_answers("")
        stored(page, "100 mm")
    assert journal_words(survey) == [(100, "1")]


def test_server_that_comes_back_under_the_same_link_gets_what_waited(chromium, survey, desk):
    page = chromium.page(PHONE)
    with serving(desk) as asker:
        page.open(asker.link)
        at_place(page, "100 mm")
        page.type("1")
        stored(page, "100 mm")
    desk.close()
    page.type("2")
    page.type("3")
    told(page, "2 readings wait")
    again = Desk(survey, helpers=Helpers(set_up=set_up))
    again.begin(wish("vial"))
    with serving(again, asker.port):
        stored(page, "500 mm")
    assert journal_words(survey) == [(100, "1"), (300, "2"), (500, "3")]
    again.close()


def test_new_link_after_a_restart_takes_over_what_waits_on_the_phone(chromium, survey):
    page = chromium.page(PHONE)
    with command(survey, "way", "-i", "vial") as (_, asker):
        page.open(asker.link)
        at_place(page, "100 mm")
        page.type("1")
        stored(page, "100 mm")
    page.type("2")
    told(page, "1 reading waits")
    with command(survey, "way", "-i", "vial", port=asker.port) as (_, new):
        page.says("#connection", "no longer valid")
        assert journal_words(survey) == [(100, "1")]
        page.open(new.link)
        stored(page, "300 mm")
    assert journal_words(survey) == [(100, "1"), (300, "2")]


class Company:
    """Has seen this way before: level everywhere."""

    def profile_lines(self, stations, columns):
        return []

    def predict(self, stations, station_mm):
        return Prediction(0.0, 2.0, "the reverse run")


def test_doubt_is_asked_about_and_no_key_answers_it(chromium, survey, tmp_path):
    desk = Desk(survey, helpers=Helpers(lambda *_: Company(), set_up))
    desk.begin(wish("vial"))
    with on_phone(chromium, desk) as page:
        page.type("-15")
        page.shows("doubt")
        assert "is 15 div off what the reverse run says" in page.words("#doubt")
        assert page.words("#place") == "100 mm" and page.value("document.getElementById('keypad').hidden")
        instrument_types(page, "7", 10_000)
        assert "while a question stands is not taken" in page.words("#entry-refused")
        page.photograph("page-phone-doubt", tmp_path)
        assert journal_words(survey) == [(100, "-15")]
        page.touch("#doubt-again")
        page.type("0.5")
        at_place(page, "300 mm")
        page.type("20")
        page.shows("doubt")
        page.touch("#doubt-keep")
        page.hides("doubt")
        at_place(page, "500 mm")
    assert journal_words(survey) == [(100, "-15"), (100, "0.5"), (300, "20")]
    desk.close()


def test_two_phones_at_one_station_are_told_and_one_of_them_decides(chromium, survey, desk, tmp_path):
    with serving(desk) as asker:
        one, other = chromium.page(PHONE), chromium.page(PHONE)
        for page in (one, other):
            page.open(asker.link)
            at_place(page, "100 mm")
        other.connect(False)
        other.type("4")
        one.type("3")
        stored(one, "100 mm")
        other.connect(True)
        other.shows("refused")
        assert "100 mm: 4 is NOT stored: 3 was stored there meanwhile" in other.words("#refused")
        other.photograph("page-phone-conflict", tmp_path)
        assert journal_words(survey) == [(100, "3")]
        other.touch("#refused button")
        stored(other, "100 mm")
        one.until("document.querySelector('#so-far td:nth-child(2)').textContent.startsWith('4 div')")
    assert journal_words(survey) == [(100, "3"), (100, "4")]


def test_both_ends_of_the_bubble_are_asked_for_once_it_has_come_to_rest(chromium, survey):
    desk = Desk(survey, helpers=Helpers(set_up=set_up))
    desk.begin(replace(wish("vial"), vial=True))
    with on_phone(chromium, desk) as page:
        assert "hands off, let it settle" in page.words("#settle")
        page.type("-1.5")
        page.says("#typed", "−1.5 / ")
        assert journal_words(survey) == []
        page.type("2.5")
        stored(page, "100 mm")
        assert page.words("#stored").startswith("stored: 100 mm: −1.5 / 2.5 div = 10 µm/m")
    assert journal_words(survey) == [(100, "-1.5 / 2.5")]
    desk.close()


def test_what_is_no_reading_is_said_and_the_page_goes_back_to_where_it_was_read(chromium, survey, desk):
    with on_phone(chromium, desk) as page:
        instrument_types(page, "12 kg", 10_000)
        page.shows("refused")
        assert "100 mm: 12 kg is NOT stored: found '12 kg'; needed: a number" in page.words("#refused")
        at_place(page, "100 mm")
        page.touch("#refused button")
        page.hides("refused")
    assert journal_words(survey) == []


def instrument_types(page, words, at_ms):
    """A burst of keys, a millisecond apart, and Enter: when each was struck is said, not waited for."""
    page.value(f"""(() => {{
        [...{words!r}, "Enter"].forEach((key, k) => {{
          const event = new KeyboardEvent("keydown", {{ key, bubbles: true, cancelable: true }});
          Object.defineProperty(event, "timeStamp", {{ value: {at_ms} + k }});
          (document.activeElement ?? document.body).dispatchEvent(event);
        }}); }})()""")


def test_what_an_instrument_types_is_a_reading(chromium, survey, desk):
    with on_phone(chromium, desk) as page:
        instrument_types(page, "-0.05 mm/m", 10_000)
        at_place(page, "300 mm")
        page.touch("#again")
        page.says("#count", "2 of 5, reading 2 here")
        page.type("-2")
        at_place(page, "300 mm")
        page.touch("#gap")
        at_place(page, "500 mm")
        page.touch("#back")
        page.says("#gap", "Strike it out")
        instrument_types(page, "1.5", 20_000)  # though "Back one" was touched last, Enter stores
        stored(page, "300 mm")
    assert journal_words(survey) == [(100, "-0.05 mm/m"), (100, "-2"), (300, "-"), (300, "1.5")]


def test_key_of_an_instrument_pressed_twice_is_one_more_reading_where_it_stands(chromium, survey, desk):
    """As at the prompt (`entry/typed_by`): within a second twice at one place, a memory read out goes on."""
    with on_phone(chromium, desk) as page:
        instrument_types(page, "1.5", 10_000)
        instrument_types(page, "1.6", 10_500)
        at_place(page, "300 mm")
        instrument_types(page, "2.5", 20_000)
        instrument_types(page, "3.5", 20_010)
        at_place(page, "700 mm")
        stored(page, "500 mm")
    assert journal_words(survey) == [(100, "1.5"), (100, "1.6"), (300, "2.5"), (500, "3.5")]


def test_inch_survey_is_inch_throughout(chromium, survey):
    (survey / "bed.toml").write_text(INCH_BED, encoding="utf-8")
    desk = Desk(survey, helpers=Helpers(set_up=set_up))
    desk.begin(wish("dial", reference="line"))
    with on_phone(chromium, desk, "0 in") as page:
        choose(page, "unit", "thou")
        page.type("-1.5")
        stored(page, "0 in")
        assert page.words("#stored") == "stored: 0 in: −1.5 thou = −1.50 thou (−38 µm)"
    desk.close()


def test_run_is_begun_from_the_page(chromium, survey, tmp_path):
    desk = Desk(survey, ["caution: lock it off;"], Helpers(set_up=set_up))
    with serving(desk) as asker:
        page = chromium.page(PHONE)
        page.open(asker.link)
        page.until("document.getElementById('begin-instrument').options.length === 3")
        choose(page, "begin-instrument", 2)
        sides = page.value("[...document.getElementById('begin-side').options].map((o) => o.textContent)")
        assert "way along rear" in sides and "way along way" not in sides and "along way" not in sides
        assert page.value(FAULTS) == []
        page.photograph("page-phone-begin", tmp_path)
        choose(page, "begin-side", sides.index("way along rear"))
        page.touch("#begin .main")
        at_place(page, "0 mm")
        assert page.words("#entry-head") == "Run 1: way along rear by dial, forward"
        setup = desk.run.writer.setup
        assert (setup.face, setup.reference, setup.direction) == ("way", "rear", "forward")
        page.touch("#leave")
        page.touch("#sure-yes")
        page.shows("begin")
    assert files_of(survey, "journal") == {}


def test_live_figures_of_a_recording_are_shown(chromium, survey, level_setup, tmp_path):
    desk = Desk(survey, helpers=Helpers(set_up=set_up))
    with serving(desk) as asker, begin(survey, replace(level_setup, position="stations")) as writer:
        page = chromium.page(PHONE)
        page.open(asker.link)
        for k in range(60):
            if k == 10:
                writer.event(1.0, "mark")
            writer.chunk("level", k / 10, b"-12.5\r\n")
        page.until("document.getElementById('live-reading').textContent === '−12.5 µm/m'")
        page.says("#live-taken", "the last 100 mm: −12 µm/m")
        writer.event(7.0, "lost", "level: lost; trying again")
        page.says("#live-problem", "lost")
        assert page.value(FAULTS) == []
        page.photograph("page-phone-live", tmp_path)
        writer.path.unlink()
        page.hides("live")
        assert page.complaints() == []
