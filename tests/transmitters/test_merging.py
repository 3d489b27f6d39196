"""The stated rules of merging, on invented stations."""

import math
from dataclasses import replace

from skyglint.transmitters.merging import merge
from skyglint.transmitters.transmitter import Transmitter

ONE = Transmitter("Mossgate", 98.3e6, "fm", 58.72, 6.05, 50_000.0, 0.0, facility="11", source="a")


def test_polarisations_join_and_gaps_are_filled():
    vertical = replace(ONE, erp_horizontal_w=0.0, erp_vertical_w=40_000.0, height_m=720.0, rds_pi="F3A7")
    (joined,), taken = merge([ONE, vertical])
    assert (joined.erp_horizontal_w, joined.erp_vertical_w) == (50_000.0, 40_000.0)
    assert (joined.height_m, joined.rds_pi, taken) == (720.0, "F3A7", 1)
    assert math.isnan(joined.antenna_height_m)


def test_the_surest_status_wins_even_at_another_site():
    planned = replace(ONE, status="planned", erp_horizontal_w=90_000.0, latitude_deg=59.5)
    assert merge([planned, ONE])[0] == [ONE]
    assert merge([planned])[0] == [planned]


def test_other_sites_frequencies_and_lists_stay_apart():
    others = [replace(ONE, latitude_deg=59.0), replace(ONE, frequency_hz=98.5e6), replace(ONE, source="b")]
    assert len(merge([ONE, *others])[0]) == 4


def test_the_same_site_across_the_date_line():
    west, east = replace(ONE, longitude_deg=179.999), replace(ONE, longitude_deg=-179.999)
    assert len(merge([west, east])[0]) == 1
    assert merge([]) == ([], 0)
