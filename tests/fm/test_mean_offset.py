import math

import numpy as np
import pytest

from skyglint.fm.channelise import channelise
from skyglint.fm.discriminator import demodulate
from skyglint.fm.mean_offset import USEFUL_BELOW_HZ, doppler, mean_offset


def measured(samples):
    return mean_offset(demodulate(*channelise(samples, 240e3)))


@pytest.mark.parametrize(("snr_db", "duration_s"), [(25.0, 0.3), (14.0, 0.3)])
def test_error_is_the_stated_one(burst, snr_db, duration_s):
    offsets = np.random.default_rng(17).uniform(-800, 800, 30)
    results = [
        measured(burst(np.random.default_rng([18, i]), snr_db, duration_s, offset_hz=offset))
        for i, offset in enumerate(offsets)
    ]
    scores = np.array([(mean - offset) / sd for (mean, sd), offset in zip(results, offsets, strict=True)])
    # Student's t with 6 degrees of freedom has a variance of 1.5; the median of its square is 0.52.
    assert 0.2 < np.median(scores**2) < 1.2
    assert abs(np.mean(scores)) < 4 * np.sqrt(1.5 / len(scores))


def test_unmodulated_carrier():
    random = np.random.default_rng(19)
    noise = random.standard_normal((2, 72_000)) * np.sqrt(0.01 * 1.2 / 2)
    carrier = np.exp(2j * np.pi * 120.0 * np.arange(72_000) / 240e3)
    mean_hz, sd_hz = measured((carrier + noise[0] + 1j * noise[1]).astype(np.complex64))
    assert abs(mean_hz - 120.0) < 5 * sd_hz
    assert sd_hz < 0.1


def test_noise_and_short_bursts_have_none(burst):
    noise = np.random.default_rng(20).standard_normal((2, 72_000))
    assert all(math.isnan(value) for value in measured((noise[0] + 1j * noise[1]).astype(np.complex64)))
    assert all(math.isnan(value) for value in measured(burst(np.random.default_rng(21), 25, 0.025)))


def test_doppler_is_relative_and_carries_both_errors():
    assert doppler(320.0, 3.0, 300.0, 4.0) == (20.0, 5.0)
    assert all(math.isnan(value) for value in doppler(320.0, 3.0, 300.0, USEFUL_BELOW_HZ))
    assert all(math.isnan(value) for value in doppler(math.nan, math.nan, 300.0))
