import numpy as np
import pytest

from skyglint.activity.nights import combined_rate


def test_steady_nights_are_their_total_over_their_time():
    found = combined_rate([10, 21, 0, 8], [1.0, 2.0, 0.0, 1.0])
    assert found.method == "Poisson, exact limits"
    assert found.rate_per_h == pytest.approx(39 / 4)
    assert (found.echoes, found.exposure_h) == (39, 4.0)
    # Gehrels 1986, ApJ 303, 336, one sigma: 10 counts 6.891 to 14.27.
    ten = combined_rate([10], [2.0])
    assert (ten.low_per_h, ten.high_per_h) == pytest.approx((6.891 / 2, 14.27 / 2), rel=1e-3)
    assert np.isnan(ten.probability)


def test_no_exposure_and_no_echoes():
    nothing = combined_rate([0, 0], [0.0, 0.0])
    assert np.isnan(nothing.rate_per_h)
    none = combined_rate([0, 0], [3.0, 2.0])
    assert none.rate_per_h == 0.0
    assert none.high_per_h == pytest.approx(1.841 / 5, rel=1e-3)  # Gehrels 1986


def test_coverage_of_gusty_nights(as_stated):
    nights, shape = 30, 2.0
    generator = np.random.default_rng(200)
    time = generator.uniform(5, 10, nights)
    inside = {0.6827: [], 0.95: []}
    negative_binomial = 0
    for _ in range(200):
        counts = generator.poisson(12.0 * time * generator.gamma(shape, 1 / shape, nights))
        for confidence, hits in inside.items():
            found = combined_rate(counts, time, confidence)
            hits.append(found.low_per_h < 12.0 < found.high_per_h)
            negative_binomial += found.method.startswith("negative")
    assert negative_binomial > 395
    assert all(as_stated(hits, confidence) for confidence, hits in inside.items())


def test_poisson_limits_would_be_far_too_narrow_for_gusty_nights():
    generator = np.random.default_rng(1)
    counts = generator.poisson(100 * generator.gamma(4, 0.25, 12))
    found = combined_rate(counts, np.full(12, 8.0))
    assert found.dispersion > 5
    assert found.probability < 1e-6
    total = counts.sum()
    assert found.high_per_h - found.low_per_h > 3 * 2 * np.sqrt(total) / 96


def test_the_shape_of_an_even_limit():
    # Negative binomial of great shape is Poisson: both methods then agree (Lawless 1987).
    generator = np.random.default_rng(5)
    counts = generator.poisson(40.0 * generator.gamma(25, 1 / 25, 200))
    found = combined_rate(counts, np.ones(200))
    sd = np.sqrt((40 + 40**2 / 25) / 200)
    assert found.method.startswith("negative")
    assert (found.high_per_h - found.low_per_h) / 2 == pytest.approx(sd, rel=0.15)
