"""The FM Query text: real rows of both layouts (tests/data/transmitters/README.md), then broken ones."""

import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.transmitters import fcc_text
from skyglint.transmitters.merging import merge

DATA = Path(__file__).parents[1] / "data" / "transmitters"


def read(name):
    return fcc_text.read((DATA / name).read_text(encoding="utf-8").splitlines(), name)


def test_older_layout():
    listing = read("fcc-text-2016.txt")
    assert not listing.rejections
    assert listing.set_aside == {"deleted station": 1, "allotment or rule-making": 1}
    first = listing.transmitters[0]
    # The row says N 27 7 54.00, W 82 23 39.00, 100 kW in both polarisations, 125 m above the sea, 120 m above ground.
    assert (first.latitude_deg, first.longitude_deg) == pytest.approx((27.131667, -82.394167), abs=1e-6)
    assert (first.frequency_hz, first.erp_horizontal_w, first.erp_vertical_w) == (88_100_000, 100e3, 100e3)
    assert (first.height_m, first.antenna_height_m, first.status) == (125.0, 120.0, "licensed")
    assert not first.directional


def test_one_polarisation_and_the_kinds_of_rows():
    by_line = {t.line: t for t in read("fcc-text-2016.txt").transmitters}
    # Line 2: 0. kW horizontal, 0.11 kW vertical, 0.0 m and 18. m above the sea. Line 3: directional, 0.05 and 50 kW.
    assert (by_line[2].erp_horizontal_w, by_line[2].erp_vertical_w, by_line[2].height_m) == (0.0, 110.0, 18.0)
    assert by_line[3].directional
    assert by_line[3].erp_w == 50_050.0
    assert {by_line[6].status, by_line[7].status} == {"auxiliary", "planned"}


def test_newer_layout():
    listing = read("fcc-text-2026.txt")
    assert not listing.rejections
    kuvo, wlhv = listing.transmitters[2:]
    # N 39 40 24.3, W 105 13 4.5; and a row with no horizontal power and a blank height above ground.
    assert (kuvo.latitude_deg, kuvo.longitude_deg) == pytest.approx((39.673417, -105.217917), abs=1e-6)
    assert (wlhv.erp_horizontal_w, wlhv.erp_vertical_w) == (0.0, 910.0)
    assert math.isnan(wlhv.antenna_height_m)


def test_rows_of_one_station_merge():
    merged, taken = merge(read("fcc-text-2026.txt").transmitters)
    # Two rows of one facility: the licence counts, the auxiliary goes.
    assert [t.line for t in merged] == [1, 3, 4]
    assert taken == 1


GOOD = (DATA / "fcc-text-2016.txt").read_text(encoding="utf-8").splitlines()[0]


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        ("88.1  MHz", "9x.1  MHz", "frequency is '9x.1  MHz': expected a number"),
        ("88.1  MHz", "8.81  MHz", "frequency is 8.81 MHz and channel 201: they do not belong together"),
        ("88.1  MHz |FM |201", "8.81  MHz |FM |-", "frequency is 8.81 MHz: expected 20 to 1500"),
        ("|N |27 |7 ", "|N |27 |77", "latitude is 27 77 54.00: minutes and seconds go to 59"),
        ("|N |27 |", "|X |27 |", "latitude has the direction 'X'"),
        ("|100.   kW |100.   kW |", "|-      kW |-      kW |", "no power is stated"),
        ("|FM |201 ", "|ZZ |201 ", "service is 'ZZ'"),
        ("|LIC    |", "|???    |", "status is '???'"),
    ],
)
def test_a_bad_row_is_reported_by_line_and_the_rest_is_read(old, new, reason):
    listing = fcc_text.read([GOOD, "", GOOD.replace(old, new), "no bars here"], "list.txt")
    assert len(listing.transmitters) == 1
    assert str(listing.rejections[0]).startswith("list.txt: line 3: ")
    assert reason in listing.rejections[0].reason
    assert listing.rejections[1].line == 4


@given(st.text(max_size=200))
def test_no_text_breaks_the_reader(text):
    lines = [text, GOOD]
    listing = fcc_text.read(lines, "list.txt")
    assert len(listing.transmitters) == 1
    assert len(listing.rejections) == (1 if text.strip() else 0)


@given(st.integers(0, 38), st.text(alphabet="0123456789.-NSEWkM |", max_size=12))
def test_no_damaged_field_breaks_the_reader(field, value):
    pieces = GOOD.split("|")
    pieces[field] = value
    listing = fcc_text.read(["|".join(pieces)], "list.txt")
    assert len(listing.transmitters) + len(listing.rejections) + sum(listing.set_aside.values()) == 1
    for one in listing.transmitters:
        assert 0 < one.erp_w < 2e7
        assert -90 <= one.latitude_deg <= 90
