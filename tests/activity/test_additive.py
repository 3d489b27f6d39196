import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from skyglint.activity.additive import fit_additive, profile_limit

HOURS = (np.arange(240) + 0.5) % 24
COURSES = np.column_stack(
    [np.ones(240), np.cos(np.pi * HOURS / 12), np.sin(np.pi * HOURS / 12), (np.abs(np.arange(240) - 120) < 15) * 1.0]
)


def simulated(strengths, seed, exposure=1.0, repetitions=1):
    rate = exposure * (COURSES @ np.asarray(strengths))
    return np.random.default_rng(seed).poisson(rate, (repetitions, 240))


def minus_log_likelihood(strengths, courses, counts, exposure):
    expected = exposure * (courses @ strengths)
    return np.inf if np.any(expected <= 0) else -stats.poisson.logpmf(counts, expected).sum()


def test_a_constant_course_is_count_over_time():
    exposure = np.linspace(0.2, 1.0, 240)
    counts = simulated([5, 0, 0, 0], 1, exposure)[0]
    fit = fit_additive(COURSES[:, :1], counts, exposure)
    assert float(fit.strengths[0]) == pytest.approx(counts.sum() / exposure.sum(), rel=1e-6)
    assert float(fit.covariance[0, 0]) == pytest.approx(counts.sum() / exposure.sum() ** 2, rel=1e-6)


@pytest.mark.parametrize(("strengths", "seed"), [([10, 1, 5, 8], 2), ([0.3, 0, 0.2, 0.5], 3), ([40, -8, 20, -10], 4)])
def test_the_maximum_is_the_one_that_a_general_optimiser_finds(strengths, seed):
    exposure = np.where(np.arange(240) % 11 == 0, 0.0, 0.8)
    counts = simulated(strengths, seed, exposure)[0]
    fit = fit_additive(COURSES, counts, exposure)
    used = exposure > 0
    best = optimize.minimize(
        minus_log_likelihood,
        [counts.mean(), 0, 0, 0],
        args=(COURSES[used], counts[used], exposure[used]),
        method="Nelder-Mead",
        options={"maxiter": 8000, "xatol": 1e-7, "fatol": 1e-10},
    )
    found = minus_log_likelihood(fit.strengths, COURSES[used], counts[used], exposure[used])
    assert found <= best.fun + 1e-4
    np.testing.assert_allclose(fit.strengths, best.x, atol=5e-3 * counts.mean())


def test_limits_of_a_constant_rate():
    # The likelihood of a Poisson mean falls by sigmas**2 / 2 where n ln(n / m) - n + m = sigmas**2 / 2.
    # Two nights of their own rates, so that the other one must not matter.
    courses, exposure = np.repeat(np.eye(2), 2, axis=0), np.full(4, 0.5)
    counts = np.array([4, 6, 30, 20])
    fit = fit_additive(courses, counts, exposure)

    def fall(mean, sigmas):
        return 10 * np.log(10 / mean) - 10 + mean - sigmas**2 / 2

    for sigmas in (1.0, 2.0):
        low, high = (optimize.brentq(fall, *span, args=(sigmas,)) for span in ((0.5, 10), (10, 40)))
        assert float(profile_limit(courses, counts, exposure, 0, fit, -sigmas)) == pytest.approx(low, rel=1e-3)
        assert float(profile_limit(courses, counts, exposure, 0, fit, sigmas)) == pytest.approx(high, rel=1e-3)


def test_nothing_watched_tells_nothing():
    fit = fit_additive(COURSES, np.zeros(240), np.zeros(240))
    assert np.isnan(fit.strengths).all()
    # Three hours of one night cannot tell a mean from a course of the day.
    short = np.where(np.arange(240) < 2, 1.0, 0.0)
    assert np.isnan(fit_additive(COURSES, np.ones(240), short).strengths).all()


def test_no_echoes_in_a_watched_night_are_a_rate_of_zero():
    fit = fit_additive(COURSES, np.zeros(240), np.ones(240))
    np.testing.assert_allclose(fit.strengths, 0.0, atol=1e-6)


@settings(deadline=None)
@given(st.integers(0, 10_000), st.floats(0.1, 30))
def test_the_fit_keeps_the_total(seed, mean):
    # With a constant course the score equation says that expected and seen totals agree.
    counts = simulated([mean, 0, 0.5 * mean, 0], seed)[0]
    fit = fit_additive(COURSES[:, :3], counts, np.ones(240))
    assert fit.expected.min() >= 0
    if counts.min() > 0:
        assert float(fit.expected.sum()) == pytest.approx(counts.sum(), rel=1e-4)


def test_courses_that_cannot_be_positive_are_refused():
    with pytest.raises(ValueError, match="positive in every span"):
        fit_additive(COURSES[:, 1:3], np.ones(240), np.ones(240))
