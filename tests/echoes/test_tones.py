import numpy as np
import pytest

from skyglint.echoes.tones import DECAYS_S, ToneBank, tone_threshold

RATE_HZ = 8000.0
STEP = 4000


def searched(samples, threshold):
    bank = ToneBank(RATE_HZ, 3000.0)
    padded = np.concatenate([np.zeros(bank.reach), samples]).astype(np.complex64)
    hits = []
    for start in range(0, len(samples), STEP):
        stop = min(start + STEP, len(samples))
        hits += bank.search(padded[start : stop + bank.reach], start - bank.reach, start, stop, threshold)
    return hits


def noise(rng, n):
    return (rng.standard_normal(n) + 1j * rng.standard_normal(n)) / np.sqrt(2)


def test_on_noise_a_cell_is_exponential():
    # The share of cells above a level is exp(-level): here of all windows of one length, on 20 s of noise.
    rng = np.random.default_rng(1)
    bank = ToneBank(RATE_HZ, 3000.0)
    samples = noise(rng, 20 * 8000).astype(np.complex64)
    hits = bank.search(samples, 0, bank.reach, len(samples), 4.0)
    energy = np.array([hit.energy for hit in hits if hit.decay_s == DECAYS_S[0]])
    assert (energy > 9.0).sum() / (energy > 8.0).sum() == pytest.approx(np.exp(-1.0), abs=0.08)


@pytest.mark.parametrize("decay", [0.02, 0.055, 0.3, 0.8])
@pytest.mark.parametrize("frequency", [-2345.6, 3.3])
def test_a_decaying_tone_loses_little(decay, frequency):
    t = np.arange(4 * 8000) / RATE_HZ
    since = t - 1.2345
    wave = np.where(since >= 0, np.exp(-np.maximum(since, 0) / decay), 0) * np.exp(2j * np.pi * frequency * t)
    wave *= np.sqrt(1000.0 / np.sum(np.abs(wave) ** 2))
    best = max(searched(wave, 20.0), key=lambda hit: hit.energy)
    assert 10 * np.log10(best.energy / 1000.0) > -1.2
    assert best.frequency_hz == pytest.approx(frequency, abs=0.3 / decay)
    assert best.sample / RATE_HZ == pytest.approx(1.2345, abs=0.25 * decay)
    assert best.breadth < 0.2


def test_a_crash_is_broad():
    rng = np.random.default_rng(2)
    samples = noise(rng, 2 * 8000)
    samples[8000:8300] *= 10
    best = max(searched(samples, 21.0), key=lambda hit: hit.energy)
    assert best.breadth > 0.6


def test_cutting_changes_nothing():
    samples = noise(np.random.default_rng(3), 3 * 8000)
    bank = ToneBank(RATE_HZ, 3000.0)
    padded = np.concatenate([np.zeros(bank.reach), samples]).astype(np.complex64)
    whole = bank.search(padded, -bank.reach, 0, len(samples), 9.0)
    assert sorted(map(repr, whole)) == sorted(map(repr, searched(samples, 9.0)))


def test_noise_rarely_reaches_the_threshold():
    # A false alarm in 36 s of noise is allowed once in a hundred runs at one an hour.
    samples = noise(np.random.default_rng(4), 36 * 8000)
    assert searched(samples, tone_threshold(1.0, 6000.0)) == []
    assert tone_threshold(0.1, 6000.0) == pytest.approx(tone_threshold(1.0, 6000.0) + np.log(10))
