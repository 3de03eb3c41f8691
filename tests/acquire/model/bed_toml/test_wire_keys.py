"""Wire tables of bed.toml: checked whole, nested tables too."""

import pytest

from acquire.model.bed_toml.reading import parse_bed
from acquire.model.errors import BedError
from tests.invented import bed_toml, dial

BEFORE = bed_toml(
    400,
    faces=("way",),
    instruments={"dial": dial(0.001, unit="mm", port={"url": "loop://"}), "dial.wire": ""},
)
FIXED = 'kind = "fixed"\nlength = 8\nstart = "AA"\nchecksum = "sum"\n'


@pytest.mark.parametrize(
    "wire",
    [
        "kind = 'lines'\npattern = '(?P<value>.*)'\nask = \"R\\r\\n\"\nevery_s = 0.1",
        "kind = 'lines'\npattern = '(?P<value>\\S+) (?P<unit>\\S+)'\nends = 'cr'\ndecimal = ','",
        FIXED
        + 'value = { at = 1, bcd = 6 }\nunit_bits = { at = 5, mask = 3, units = { 0 = "mm", 1 = "in" } }',
        FIXED + 'value = { at = 1, code = "<f" }\ndecimals = 2\nstatus_bits = { at = 6, mask = 1, good = 0 }',
        'kind = "fixed"\nlength = 2\nvalue = { at = 0, code = ">h" }\nask = "?"',
        'kind = "modbus"\nregister = 4\ntype = "float32"\nword_order = "low-first"\nscale = 0.001',
        'kind = "counter"\ncounts_per_mm = 200\nwrap = 65536\nindex_mm = 12.5',
    ],
)
def test_good_wire_tables_are_taken(wire):
    assert parse_bed(BEFORE + wire).instruments["dial"].wire["kind"] in wire


@pytest.mark.parametrize(
    ("wire", "needed"),
    [
        ("kind = 'morse'", "lines | fixed | modbus | counter"),
        ("kind = 'lines'", "example: found nothing"),
        ("kind = 'lines'\nexample = '1.5'\npattern = '(?P<value>.*)'", "one of the two"),
        ("kind = 'lines'\nexample = 'X +1.5 Y -2.5'", "of several numbers the one that counts in braces"),
        ("kind = 'lines'\nexample = 'ready'", "a line with a number in it"),
        ("kind = 'lines'\nexample = 'X {+1.5} Y {-2.5}'", "one number marked"),
        ("kind = 'lines'\nexample = 'X {Y} -2.5'", "a number in the braces, not 'Y'"),
        ("kind = 'lines'\nexample = '+1,5 mm'\ndecimal = '.'", "',', as in the example"),
        ("kind = 'lines'\nexample = \"+1.5\\u0007\"", "a line as the instrument sends it"),
        ("kind = 'lines'\nexample = '+1.5 um/m'", "a unit that fits what the instrument reads"),
        ("kind = 'lines'\npattern = '(.*)'", "(?P<value>...)"),
        ("kind = 'lines'\npattern = '(?P<value>('", "no regular expression"),
        ("kind = 'lines'\npattern = '(?P<value>\\d+)(?=x)'", "looks ahead"),
        ("kind = 'lines'\npattern = '(?P<value>.*)'\nevery_s = 1", "only with ask"),
        ("kind = 'lines'\npattern = '(?P<value>.*)'\nask = 'a\\x4'", "the request to send"),
        (FIXED + "value = { at = 1 }", "code or bcd"),
        (FIXED + "value = { at = 1, code = 'h' }", '"<" or ">"'),
        (FIXED + "value = { at = 5, code = '<i' }", "first 7 bytes"),
        (FIXED + "value = { at = 1, code = '<h', colour = 3 }", "value.colour"),
        (FIXED + "value = { at = 1, bcd = 6 }\nsign = { at = 7, negative = 1 }", "sign.at"),
        (FIXED + "value = { at = 1, bcd = 6 }\nsign = { at = 2 }", "sign.negative"),
        (FIXED + "value = { at = 1, bcd = 6 }\ndecimals = 12", "0 to 9"),
        (FIXED + "value = { at = 1, bcd = 6 }\nunit_bits = { at = 5, units = { 0 = 'deg' } }", "fits"),
        ('kind = "fixed"\nlength = 4\nvalue = { at = 0, code = ">h" }', "start bytes or a checksum"),
        (
            'kind = "fixed"\nlength = 2\nchecksum = "crc16"\nstart = "AA"\nvalue = { at = 0, code = "b" }',
            "room",
        ),
        ("kind = 'modbus'\nregister = 70000", "0 to 65535"),
        ("kind = 'counter'\ncounts_per_mm = 0", "above 0"),
    ],
)
def test_wrong_wire_tables_are_refused_with_what_was_needed(wire, needed):
    with pytest.raises(BedError) as caught:
        parse_bed(BEFORE + wire)
    assert needed in str(caught.value)


def test_all_mistakes_of_a_wire_table_are_told_in_one_go():
    wire = FIXED + "value = { at = 9, bcd = 99 }\nsign = { at = 1 }\nbaud = 3\nscale = 0"
    with pytest.raises(BedError) as caught:
        parse_bed(BEFORE + wire)
    assert all(
        key in str(caught.value) for key in ("value.bcd", "value.at", "sign.negative", "baud", "scale")
    )


def test_slope_cannot_be_counted_in_counts_per_mm():
    text = (
        BEFORE.replace('"offset"', '"slope"').replace('"mm"', '"mm/m"')
        + "kind = 'counter'\ncounts_per_mm = 2"
    )
    with pytest.raises(BedError, match="counts per mm measure a length"):
        parse_bed(text)
