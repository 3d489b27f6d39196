"""A simulated month with known truth, from the database to the page's record."""

import sys

import numpy as np
import pytest

from skyglint.activity.rates import read_rates
from skyglint.errors import RequestError
from skyglint.report.season_gather import gather_season, months_of
from skyglint.store import Store


def test_the_truth_that_was_put_in_comes_out(month_page):
    truth = sys.modules["simulated_months"]
    cycle, month = month_page.cycle, month_page.months[0]
    assert abs(cycle.hour_of_maximum_h - truth.HOUR_OF_MAXIMUM) < 3.0 * cycle.hour_of_maximum_sd_h
    assert abs(cycle.amplitude - truth.AMPLITUDE) < 3.0 * cycle.amplitude_sd
    assert month_page.morning.probability < 1e-6
    perseids = month.showers[0]
    assert perseids.code == "PER"
    assert perseids.significance > 20.0
    width = (perseids.flux.high_per_km2_h - perseids.flux.low_per_km2_h) / 2.0
    assert abs(perseids.flux.flux_per_km2_h - truth.PERSEID_FLUX) < 4.0 * width
    assert 85.0 < perseids.flux.zhr < 115.0
    sporadic = month.by_source["sporadic"]
    assert sporadic.low_95 < truth.MASS_INDEX < sporadic.high_95
    heights = month.heights
    assert np.median(heights) == pytest.approx(95.0, abs=0.3)
    assert np.std(heights) == pytest.approx(4.0, abs=0.2)


def test_the_course_peaks_at_the_showers_maximum(month_page):
    curve = month_page.showers[0].curve
    best = max(curve, key=lambda point: point.flux.zhr)
    assert abs(best.longitude_deg - 140.0) < 0.6


def test_nights_are_the_rows_of_the_table_on_the_scale_of_the_mean_channel(month_page, month_store):
    with Store.open(month_store) as store:
        rows = read_rates(store, "night")
    targets = {entry.channel.name: entry for entry in month_page.channels if entry.channel.role == "target"}
    mean = np.mean([entry.scale for entry in targets.values()])
    for k, evening in enumerate(month_page.evenings):
        own = [
            row
            for row in rows
            if row.channel in targets and abs(row.start_unix - month_page.start_unix - 86400 * k) < 1
        ]
        assert month_page.nights.echoes[k] == sum(row.echoes for row in own), evening
        hours = sum((r.coverage_s - r.busy_s) / 3600.0 * targets[r.channel].scale / mean for r in own)
        assert month_page.nights.exposure_h[k] == pytest.approx(hours)
    # Nights of August that nobody watched have no rate, and no zero.
    unwatched = [k for k, evening in enumerate(month_page.evenings) if evening.day in (1, 2, 25)]
    assert np.isnan(month_page.nights.rate_per_h[unwatched]).all()
    assert np.isnan(month_page.hour_map[:, unwatched]).all()


def test_hours_of_the_map_hold_every_echo_of_the_nights(month_page):
    known = np.isfinite(month_page.hour_map).any(axis=0)
    assert known.tolist() == (month_page.nights.exposure_h > 0).tolist()


def test_channels_say_what_they_lost(month_page):
    channel = month_page.channels[0]
    assert set(channel.lost_s) == {"restart", "receiver lost", "ducting", "not recorded"}
    assert channel.lost_s["ducting"] == pytest.approx(3 * 14_400.0)
    assert channel.lost_s["restart"] == pytest.approx(14 * 120.0)
    total = channel.watched_s + sum(channel.lost_s.values())
    assert total == pytest.approx(month_page.end_unix - month_page.start_unix, abs=1.0)
    assert channel.floor_db == pytest.approx(-58.0, abs=1.6)


def test_meteors_that_two_channels_saw_are_told_from_chance(month_page):
    pairs = {frozenset((pair.first, pair.second)): pair.found for pair in month_page.months[0].pairs}
    shared = pairs[frozenset(("north-sea", "far-fjord"))]
    assert shared.together > 2.0 * shared.by_chance
    assert shared.probability < 1e-6
    apart = pairs[frozenset(("north-sea", "salt-island"))]
    assert apart.probability > 1e-3


def test_operator_and_machine(month_page):
    verdicts = month_page.months[0].verdicts
    assert 10 <= verdicts.judged <= 20
    assert verdicts.judged - verdicts.agreed == sum(number for _, _, number in verdicts.differences)
    assert all(operator == "aircraft" for _, operator, _ in verdicts.differences)


def test_the_place_is_rounded(month_page):
    assert (month_page.latitude_deg, month_page.longitude_deg) == (54.6, -2.9)


def test_a_channel_of_unknown_place_has_no_expectation(month_page):
    by_name = {entry.channel.name: entry for entry in month_page.channels}
    assert by_name["far-fjord"].expected is None
    assert by_name["north-sea"].expected.mean() == pytest.approx(1.0, abs=0.02)
    assert set(month_page.months[0].studies) == {"north-sea", "salt-island"}


def test_the_solar_clock_at_the_paths_middle(month_page):
    by_name = {entry.channel.name: entry for entry in month_page.channels}
    # The middle of 54.6 N 2.9 W and 58.72 N 6.05 E lies at 1.330 E (sum of the two unit vectors, worked apart): 4.230
    # degrees, 17 minutes.
    assert by_name["north-sea"].middle_ahead_h == pytest.approx(4.230 / 15.0, abs=0.001)
    assert np.isnan(by_name["far-fjord"].middle_ahead_h)


def test_calibration_divides_the_flux(month_store, month_page):
    with Store.open(month_store) as store:
        halved = gather_season(store, "2026-08", calibration=2.0)
    one, other = (page.months[0].showers[0].flux for page in (month_page, halved))
    assert other.flux_per_km2_h == pytest.approx(one.flux_per_km2_h / 2.0)
    assert any("calibration factor 2" in text for text in other.assumptions)


@pytest.mark.parametrize("text", ["2026-13", "August", "26", "2026-8", ""])
def test_what_is_no_month_is_refused(text):
    with pytest.raises(RequestError, match="expected a month like 2026-08 or a year like 2026"):
        months_of(text)


def test_a_leap_year_has_its_day():
    assert months_of("2028-02")[0][1].day == 29
    assert len(months_of("2028")) == 12


def test_another_month_is_refused_with_what_there_is(month_store):
    with Store.open(month_store) as store, pytest.raises(RequestError, match="no night in 2026-07: the database holds"):
        gather_season(store, "2026-07")
