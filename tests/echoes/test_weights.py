import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.echoes.weights import StationSpectrum, bin_weights, programme_spectrum

OFFSETS_HZ = (np.arange(100) - 49.5) * 2000.0
ALL = np.ones(100, dtype=bool)


def test_the_programme_holds_99_percent_within_116_khz():
    share = programme_spectrum(OFFSETS_HZ)
    assert share.sum() == pytest.approx(1.0)
    assert share[np.abs(OFFSETS_HZ) < 58_000].sum() == pytest.approx(0.99, abs=0.003)


def test_on_noise_the_weighted_power_has_the_stated_mean_variance_and_skewness():
    # Reference: weighted sums of gamma variates drawn with NumPy.
    rng = np.random.default_rng(2)
    noise = np.linspace(1.0, 4.0, 100)
    weighting = bin_weights(programme_spectrum(OFFSETS_HZ), noise, ALL, 19.0)
    power = (noise * rng.standard_gamma(19.0, (100_000, 100)) / 19.0) @ weighting.weights
    assert power.mean() == pytest.approx(1.0, abs=1e-3)
    assert 1 / power.var() == pytest.approx(weighting.samples_per_frame, rel=0.02)
    third = np.mean((power - 1) ** 3) / power.std() ** 3
    assert third == pytest.approx(weighting.skewness, abs=0.03)


@given(st.integers(0, 2**32 - 1))
def test_no_other_weights_show_the_signal_better(seed):
    rng = np.random.default_rng(seed)
    noise = rng.uniform(0.5, 10.0, 100)
    signal = programme_spectrum(OFFSETS_HZ)
    best = bin_weights(signal, noise, ALL, 19.0).weights
    other = best * rng.uniform(0.2, 5.0, 100)

    def deflection(weights):
        return (weights * signal).sum() / np.sqrt(np.square(weights * noise).sum())

    assert deflection(best) >= deflection(other) * (1 - 1e-12)


def test_a_birdie_and_a_spike_count_for_little():
    noise = np.ones(100)
    noise[48] = 1000.0
    usable = ALL.copy()
    usable[50] = False
    weights = bin_weights(programme_spectrum(OFFSETS_HZ), noise, usable, 19.0).weights
    assert weights[50] == 0.0
    assert weights[48] * noise[48] < 0.01 * weights[47] * noise[47]


def test_a_channel_without_any_usable_bin_weighs_nothing():
    weighting = bin_weights(programme_spectrum(OFFSETS_HZ), np.ones(100), ~ALL, 19.0)
    assert not weighting.weights.any()


def narrow(rng, sd_hz):
    return programme_spectrum(OFFSETS_HZ, sd_hz) + 0.003 * rng.standard_normal(100)


def test_a_station_teaches_its_own_spectrum():
    rng = np.random.default_rng(3)
    model, truth = programme_spectrum(OFFSETS_HZ), programme_spectrum(OFFSETS_HZ, 6_000.0)
    station = StationSpectrum(model)

    def share(weights):
        return weights @ truth / np.linalg.norm(weights) / np.linalg.norm(truth)

    for _ in range(4):
        station.learn(narrow(rng, 6_000.0))
    np.testing.assert_allclose(station.spectrum, model)  # four echoes are too few
    for _ in range(30):
        station.learn(5.0 * narrow(rng, 6_000.0))
    assert station.spectrum.sum() == pytest.approx(1.0)
    assert share(model) < 0.8 < 0.98 < share(station.spectrum)


def test_pauses_in_less_than_half_of_the_echoes_do_not_narrow_the_weights():
    rng = np.random.default_rng(4)
    model = programme_spectrum(OFFSETS_HZ)
    station = StationSpectrum(model)
    pause = np.zeros(100)
    pause[49] = 1.0
    for number in range(31):
        station.learn(pause if number % 5 < 2 else narrow(rng, 22_500.0))
    assert station.spectrum[49] < 1.3 * model[49]


def test_a_silent_or_negative_burst_teaches_nothing():
    station = StationSpectrum(programme_spectrum(OFFSETS_HZ))
    for _ in range(40):
        station.learn(np.zeros(100))
        station.learn(-np.ones(100))
    np.testing.assert_allclose(station.spectrum, programme_spectrum(OFFSETS_HZ))
