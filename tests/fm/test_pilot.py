import numpy as np
import pytest

from skyglint.fm.channelise import channelise
from skyglint.fm.discriminator import demodulate
from skyglint.fm.pilot import find_pilot


def pilot_of(samples, rate_hz=240e3):
    return find_pilot(demodulate(*channelise(samples, rate_hz)))


@pytest.mark.parametrize("clock_ppm", [-100.0, 0.0, 40.0])
def test_frequency_within_its_error_on_a_wrong_clock(burst, clock_ppm):
    pilot = pilot_of(burst(np.random.default_rng(6), 15, 1.0, clock_ppm=clock_ppm))
    assert pilot.present
    assert abs(pilot.frequency_hz - 19e3 * (1 + 1e-6 * clock_ppm)) < 4 * pilot.frequency_sd_hz
    assert pilot.frequency_sd_hz < 0.01


def test_level_against_the_theory_of_the_discriminator(burst):
    # Line power (7500 Hz)^2 / 2 over the density f^2 N0/C at 19 kHz, C/N0 = 15 dB + 53 dB-Hz: 56.9 dB-Hz.
    pilot = pilot_of(burst(np.random.default_rng(7), 15, 1.0))
    theory = 10 * np.log10(7500**2 / 2 / 19e3**2) + 15 + 10 * np.log10(200e3)
    assert pilot.snr_db == pytest.approx(theory, abs=1.0)


def test_phase_of_a_pure_pilot():
    seconds = np.arange(24_000) / 240e3
    deviation = 7500 * np.cos(2 * np.pi * 19e3 * seconds + 0.7)
    noise = np.random.default_rng(8).standard_normal((2, 24_000)) * 0.01
    samples = np.exp(2j * np.pi / 240e3 * np.cumsum(deviation)) + noise[0] + 1j * noise[1]
    # The first phase step is that from the first sample to the second.
    assert find_pilot(demodulate(samples.astype(np.complex64), 240e3)).phase_rad == pytest.approx(
        0.7 + 2 * np.pi * 19e3 / 240e3, abs=0.02
    )


def test_a_pilot_outlives_rds_by_far(burst):
    found = [pilot_of(burst(np.random.default_rng(seed), 2.0, 0.2)).present for seed in range(10)]
    assert sum(found) >= 9


def test_false_alarms_keep_to_the_stated_probability(burst):
    random = np.random.default_rng(9)
    noise = random.standard_normal((400, 2, 24_000))
    probabilities = np.array([pilot_of((i + 1j * q).astype(np.complex64)).false_alarm_probability for i, q in noise])
    # Uniform under noise: the share below p is p, within three binomial standard errors.
    for level in (0.05, 0.2):
        share = np.mean(probabilities < level)
        assert share < level + 3 * np.sqrt(level * (1 - level) / len(probabilities))
    assert probabilities.min() > 1e-4


def test_mono_station_has_none(burst):
    assert not pilot_of(burst(np.random.default_rng(10), 25, 0.5, pilot=False)).present
