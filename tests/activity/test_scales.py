import numpy as np
import pytest

from skyglint.activity.scales import channel_scales

COURSE = 10 * (1 + 0.6 * np.cos(np.arange(48) * np.pi / 12))
FACTORS = np.array([1.0, 0.4, 2.5])


def exposure(seed):
    generator = np.random.default_rng(seed)
    return np.where(generator.random((3, 48)) < 0.2, 0.0, generator.uniform(0.5, 1.0, (3, 48)))


def test_exact_counts_give_the_exact_factors():
    time = exposure(1)
    scales = channel_scales(time * FACTORS[:, None] * COURSE, time)
    np.testing.assert_allclose(scales.factor, FACTORS, rtol=1e-6)
    np.testing.assert_allclose(scales.rate_per_h, COURSE, rtol=1e-6)


def test_coverage_of_the_limits(as_stated):
    time = exposure(2)
    counts = np.random.default_rng(400).poisson(time * FACTORS[:, None] * COURSE, (400, 3, 48))
    inside = [(s.factor_low < FACTORS) & (s.factor_high > FACTORS) for s in (channel_scales(n, time) for n in counts)]
    assert all(as_stated(hits, 0.6827) for hits in np.transpose(inside)[1:])


def test_two_channels_watching_together_are_a_binomial():
    # With equal time the share of the second channel is binomial: the variance of the log ratio is 1/a + 1/b.
    scales = channel_scales([[60, 40], [30, 20]], np.ones((2, 2)))
    assert scales.factor[1] == pytest.approx(0.5)
    assert np.log(scales.factor_high[1] / 0.5) == pytest.approx(np.sqrt(1 / 100 + 1 / 50), rel=1e-6)


def test_channels_that_never_watched_together_cannot_be_compared():
    scales = channel_scales([[5, 0], [0, 7]], [[1.0, 0.0], [0.0, 1.0]])
    assert scales.factor[0] == 1.0
    assert np.isnan(scales.factor[1])


def test_nothing_watched():
    scales = channel_scales(np.zeros((2, 3)), np.zeros((2, 3)))
    assert np.isnan(scales.rate_per_h).all()
    assert np.isnan(scales.factor[1])
