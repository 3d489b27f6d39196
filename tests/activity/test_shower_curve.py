"""A shower of known strength and profile in three channels."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
from scipy.stats import binom, chi2

from skyglint.activity.month import season_showers
from skyglint.activity.populations import free_of_showers, shower_shares
from skyglint.activity.shower_curve import combine_showers, shower_curve
from skyglint.activity.shower_study import ShowerResult, ShowerStudy, activity, flux_of
from skyglint.activity.strengths import fit_showers
from skyglint.activity.study import Hours
from skyglint.sky.showers import load_showers
from skyglint.sky.sun import local_apparent_solar_hour, solar_longitude_deg
from skyglint.utc import parse_utc

PERSEIDS = next(shower for shower in load_showers() if shower.iau_code == "PER")
#: ZHR 100 at r = 2.2, per km2 and hour to magnitude 6.5 (Koschack & Rendtel 1990).
FLUX = 0.02651


def channel(seed, factor=1.0, flux=FLUX, base_km2=600.0, name="far", levels=1.0, first="2026-08-05"):
    generator = np.random.default_rng(seed)
    start = parse_utc(f"{first}T00:00Z") + 3600.0 * np.arange(24 * 16)
    middle = start + 1800.0
    hour, longitude = local_apparent_solar_hour(middle, -2.9), solar_longitude_deg(middle)
    area = np.maximum(base_km2 * (1.0 + np.cos(2 * np.pi * (hour - 8.0) / 24.0)), 0.0)
    response = area * activity(PERSEIDS, longitude)
    sporadic = 12.0 * (1.0 + 0.4 * np.cos(2 * np.pi * (hour - 6.0) / 24.0))
    exposure = np.where(generator.random(len(start)) < 0.1, 0.0, 0.95)
    counts = generator.poisson(exposure * levels * (sporadic + factor * flux * response)).astype(float)
    watched = exposure > 0
    hours = Hours(start, middle, counts, exposure, hour, longitude)
    hours = hours.where(watched)
    area, response = area[watched], response[watched]
    angle = 2 * np.pi * hours.solar_hour / 24.0
    background = np.stack([np.ones_like(angle), np.cos(angle), np.sin(angle)], axis=-1)
    fit = fit_showers(background, response[:, None], ["PER"], hours.counts, hours.exposure_h, hours.night)
    found = fit.showers[0]
    flux_found = flux_of(float(found.strength), float(found.low_68), float(found.high_68), PERSEIDS)
    result = ShowerResult(name, PERSEIDS, found, flux_found, None, area, response)
    return ShowerStudy(-9.0, (result,), fit, hours)


def test_the_combined_strength_covers_the_truth_as_often_as_it_says():
    inside = 0
    for seed in range(0, 240, 3):
        (shower,) = combine_showers(channel(1000 + seed + k, name=str(k)) for k in range(3))
        assert shower.channels == 3
        inside += shower.flux.low_per_km2_h < FLUX < shower.flux.high_per_km2_h
    # Errors are never narrowed where three channels agree by chance, so that the truth is inside rather too often.
    assert binom.ppf(0.0005, 80, 0.6827) <= inside <= binom.ppf(0.9995, 80, 0.80)


def test_channels_that_disagree_widen_the_error():
    agreeing = combine_showers(channel(k, name=str(k)) for k in range(3))[0]
    scattered = combine_showers(channel(k, factor) for k, factor in enumerate((0.5, 1.0, 1.6)))[0]
    assert agreeing.spread < 2.0 < scattered.spread
    widths = [found.flux.high_per_km2_h - found.flux.low_per_km2_h for found in (agreeing, scattered)]
    assert widths[1] > 2.0 * widths[0]


def test_significances_add_up_as_roots():
    studies = [channel(k) for k in range(4)]
    single = [study.results[0].strength.significance for study in studies]
    (shower,) = combine_showers(studies)
    # Stouffer, equal weights, for independent channels; what their nights share by chance can only lower it.
    assert 0.8 * np.sum(single) / 2.0 < shower.significance < 1.02 * np.sum(single) / 2.0
    assert shower.probability < 1e-9


def test_nights_that_all_channels_share_widen_the_error_of_their_mean():
    generator = np.random.default_rng(1)
    pulls, shared = [], []
    for seed in range(60):
        levels = np.repeat(generator.gamma(44.0, 1 / 44.0, 17), 24)[12 : 12 + 24 * 16]
        (shower,) = combine_showers(channel(3000 + 3 * seed + k, name=str(k), levels=levels) for k in range(3))
        half = (shower.flux.high_per_km2_h - shower.flux.low_per_km2_h) / 2.0
        pulls.append((shower.flux.flux_per_km2_h - FLUX) / half)
        shared.append(half / np.mean([r.flux.high_per_km2_h - r.flux.low_per_km2_h for r in shower.results]) * 2.0)
    # Three channels that were independent would leave 0.58 of the error of one.
    assert np.median(shared) > 0.7
    # Chi-square of sixty pulls, one in a thousand above.
    assert np.sum(np.square(pulls)) < chi2.ppf(0.999, 60)


def test_a_shower_that_is_not_there():
    (shower,) = combine_showers(channel(50 + k, flux=0.0) for k in range(3))
    assert abs(shower.significance) < 3.5
    assert shower.flux.low_per_km2_h < 0.001


def test_the_course_follows_the_profile():
    edges = 140.0 + np.arange(-5.5, 6.0)
    points = shower_curve([channel(k) for k in range(3)], "PER", edges)
    assert len(points) == 11
    longitude = np.array([point.longitude_deg for point in points])
    zhr, low, high = (np.array([getattr(p.flux, name) for p in points]) for name in ("zhr", "zhr_low", "zhr_high"))
    # Mean of the profile over each span, weighted evenly.
    fine = np.mean([PERSEIDS.profile(longitude + step) for step in np.linspace(-0.48, 0.48, 25)], axis=0)
    pull = (zhr - 100.0 * fine) / ((high - low) / 2.0)
    assert np.abs(pull).max() < 4.0
    assert np.argmax(zhr) == 5
    assert sum(point.echoes for point in points) > 1000


def test_a_course_across_zero_degrees():
    study = channel(3)
    turned = replace(
        study, hours=replace(study.hours, solar_longitude_deg=(study.hours.solar_longitude_deg + 220.0) % 360.0)
    )
    one, other = (
        shower_curve([study], "PER", 140.0 + np.arange(-2.5, 3.0)),
        shower_curve([turned], "PER", np.arange(-2.5, 3.0)),
    )
    assert [p.echoes for p in one] == [p.echoes for p in other]
    assert [p.longitude_deg for p in other] == [358.0, 359.0, 0.0, 1.0, 2.0]


def test_a_shower_that_no_channel_has():
    assert shower_curve([channel(3)], "GEM", np.arange(10.0)) == []
    assert combine_showers([]) == []


def month_of(name, **kwargs):
    studies = {str(k): channel(k, name=str(k), **kwargs) for k in range(2)}
    return SimpleNamespace(name=name, studies=studies, showers=tuple(combine_showers(studies.values())))


def test_a_shower_over_a_months_end_stands_once_with_the_strength_of_both():
    # The first sixteen days hold the rise, the next the fall: both tell the strength at the same maximum.
    months = [month_of("2026-07", first="2026-07-28"), month_of("2026-08", first="2026-08-13")]
    (entry,) = season_showers(months, 1.0)
    assert entry.months == ("2026-07", "2026-08")
    assert entry.shower.channels == 2
    assert len(entry.shower.results) == 4
    both, parts = entry.shower.flux, [month.showers[0].flux for month in months]
    width = (both.high_per_km2_h - both.low_per_km2_h) / 2.0
    assert abs(both.flux_per_km2_h - FLUX) < 3.5 * width
    assert width < min(part.high_per_km2_h - part.low_per_km2_h for part in parts) / 2.0 + 1e-9
    # No span of the course stands twice.
    longitude = [point.longitude_deg for point in entry.curve]
    assert len(longitude) == len(set(longitude)) > 10


def test_a_gap_between_months_parts_two_apparitions():
    months = [month_of("2026-01"), SimpleNamespace(name="2026-02", studies={}, showers=()), month_of("2026-03")]
    assert [entry.months for entry in season_showers(months, 1.0)] == [("2026-01",), ("2026-03",)]


def test_hours_that_the_shower_rules_are_told():
    study = channel(4)
    share = shower_shares(study, ["PER"])["PER"]
    near = np.abs(study.hours.solar_longitude_deg - 140.0) < 0.5
    bright = near & (np.abs(study.hours.solar_hour - 8.0) < 3.0)
    assert share[bright].min() > 0.5
    free = free_of_showers(study, ["PER"])
    assert not free[bright].any()
    assert free[study.hours.solar_longitude_deg < 134.0].all()
    assert free_of_showers(study, []).all()
