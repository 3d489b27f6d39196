"""Limits against the tables of Gehrels, ApJ 303, 336 (1986), against Astropy, and against their own definition."""

import numpy as np
import pytest
from astropy.stats import poisson_conf_interval
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import poisson

from skyglint.activity.poisson import ONE_SIGMA, poisson_limits, rates_per_h

# Gehrels (1986), tables 1 and 2, confidence level 0.8413 on each side, recomputed with scipy.stats.gamma to four
# decimals; the printed tables have four figures.
GEHRELS = [
    (0, 0.0, 1.8410),
    (1, 0.1728, 3.2995),
    (2, 0.7082, 4.6379),
    (5, 2.8403, 8.3825),
    (10, 6.8913, 14.2669),
    (20, 15.5656, 25.5465),
    (100, 90.0167, 111.0334),
]
half_a_unit_of_the_last_digit = 5e-5


@pytest.mark.parametrize(("count", "lower", "upper"), GEHRELS)
def test_limits_of_gehrels(count, lower, upper):
    found = poisson_limits(count)
    assert found[0] == pytest.approx(lower, abs=half_a_unit_of_the_last_digit)
    assert found[1] == pytest.approx(upper, abs=half_a_unit_of_the_last_digit)


@pytest.mark.parametrize(("confidence", "upper"), [(0.80, 2.3026), (0.90, 2.9957), (0.98, 4.6052)])
def test_the_upper_limit_of_no_count_is_a_logarithm(confidence, upper):
    # P(0) = exp(-mu): one-sided 90, 95 and 99 % limits are ln 10, ln 20 and ln 100.
    assert poisson_limits(0, confidence)[1] == pytest.approx(upper, abs=half_a_unit_of_the_last_digit)


@pytest.mark.parametrize("sigma", [1, 2, 3])
def test_limits_agree_with_astropy(sigma):
    from math import erf, sqrt

    counts = np.array([0, 1, 2, 3, 7, 15, 40, 250, 3000])
    expected = poisson_conf_interval(counts, interval="frequentist-confidence", sigma=sigma)
    np.testing.assert_allclose(poisson_limits(counts, erf(sigma / sqrt(2))), expected, rtol=1e-7)


@given(st.integers(0, 5000), st.floats(0.5, 0.999))
def test_limits_are_the_means_that_leave_half_of_the_rest_on_each_side(count, confidence):
    lower, upper = poisson_limits(count, confidence)
    assert lower <= count <= upper
    assert poisson.cdf(count, upper) == pytest.approx((1 - confidence) / 2, rel=1e-6)
    if count:
        assert poisson.sf(count - 1, lower) == pytest.approx((1 - confidence) / 2, rel=1e-6)


def test_intervals_hold_the_mean_at_least_as_often_as_they_say():
    for mean in (0.3, 1.0, 4.7, 20.0):
        counts = np.arange(200)
        lower, upper = poisson_limits(counts)
        covered = poisson.pmf(counts, mean)[(lower <= mean) & (mean <= upper)].sum()
        assert covered >= ONE_SIGMA


def test_a_rate_has_no_value_without_exposure():
    rate, low, high = rates_per_h([0, 7, 0], [7200.0, 1800.0, 0.0])
    np.testing.assert_allclose(rate, [0, 14, np.nan])
    # 7 counts: 4.4185 to 10.7703 (Gehrels 1986, as above).
    np.testing.assert_allclose(low, [0, 2 * 4.4185, np.nan], atol=2e-4)
    np.testing.assert_allclose(high, [1.8410 / 2, 2 * 10.7703, np.nan], atol=2e-4)


def test_nonsense_is_refused():
    with pytest.raises(ValueError, match="not negative"):
        poisson_limits(-1)
    with pytest.raises(ValueError, match="between 0 and 1"):
        poisson_limits(1, 68.27)
