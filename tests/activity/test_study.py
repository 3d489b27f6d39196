import time
from functools import cache

import numpy as np
import pytest

from skyglint.activity.daily import fit_daily_cycle
from skyglint.activity.populations import amplitudes_of, mass_index_of_all
from skyglint.activity.rates import Rate
from skyglint.activity.response import channel_path
from skyglint.activity.shower_study import activity, shower_area_km2, study_showers
from skyglint.activity.study import clean_echoes, hours_of
from skyglint.echoes.echo import Echo
from skyglint.site import parse_site
from skyglint.sky.showers import load_showers
from skyglint.sky.sun import local_apparent_solar_hour, solar_longitude_deg
from skyglint.store import StoredEcho
from skyglint.utc import parse_utc

SITE = parse_site("""
[site]
name = "Harrow Fell"
latitude_deg = 54.61
longitude_deg = -2.93
height_m = 210
timezone = "Europe/London"
[antenna]
azimuth_deg = 46
elevation_deg = 35
gain_dbi = 6.0
beamwidth_deg = 65
height_above_ground_m = 2.5
polarization = "horizontal"
[receiver]
source = "usb://0"
center_frequency_hz = 98_000_000
sample_rate_hz = 2_400_000
gain_db = 30.0
correction_ppm = 0.0
[[channel]]
name = "north-sea"
role = "target"
kind = "fm"
frequency_hz = 98_300_000
latitude_deg = 58.72
longitude_deg = 6.05
power_w = 60_000
""")
PATH = channel_path(SITE, SITE.channel[0])
LONGITUDE = SITE.site.longitude_deg
PERSEIDS = next(shower for shower in load_showers() if shower.iau_code == "PER")
START = parse_utc("2026-08-01T00:00Z") + 3600.0 * np.arange(24 * 28)
LIMIT_DB = -9.0
LIMITS_DB = LIMIT_DB + np.array([0.0, 0.5, 1.0, 1.5, 2.0, 4.0, 8.0, 16.0, 40.0])
FLUX = 0.02651  # Koschack & Rendtel 1990: ZHR 100 at r = 2.2, per km2 and hour to magnitude 6.5


def hourly(counts, watched_s, channel="north-sea"):
    middle = START + 1800.0
    hour, longitude = local_apparent_solar_hour(middle, LONGITUDE), solar_longitude_deg(middle)
    rows = zip(START, counts, watched_s, longitude, hour, strict=True)
    return [
        Rate(channel, "target", s, s + 3600.0, int(n), w, 0.0, np.nan, np.nan, np.nan, x, h) for s, n, w, x, h in rows
    ]


@cache
def perseid_areas():
    """Return the whole hours and the counted areas times the activity for rising limits, shape (limits, hours)."""
    hours = hours_of(hourly(np.zeros(len(START)), np.full(len(START), 3600.0)), "north-sea")
    profile = activity(PERSEIDS, hours.solar_longitude_deg)
    return hours, np.stack([shower_area_km2(PATH, PERSEIDS, hours.middle_unix, limit) for limit in LIMITS_DB]) * profile


def month(seed, flux=FLUX):
    """Four weeks with gaps: sporadics of a known course and mass index, Perseids of a known flux."""
    generator = np.random.default_rng(seed)
    watched_s = np.where(generator.random(len(START)) < 0.1, 0.0, 3600.0)
    watched_s[300:310] = 0.0
    hours, areas = perseid_areas()
    sporadic = 12 * (1 + 0.5 * np.cos(2 * np.pi * (hours.solar_hour - 6.2) / 24))
    counts = generator.poisson(np.stack([sporadic, flux * areas[0]]) * watched_s / 3600.0)
    peaks_db = [LIMIT_DB - 20 * np.log10(generator.random(counts[0].sum()))]  # mass index 2
    for ratio, n in zip(areas.T / np.maximum(areas[0], 1e-9)[:, None], counts[1], strict=True):
        # The share above a limit is the ratio of the areas counted with it.
        peaks_db.append(np.interp(-generator.random(n), -ratio, LIMITS_DB))
    starts = np.concatenate([np.repeat(START, part) for part in counts]) + generator.uniform(0, 3600, counts.sum())
    order = np.argsort(starts)
    starts, peak_db, counts = starts[order], np.concatenate(peaks_db)[order], counts.sum(axis=0)
    overdense = generator.random(len(starts)) < 0.1
    duration = np.where(overdense, 0.6 * generator.random(len(starts)) ** (-1 / 1.0), 0.2)
    echoes = [
        StoredEcho(
            i,
            1,
            Echo(
                "north-sea",
                start,
                float(length),
                start,
                float(peak),
                0.1,
                "overdense" if heavy else "underdense",
                doppler_hz=float(generator.normal(3.0, 2.0)),
                doppler_sd_hz=1.0,
            ),
        )
        for i, (start, peak, length, heavy) in enumerate(zip(starts, peak_db, duration, overdense, strict=True))
    ]
    return hourly(counts, watched_s), echoes


def test_a_month_of_known_sporadics():
    rates, echoes = month(1, flux=0.0)
    hours = hours_of(rates, "north-sea")
    cycle = fit_daily_cycle(hours.solar_hour, hours.counts, hours.exposure_h, 1.0, hours.night)
    assert float(cycle.mean_per_h) == pytest.approx(12.0, abs=3 * float(cycle.mean_sd_per_h))
    assert float(cycle.amplitude) == pytest.approx(0.5, abs=3 * float(cycle.amplitude_sd))
    assert float(cycle.hour_of_maximum_h) == pytest.approx(6.2, abs=3 * float(cycle.hour_of_maximum_sd_h))
    assert hours.night[-1] - hours.night[0] == 28
    index = mass_index_of_all([amplitudes_of("north-sea", echoes)])
    assert index.low_95 < 2.0 < index.high_95


def test_a_shower_of_known_flux_is_found_and_measured():
    result = study_showers(PATH, *month(2))
    # Everything down to the limit was found: the fullest decibel is the first or, by chance, the next; two more are the
    # margin.
    assert LIMIT_DB + 2.99 < result.limit_snr_db < LIMIT_DB + 4.01
    perseids = next(found for found in result.results if found.shower.iau_code == "PER")
    assert perseids.strength.significance > 8
    assert perseids.strength.low_95 < FLUX < perseids.strength.high_95
    assert perseids.flux.zhr == pytest.approx(100, rel=0.08)
    assert perseids.flux.zhr_low < perseids.flux.zhr < perseids.flux.zhr_high
    assert perseids.flux.limiting_magnitude == pytest.approx(6.5)
    assert perseids.peak.low_95_deg < 140.0 < perseids.peak.high_95_deg
    assert perseids.peak.high_68_deg - perseids.peak.low_68_deg < 0.3


def test_without_a_shower_none_is_found():
    result = study_showers(PATH, *month(3, flux=0.0))
    assert {found.shower.iau_code for found in result.results} >= {"PER", "SDA", "CAP"}
    assert all(abs(found.strength.significance) < 3.5 for found in result.results)
    assert all(found.peak is None for found in result.results)


def test_an_empty_month():
    rates = hourly(np.zeros(len(START)), np.zeros(len(START)))
    assert hours_of(rates, "north-sea").counts.size == 0
    assert study_showers(PATH, rates, []).results == ()
    _, echoes = month(4)
    assert study_showers(PATH, rates, echoes[:100]).hours.counts.size == 0


def test_spoilt_and_foreign_echoes_are_left_out():
    _, echoes = month(5, flux=0.0)
    spoilt = [
        StoredEcho(0, 1, Echo("north-sea", START[0], 0.2, START[0], 60.0, 0.1, "underdense", flags=("clipped",))),
        StoredEcho(0, 1, Echo("other", START[0], 0.2, START[0], 60.0, 0.1, "underdense")),
        StoredEcho(0, 1, Echo("north-sea", START[0], 0.2, START[0], 60.0, 0.1, "aircraft")),
    ]
    assert clean_echoes("north-sea", echoes + spoilt) == echoes


def test_a_month_is_quick():
    rates, echoes = month(6)
    started = time.process_time()
    study_showers(PATH, rates, echoes)
    assert time.process_time() - started < 10.0
