import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.activity.bins import solar_hour_edges
from skyglint.activity.rates import Rate
from skyglint.report.together import by_solar_hour, together
from skyglint.sky.sun import local_apparent_solar_hour

SIGMA = math.erf(1.0 / math.sqrt(2.0))


def row(channel, echoes, coverage_s, busy_s=0.0, role="target", hour=3.5):
    return Rate(channel, role, 0.0, 3600.0, echoes, coverage_s, busy_s, 0.0, 0.0, 0.0, 140.0, hour)


def test_counts_add_and_live_time_is_averaged():
    found = together([row("a", 4, 3600.0, 100.0), row("b", 3, 3600.0), row("quiet", 9, 3600.0, role="guard")], SIGMA)
    assert (found.echoes, found.live_s) == (7, 3550.0)
    assert found.rate_per_h == pytest.approx(7.0 / (3550.0 / 3600.0))
    # Gehrels, ApJ 303, 336 (1986), tables 1 and 2: 7 counts have the one-sigma limits 4.419 and 10.77.
    assert found.rate_low_per_h == pytest.approx(4.419 / (3550.0 / 3600.0), rel=2e-3)
    assert found.rate_high_per_h == pytest.approx(10.77 / (3550.0 / 3600.0), rel=2e-3)


def test_no_live_time_has_no_rate():
    assert math.isnan(together([row("a", 0, 0.0)], SIGMA).rate_per_h)
    assert math.isnan(together([], SIGMA).rate_per_h)


def test_two_pieces_of_one_solar_hour_are_one():
    rows = [row("a", 2, 1800.0, hour=11.9), row("a", 4, 1800.0, hour=11.1), row("a", 1, 3600.0, hour=3.5)]
    first, second = by_solar_hour(rows, SIGMA)
    assert (first.solar_hour, first.echoes) == (3, 1)
    assert (second.solar_hour, second.echoes) == (11, 6)


@given(st.floats(1.7e9, 1.9e9), st.floats(60.0, 86_400.0), st.floats(-180.0, 180.0))
def test_edges_are_whole_solar_hours_and_hold_the_span(start, length, longitude_deg):
    edges = solar_hour_edges(start, start + length, longitude_deg)
    assert edges[0] <= start + 1.0
    assert edges[-1] >= start + length - 1.0
    hours = local_apparent_solar_hour(edges, longitude_deg)
    off_s = 3600.0 * np.abs((hours + 0.5) % 1.0 - 0.5)
    assert off_s.max() < 0.012
    assert np.all(np.diff(edges) > 3590.0)
