import numpy as np
import pytest

from skyglint.activity.daily import daily_courses
from skyglint.activity.strengths import fit_peak, fit_showers, locate_peak

# Twelve days of hours around a maximum at solar longitude 140.0; the Sun moves 0.96 degrees a day there. The response
# is an area in km2 that swings through the day, and is nothing for four hours of it.
HOUR = (np.arange(288) + 0.5) % 24
LONGITUDE = 140.0 + 0.96 * (np.arange(288) - 144) / 24
AREA = np.maximum(9000 + 9000 * np.cos(2 * np.pi * (HOUR - 10) / 24), 600)
PROFILE = 10.0 ** (-0.35 * np.abs(LONGITUDE - 140.0))
SPORADIC = 15 * (1 + 0.5 * np.cos(2 * np.pi * (HOUR - 6) / 24))
BACKGROUND = daily_courses(HOUR)
EXPOSURE = np.where(np.random.default_rng(1).random(288) < 0.12, 0.0, 0.85)


def simulated(flux, seed, repetitions):
    return np.random.default_rng(seed).poisson(EXPOSURE * (SPORADIC + flux * AREA * PROFILE), (repetitions, 288))


@pytest.mark.parametrize("flux", [1e-3, 2e-4])
def test_coverage_of_the_strength(flux, as_stated):
    counts = simulated(flux, 600, 600)
    (shower,) = fit_showers(BACKGROUND, AREA * PROFILE, ["PER"], counts, EXPOSURE).showers
    assert np.mean(shower.strength) == pytest.approx(flux, abs=0.15 * np.std(shower.strength))
    assert as_stated((shower.low_68 < flux) & (flux < shower.high_68), 0.6827)
    assert as_stated((shower.low_95 < flux) & (flux < shower.high_95), 0.95)


def test_significances_without_a_shower_are_normal():
    (shower,) = fit_showers(BACKGROUND, AREA * PROFILE, ["PER"], simulated(0.0, 400, 400), EXPOSURE).showers
    assert np.std(shower.significance) == pytest.approx(1.0, abs=0.12)
    assert np.mean(shower.probability < 0.1) == pytest.approx(0.1, abs=0.05)


def test_two_showers_at_once():
    other = np.maximum(9000 + 9000 * np.cos(2 * np.pi * (HOUR - 20) / 24), 0)
    counts = np.random.default_rng(4).poisson(EXPOSURE * (SPORADIC + 1e-3 * AREA * PROFILE + 5e-4 * other * PROFILE))
    fit = fit_showers(BACKGROUND, np.column_stack([AREA, other]) * PROFILE[:, None], ["PER", "SDA"], counts, EXPOSURE)
    assert [shower.name for shower in fit.showers] == ["PER", "SDA"]
    for shower, truth in zip(fit.showers, (1e-3, 5e-4), strict=True):
        assert shower.low_95 < truth < shower.high_95
        assert shower.significance > 3
    assert fit.background[0] == pytest.approx(15, rel=0.15)


def test_gusts_lower_the_significance():
    generator = np.random.default_rng(5)
    rate = EXPOSURE * (SPORADIC + 1e-3 * AREA * PROFILE)
    plain = fit_showers(BACKGROUND, AREA * PROFILE, ["PER"], generator.poisson(rate), EXPOSURE)
    gusty = fit_showers(
        BACKGROUND, AREA * PROFILE, ["PER"], generator.poisson(rate * generator.gamma(3, 1 / 3, 288)), EXPOSURE
    )
    assert gusty.dispersion > 2
    assert gusty.dispersion_probability < 0.01
    widths = [fit.showers[0].high_68 - fit.showers[0].low_68 for fit in (plain, gusty)]
    assert widths[1] > 1.8 * widths[0]


def test_coverage_of_the_peak(as_stated):
    near = np.abs(LONGITUDE - 140) < 3
    counts = simulated(2e-3, 800, 800)[:, near]
    candidates = 140.003 + np.arange(-0.4, 0.4, 0.025)
    peak = fit_peak(BACKGROUND[near], AREA[near], LONGITUDE[near], counts, EXPOSURE[near], (0.35, 0.35), candidates)
    told = np.isfinite(peak.longitude_deg)
    assert told.mean() > 0.98
    assert as_stated((peak.low_68_deg < 140) & (peak.high_68_deg > 140), 0.6827)
    assert as_stated((peak.low_95_deg < 140) & (peak.high_95_deg > 140), 0.95)
    assert np.mean(peak.longitude_deg[told]) == pytest.approx(140.0, abs=0.03)


def test_a_peak_outside_the_candidates_is_not_told():
    counts = simulated(3e-3, 7, 1)
    peak = fit_peak(BACKGROUND, AREA, LONGITUDE, counts, EXPOSURE, (0.35, 0.35), np.arange(141.0, 143.0, 0.1))
    assert np.isnan(peak.longitude_deg).all()
    assert np.isnan(peak.high_95_deg).all()


def test_peak_of_a_shower_across_360_degrees():
    longitude = (LONGITUDE - 140.0) % 360.0
    counts = simulated(5e-3, 8, 1)
    peak = fit_peak(BACKGROUND, AREA, longitude, counts, EXPOSURE, (0.35, 0.35), np.arange(-0.6, 0.6, 0.05))
    assert peak.low_95_deg[0] < 0.0 < peak.high_95_deg[0]
    assert abs(peak.longitude_deg[0]) < 0.3


def test_a_peak_is_located_from_a_wrong_guess():
    counts = simulated(3e-3, 9, 1)[0]
    found = locate_peak(BACKGROUND, AREA, LONGITUDE, counts, EXPOSURE, (0.35, 0.35), 141.5)
    fine = fit_peak(BACKGROUND, AREA, LONGITUDE, counts, EXPOSURE, (0.35, 0.35), np.arange(139.5, 140.5, 0.01))
    assert float(found.longitude_deg) == pytest.approx(float(fine.longitude_deg), abs=0.01)
    assert float(found.low_95_deg) == pytest.approx(float(fine.low_95_deg), abs=0.02)
    assert float(found.high_68_deg) == pytest.approx(float(fine.high_68_deg), abs=0.02)
