import numpy as np
import pytest

from skyglint.echoes.whitener import Whitener

RATE_HZ = 8000.0
STEP = 4000


def white_noise(rng, n):
    return (rng.standard_normal(n) + 1j * rng.standard_normal(n)) / np.sqrt(2)


def whitened(samples, warm_up=20):
    steps = samples.astype(np.complex64).reshape(-1, STEP)
    whitener = Whitener(steps[:warm_up], RATE_HZ, 3000.0)
    return np.concatenate([whitener.process(step) for step in steps])[STEP:]


def periodogram(samples):
    blocks = samples[: len(samples) // 800 * 800].reshape(-1, 800)
    return np.fft.fftfreq(800, 1 / RATE_HZ), np.mean(np.abs(np.fft.fft(blocks, axis=1)) ** 2, axis=0) / 800


def test_coloured_noise_comes_out_white_and_of_unit_density():
    rng = np.random.default_rng(1)
    noise = 7e-3 * white_noise(rng, 60 * STEP)
    coloured = noise + 0.8 * np.concatenate([[0], noise[:-1]])
    frequency, power = periodogram(whitened(coloured)[10 * STEP :])
    inside = np.abs(frequency) < 2900
    assert power[inside].mean() == pytest.approx(1.0, abs=0.05)
    assert power[inside].min() > 0.6
    assert power[inside].max() < 1.5
    assert power[np.abs(frequency) > 3100].max() < 0.05


def test_a_steady_line_is_taken_out_and_its_surroundings_are_left():
    rng = np.random.default_rng(2)
    t = np.arange(60 * STEP) / RATE_HZ
    samples = white_noise(rng, len(t)) + 3.0 * np.exp(2j * np.pi * 400.0 * t)
    out = whitened(samples)[10 * STEP :]
    frequency, power = periodogram(out)
    near = np.abs(frequency - 400.0) < 25
    assert power[near].max() < 1.6
    assert power[(np.abs(frequency - 400.0) > 40) & (np.abs(frequency) < 2900)].mean() == pytest.approx(1.0, abs=0.05)


def test_a_short_burst_keeps_its_energy():
    rng = np.random.default_rng(3)
    samples = white_noise(rng, 60 * STEP)
    t = np.arange(400) / RATE_HZ
    burst = np.exp(-t / 0.02 + 2j * np.pi * 700 * t)
    burst *= np.sqrt(1000 / np.sum(np.abs(burst) ** 2))
    place = 40 * STEP + 777
    samples[place : place + 400] += burst
    out = whitened(samples)
    energy = np.abs(np.vdot(burst, out[place : place + 400])) ** 2 / np.sum(np.abs(burst) ** 2)
    assert energy == pytest.approx(1000, rel=0.12)
