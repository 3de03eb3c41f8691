"""The pages of hardware_notes on the wire: their tables are a bed.toml, and read what the pages say."""

import re
from pathlib import Path

import pytest

from acquire.model.bed_toml.reading import parse_bed
from acquire.receive.wire.kinds import decoder_for

NOTES = Path(__file__).parents[4] / "hardware_notes"
BED = '[bed]\nname = "invented"\nlength_mm = 400\nstation_pitch_mm = 100\n[faces.way]\nnormal = "up"\n'
PAGES = ["lines.md", "fixed_frames.md", "modbus.md", "counter.md"]


def instruments_of(page):
    text = (NOTES / page).read_text(encoding="utf-8")
    blocks = re.findall(r"```toml\n(.*?)```", text, re.DOTALL)
    bed = parse_bed(BED + "".join(blocks), page)
    return text, bed.instruments


@pytest.mark.parametrize("page", PAGES)
def test_tables_of_the_page_are_a_bed_toml_with_a_decoder_for_each(page):
    _, instruments = instruments_of(page)
    assert instruments and all(decoder_for(instrument) for instrument in instruments.values())


def read(instrument, data):
    return [reading.value for reading in decoder_for(instrument).feed(data, 0.0) if reading.flag == 0]


def test_page_on_lines_says_what_is_read():
    text, instruments = instruments_of("lines.md")
    assert "`D1 +1.250 mm` is read as 1.250 mm" in text and "`D1 +0.0500 in` as 1.27 mm" in text
    assert read(instruments["dial"], b"D1 +1.250 mm\r\nD1 +0.0500 in\r\n") == pytest.approx([1.25, 1.27])
    assert read(instruments["along"], b"X +1.5 Y -2.5\n") == [1.5]
    assert read(instruments["across"], b"X +1.5 Y -2.5\n") == [-2.5]
    assert decoder_for(instruments["box"]).request() == b"R\r\n"


def test_page_on_fixed_frames_shows_a_frame_that_its_table_reads():
    text, instruments = instruments_of("fixed_frames.md")
    shown = re.search(r"\| hex \| (.*) \|", text)[1].replace(" | ", " ")
    assert read(instruments["dial"], bytes.fromhex(shown)) == [-1.25]


def test_page_on_modbus_shows_the_request_and_a_reply():
    text, instruments = instruments_of("modbus.md")
    request, reply = re.findall(r"`((?:[0-9A-F]{2} ){6,7}[0-9A-F]{2})`", text)
    assert decoder_for(instruments["air"]).request() == bytes.fromhex(request)
    assert read(instruments["air"], bytes.fromhex(reply)) == pytest.approx([20.5])


def test_page_on_counters_shows_lines_that_its_table_reads():
    text, instruments = instruments_of("counter.md")
    assert "`C400 Z`, `C600` are 12.5 mm and 13.5 mm" in text
    assert read(instruments["scale"], b"C400 Z\nC600\n") == [12.5, 13.5]
