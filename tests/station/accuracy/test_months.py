"""Simulated months: the generator does what it says, and the measurement counts as it should."""

import numpy as np
import pytest

from skyglint.sky.sun import local_apparent_solar_hour, solar_longitude_deg
from skyglint.station.accuracy.month_world import DAYS, START_UNIX, almanac_sun, make_month, site
from skyglint.station.accuracy.months import coverage_of, measure_months, month_intervals
from skyglint.utc import parse_utc


@pytest.fixture(scope="module")
def month():
    return make_month(np.random.default_rng(3))


def test_the_almanacs_sun_agrees_with_the_full_one():
    # Two ways that share nothing: low-precision series of the Astronomical Almanac, and the full ephemeris.
    unix = START_UNIX + 3600.0 * np.arange(24 * DAYS)
    longitude, hour = almanac_sun(unix)
    assert np.abs((longitude - solar_longitude_deg(unix) + 180.0) % 360.0 - 180.0).max() < 0.012
    full = local_apparent_solar_hour(unix, site().site.longitude_deg)
    assert np.abs((hour - full + 12.0) % 24.0 - 12.0).max() < 0.003
    assert parse_utc("2026-08-01T12:00:00Z") == START_UNIX


def test_a_month_holds_what_was_put_in(month):
    lost = {span.reason for span in month.coverage if span.state == "lost"}
    assert lost == {"receiver lost", "ducting", "restart", "gap"}
    meteors = [stored.echo for stored in month.sporadic if stored.echo.echo_class != "interference"]
    for k, channel in enumerate(site().channel):
        own = [echo for echo in meteors if echo.channel == channel.name]
        watched = [s for s in month.coverage if s.channel == channel.name and s.state == "watched"]
        hours = sum(span.end_unix - span.start_unix for span in watched) / 3600.0
        found = month.truth.found_per_h(k) * month.watched_course[k]
        # Thirty nights that scatter by 14 % know their mean to 2.6 %.
        assert len(own) / hours == pytest.approx(found, rel=4 * 0.027)
        starts = np.array([echo.start_unix for echo in own])
        inside = sum(np.count_nonzero((starts >= s.start_unix) & (starts < s.end_unix)) for s in watched)
        assert inside == len(own)
    assert len(month.echoes) > 1.05 * len(month.sporadic)


def test_results_lie_near_the_truth(month):
    found = month_intervals(month)
    assert len(found) == 10
    for name, (truth, best, low, high, least, most) in found.items():
        assert least < low < high < most, name
        assert abs(best - truth) < 2.5 * (high - low), name


def test_coverage_counts_what_lies_inside():
    rows = [(0.0, x, x - 1.0, x + 1.0, x - 2.0, x + 2.0) for x in (-2.5, -1.5, 0.0, 0.5, np.nan)]
    told = coverage_of(rows)
    assert (told.months, told.held_68_percent, told.held_95_percent) == (4, 50.0, 75.0)
    assert told.mean_pull == pytest.approx(-3.5 / 4)


def test_every_quantity_is_told():
    names = dict(measure_months(1, 5))
    assert {"hour of maximum", "flux, all channels", "longitude of the maximum"} < set(names)
    assert all(figure.months == 1 for figure in names.values())
