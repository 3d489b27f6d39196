import numpy as np
import pytest

from skyglint.activity.additive import fit_additive
from skyglint.activity.daily import fit_daily_cycle
from skyglint.activity.scatter import night_numbers, scatter_of
from skyglint.sky.sun import local_apparent_solar_hour
from skyglint.utc import parse_utc

HOURS = (np.arange(24 * 30) + 0.5) % 24
NIGHT = np.arange(24 * 30) // 24
COURSES = np.column_stack([np.ones(720), np.cos(np.pi * HOURS / 12), np.sin(np.pi * HOURS / 12)])
RATE = 8.0 + 4.0 * COURSES[:, 2]


def scatter(counts, night=NIGHT):
    time = np.ones(720)
    return scatter_of(COURSES, counts, time, fit_additive(COURSES, counts, time), night)


def test_poisson_counts_scatter_as_poisson_counts():
    found = scatter(np.random.default_rng(300).poisson(RATE, (300, 720)))
    assert np.mean(found.dispersion) == pytest.approx(1.0, abs=0.02)
    assert np.mean(found.probability < 0.1) == pytest.approx(0.1, abs=0.06)
    # Nights of some 190 echoes tell a scatter of 7 % at best; what is estimated stays well below.
    assert np.median(found.nights_sd) < 0.03
    poisson = np.sqrt(8.0 / 720)
    assert np.median(np.sqrt(found.covariance[:, 0, 0])) == pytest.approx(poisson, rel=0.1)


def test_gusts_from_hour_to_hour_are_not_taken_for_nights():
    generator = np.random.default_rng(7)
    found = scatter(generator.poisson(6 * generator.gamma(3, 1 / 3, 720)))
    assert float(found.dispersion) == pytest.approx(1 + 6 / 3, rel=0.25)  # negative binomial: variance m + m**2 / k
    assert float(found.probability) < 1e-6
    assert float(found.nights_sd) < 0.15


def test_nights_that_scatter_widen_the_mean_and_not_the_hour(as_stated):
    repetitions = 400
    generator = np.random.default_rng(repetitions)
    level = np.repeat(generator.gamma(25.0, 1 / 25.0, (repetitions, 30)), 24, axis=1)
    # Means of the course over each hour: a sine is flattened by sinc(1 h / 24 h).
    rate = 8.0 * (1.0 + 0.5 * np.cos(2 * np.pi * (HOURS - 6.0) / 24) * np.sinc(1 / 24))
    cycle = fit_daily_cycle(HOURS, generator.poisson(rate * level), np.ones(720), 1.0, NIGHT)
    for nominal, sigmas in ((0.6827, 1.0), (0.95, 1.96)):
        assert as_stated(np.abs(cycle.mean_per_h - 8.0) < sigmas * cycle.mean_sd_per_h, nominal)
        assert as_stated(np.abs(cycle.hour_of_maximum_h - 6.0) < sigmas * cycle.hour_of_maximum_sd_h, nominal)
    assert np.median(cycle.nights_sd) == pytest.approx(0.2, abs=0.02)
    # Hours taken for independent would make the mean look three times as sure as it is.
    alone = fit_daily_cycle(HOURS, generator.poisson(rate * level), np.ones(720), 1.0)
    assert np.median(cycle.mean_sd_per_h / alone.mean_sd_per_h) > 1.8


def test_two_nights_cannot_tell_their_scatter():
    found = scatter(np.random.default_rng(1).poisson(RATE), NIGHT // 15)
    assert np.isnan(found.nights_sd)
    assert np.isfinite(found.covariance).all()


@pytest.mark.parametrize("longitude_deg", [-2.9, 100.0, 179.9, -180.0])
def test_nights_run_from_solar_noon_to_solar_noon(longitude_deg):
    unix = parse_utc("2026-10-28T00:30Z") + 3600.0 * np.arange(24 * 10)  # the equation of time turns round here
    hour = local_apparent_solar_hour(unix, longitude_deg)
    number = night_numbers(unix, hour)
    changes = np.flatnonzero(np.diff(number))
    assert np.all(np.diff(number)[changes] == 1)
    assert np.all((hour[changes] < 12.0) & (hour[changes + 1] >= 12.0))
    assert len(changes) >= 9
    assert night_numbers([], []).size == 0
