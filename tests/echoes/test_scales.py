import numpy as np
import pytest
from scipy import stats

from skyglint.echoes.scales import search_windows, skewed_normal_isf, window_probabilities, window_statistics


# Threshold over mean of an energy detector with TB independent complex samples: chi2.isf(Pfa, 2 TB) / (2 TB)
# (Urkowitz 1967), printed values computed with SciPy's chi-square law.
@pytest.mark.parametrize(
    ("samples", "false_alarm", "ratio"),
    [
        (200, 1e-4, 1.284589),
        (200, 1e-8, 1.448909),
        (2000, 1e-4, 1.085306),
        (2000, 1e-6, 1.109911),
        (20000, 1e-8, 1.040192),
    ],
)
def test_equal_weights_give_the_chi_square_threshold(samples, false_alarm, ratio):
    sigmas = skewed_normal_isf(np.array(false_alarm), np.array(2 / np.sqrt(samples)))
    assert 1 + sigmas / np.sqrt(samples) == pytest.approx(ratio, abs=2e-6)


def test_unequal_weights_have_the_tail_that_simulation_shows():
    # Reference: 1 million weighted sums of gamma variates drawn with NumPy.
    rng = np.random.default_rng(11)
    weights = np.exp(-0.5 * np.linspace(-3, 3, 40) ** 2)
    weights /= weights.sum()
    total = sum(w * rng.standard_gamma(19.0, 1_000_000, dtype=np.float32) / 19.0 for w in weights)
    variance = np.square(weights).sum() / 19.0
    skewness = 2 * (weights**3).sum() / 19.0**2 / variance**1.5
    for tail in (1e-2, 1e-3, 1e-4, 1e-5):
        threshold = 1 + np.sqrt(variance) * skewed_normal_isf(np.array(tail), np.array(skewness))
        count = int((total > threshold).sum())
        assert abs(count - tail * len(total)) < 4.5 * np.sqrt(tail * len(total))


def test_a_vanishing_skewness_gives_the_normal_law():
    assert skewed_normal_isf(np.array(1e-7), np.array(1e-5)) == pytest.approx(stats.norm.isf(1e-7), abs=1e-4)


def test_windows_run_from_30_ms_to_30_s_and_average():
    windows = search_windows()
    assert windows.length.min() == 3
    assert windows.length.max() == 3000
    assert np.all(np.diff(windows.length) >= 0)
    np.testing.assert_allclose(windows.moment(1), 1.0, rtol=1e-12)
    assert np.all((windows.first <= windows.length) & (windows.first > 0))


def test_no_flat_burst_falls_between_two_windows():
    windows = search_windows()
    flat = windows.length[windows.low == 0]
    lengths = np.arange(3, 3001)
    best = np.max(np.minimum(flat[:, None], lengths) / np.sqrt(flat[:, None] * lengths), axis=0)
    assert 10 * np.log10(best).min() > -0.35


def test_a_decaying_burst_loses_little_in_the_two_step_windows():
    windows = search_windows()
    for decay_frames in (5.0, 17.0, 60.0, 300.0):
        power = np.exp(-np.arange(3000) / decay_frames)
        matched = np.sqrt(np.square(power).sum())
        total = np.concatenate([[0], np.cumsum(power)])
        reading = windows.high * total[windows.first] + windows.low * (total[windows.length] - total[windows.first])
        best = (reading / np.sqrt(windows.moment(2))).max()
        assert 10 * np.log10(best / matched) > -0.35


def test_every_window_gets_the_same_share_of_false_alarms():
    windows = search_windows()
    rate = window_probabilities(windows, 1.0) / windows.length
    assert np.ptp(rate) < 1e-12


def test_thresholds_rise_when_fewer_false_alarms_are_accepted():
    windows = search_windows()
    one = window_statistics(windows, np.array([760.0]), np.array([0.08]), 1.0)
    few = window_statistics(windows, np.array([760.0]), np.array([0.08]), 0.01)
    assert np.all(few.sigmas > one.sigmas)
    np.testing.assert_array_equal(few.variance, one.variance)
