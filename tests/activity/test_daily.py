from fractions import Fraction
from math import comb

import numpy as np
import pytest

from skyglint.activity.daily import compare_course, daily_courses, fit_daily_cycle, morning_test
from skyglint.activity.poisson import poisson_limits

HOUR = (np.arange(24 * 20) + 0.5) % 24


def rate(mean, amplitude, peak_h):
    """Mean over each hour of the continuous course, by fine sampling and not by the code's own formula."""
    fine = HOUR[:, None] + np.linspace(-0.5, 0.5, 201)
    return np.mean(mean * (1 + amplitude * np.cos(2 * np.pi * (fine - peak_h) / 24)), axis=1)


def exposure(seed):
    generator = np.random.default_rng(seed)
    return np.where(generator.random(len(HOUR)) < 0.1, 0.0, generator.uniform(0.5, 1.0, len(HOUR)))


@pytest.mark.parametrize(("mean", "amplitude", "peak_h"), [(10.0, 0.6, 6.0), (3.0, 0.5, 23.8)])
def test_coverage_of_the_stated_errors(mean, amplitude, peak_h, as_stated):
    # 600 simulated spans of 20 days with gaps.
    time = exposure(1)
    counts = np.random.default_rng(600).poisson(time * rate(mean, amplitude, peak_h), (600, len(HOUR)))
    cycle = fit_daily_cycle(HOUR, counts, time, bin_h=1.0)
    hour_error = (cycle.hour_of_maximum_h - peak_h + 12) % 24 - 12
    for error, sd in (
        (cycle.mean_per_h - mean, cycle.mean_sd_per_h),
        (cycle.amplitude - amplitude, cycle.amplitude_sd),
        (hour_error, cycle.hour_of_maximum_sd_h),
    ):
        assert as_stated(np.abs(error) < sd, 0.6827)
        assert as_stated(np.abs(error) < 1.96 * sd, 0.95)


def test_ratio_of_maximum_to_minimum():
    # A (1 + e cos) with e = 0.6 has a ratio of (1 + e) / (1 - e) = 4 (the mean ratio of ITU-R P.843-1).
    cycle = fit_daily_cycle(HOUR, 1e6 * rate(10, 0.6, 6), np.ones(len(HOUR)), bin_h=1.0)
    assert float(cycle.ratio) == pytest.approx(4.0, rel=1e-3)
    assert float(cycle.hour_of_maximum_h) == pytest.approx(6.0, abs=1e-3)


def test_a_constant_rate_has_no_hour_of_maximum():
    counts = np.random.default_rng(3).poisson(np.full((400, len(HOUR)), 4.0))
    cycle = fit_daily_cycle(HOUR, counts, np.ones(len(HOUR)))
    assert np.mean(np.isnan(cycle.hour_of_maximum_h)) == pytest.approx(0.95, abs=0.035)
    assert np.mean(cycle.probability_constant < 0.5) == pytest.approx(0.5, abs=0.08)


def test_gusts_widen_the_errors():
    generator = np.random.default_rng(4)
    gust = generator.gamma(2.0, 0.5, len(HOUR))
    time = np.ones(len(HOUR))
    plain = fit_daily_cycle(HOUR, generator.poisson(rate(20, 0.5, 6)), time, 1.0)
    gusty = fit_daily_cycle(HOUR, generator.poisson(rate(20, 0.5, 6) * gust), time, 1.0)
    assert float(plain.dispersion_probability) > 0.01
    assert float(gusty.mean_sd_per_h) > 2.5 * float(plain.mean_sd_per_h)


def test_an_empty_night_tells_nothing():
    cycle = fit_daily_cycle(HOUR, np.zeros(len(HOUR)), np.zeros(len(HOUR)))
    assert np.isnan(cycle.mean_per_h)
    assert np.isnan(cycle.hour_of_maximum_h)


def test_courses_are_means_over_the_spans():
    fine = np.linspace(2.0, 3.0, 1001)
    wanted = [1.0, np.mean(np.cos(np.pi * fine / 12)), np.mean(np.sin(np.pi * fine / 12))]
    np.testing.assert_allclose(daily_courses([2.5], bin_h=1.0)[0], wanted, atol=1e-5)


def test_morning_against_evening():
    hour, counts, time = np.array([3.0, 9.0, 15.0, 21.0, 25.0]), np.array([6, 5, 2, 3, 1]), np.array([1, 1, 2, 1, 0.5])
    found = morning_test(hour, counts, time)
    assert (found.before, found.after, found.before_h, found.after_h) == (12, 5, 2.5, 3.0)
    assert found.ratio == pytest.approx(12 / 2.5 / (5 / 3))
    # Binomial tail in exact fractions: share 2.5 / 5.5 = 5 / 11 before noon.
    share = Fraction(5, 11)
    tail = sum(comb(17, k) * share**k * (1 - share) ** (17 - k) for k in range(12, 18))
    assert found.probability == pytest.approx(float(tail), rel=1e-9)


def test_half_a_day_watched_cannot_be_compared():
    found = morning_test([3.0, 15.0], [5, 0], [2.0, 0.0])
    assert np.isnan(found.ratio)
    assert np.isnan(found.probability)
    assert np.isnan(morning_test([3.0, 15.0], [0, 0], [2.0, 1.0]).ratio)


def test_comparison_with_an_expected_course():
    time = exposure(5)
    model = rate(8, 0.5, 6)
    generator = np.random.default_rng(6)
    counts = generator.poisson(time * model * 1.3)
    right = compare_course(counts, time, model, confidence=0.95)
    assert right.factor_low < 1.3 < right.factor_high
    low, high = poisson_limits(counts[time > 0].sum(), 0.95)
    assert right.factor_high / right.factor_low == pytest.approx(float(high / low))
    assert right.probability > 0.01
    wrong = compare_course(counts, time, rate(8, 0.5, 18))
    assert wrong.probability < 1e-6
    assert wrong.freedom == np.sum(time > 0) - 1
