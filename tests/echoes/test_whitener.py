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


def test_a_strong_line_leaves_nothing_where_the_recording_begins_and_ends():
    # Whitened as in the middle, the line's ends would stand out at 100 times the noise.
    rng = np.random.default_rng(4)
    t = np.arange(30 * STEP) / RATE_HZ
    samples = (white_noise(rng, len(t)) + 3.0 * np.exp(2j * np.pi * 400.3 * t)).astype(np.complex64)
    whitener = Whitener(samples.reshape(-1, STEP), RATE_HZ, 3000.0)
    out = np.concatenate([whitener.process(step) for step in [*samples.reshape(-1, STEP), np.zeros(STEP)]])[STEP:]
    for part in (out[:400], out[-400:]):
        power = np.abs(np.fft.fft(part)) ** 2 / 400
        assert power.max() < 15.0


def test_a_burst_that_fills_most_of_the_first_seconds_is_kept():
    # 3.6 s of a tone in 6 s, 40 dB over 1 Hz: the floor must come from the rest.
    rng = np.random.default_rng(5)
    samples = white_noise(rng, 12 * STEP)
    t = np.arange(len(samples)) / RATE_HZ
    tone = np.where((t > 0.92) & (t < 4.52), np.sqrt(1e4 / RATE_HZ) * np.exp(2j * np.pi * 700.0 * t), 0)
    out = whitened(samples + tone, warm_up=12)
    for begin in (1.0, 2.0, 3.9):
        part = slice(round(begin * RATE_HZ), round((begin + 0.5) * RATE_HZ))
        energy = np.abs(np.vdot(tone[part], out[part])) ** 2 / np.sum(np.abs(tone[part]) ** 2)
        assert energy == pytest.approx(5000, rel=0.3)
