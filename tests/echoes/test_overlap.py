import numpy as np
import pytest
from scipy.special import fresnel
from scipy.stats import ncx2

from skyglint.echoes.overlap import later_onsets, noise_like_sd, tone_sd

FRAME_S = 0.01
SAMPLES = 1900.0


def drawn(mean, seed=1):
    mean = np.asarray(mean, dtype=float)
    return (1 + mean) * np.random.default_rng(seed).gamma(SAMPLES, 1 / SAMPLES, len(mean)) - 1


def sd(mean):
    return noise_like_sd(np.asarray(mean, dtype=float), SAMPLES)


def test_a_second_trail_is_told():
    t = np.arange(150) * FRAME_S
    one = 10 * np.exp(-t / 0.3)
    two = one + np.where(t >= 0.5, 8 * np.exp(-np.maximum(t - 0.5, 0) / 0.3), 0)
    assert later_onsets(drawn(one), FRAME_S, sd(one)) == 0
    assert later_onsets(drawn(two), FRAME_S, sd(two)) == 1


@pytest.mark.parametrize("half_zone_s", [0.01, 0.03, 0.06, 0.1])
def test_a_trail_that_takes_its_time_to_form_is_one(half_zone_s):
    # The Cornu spiral of a trail that forms from far ahead of its specular point (McKinley 1961 ch. 8), then decays.
    t = np.arange(200) * FRAME_S - 8 * half_zone_s
    sine, cosine = fresnel(np.sqrt(2) * t / half_zone_s)
    power = 100 * np.abs(cosine + 0.5 + 1j * (sine + 0.5)) ** 2 * np.exp(-2 * np.maximum(t, 0) / 0.35)
    assert later_onsets(drawn(power), FRAME_S, sd(power)) == 0


@pytest.mark.parametrize("seed", range(6))
def test_glints_that_beat_are_one_trail(seed):
    t = np.arange(600) * FRAME_S
    beat = np.abs(1 + 0.9 * np.exp(2j * np.pi * 1.4 * t + 1j * seed)) ** 2
    assert later_onsets(drawn(10 * beat, seed), FRAME_S, sd(10 * beat)) == 0


def test_a_second_trail_on_a_carrier_is_told():
    t = np.arange(150) * FRAME_S
    amplitude = 20 * np.exp(-t / 0.3) + np.where(t >= 0.5, 15 * np.exp(-np.maximum(t - 0.5, 0) / 0.3), 0)
    noise = np.random.default_rng(5).standard_normal((2, len(t))) / np.sqrt(2)
    energy = (amplitude + noise[0]) ** 2 + noise[1] ** 2 - 1
    assert later_onsets(energy, FRAME_S, tone_sd(energy)) == 1


def test_a_tones_energy_scatters_as_a_noncentral_chi_square():
    # |a + n|^2 with noise of unit power is half a noncentral chi-square of two degrees of freedom, centre 2 a^2.
    assert tone_sd(np.array([40.0]))[0] == pytest.approx(ncx2(2, 80.0).std() / 2)


def test_a_burst_of_one_frame_is_one_trail():
    assert later_onsets(np.array([3.0]), FRAME_S, sd([3.0])) == 0
