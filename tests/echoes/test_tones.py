import numpy as np
import pytest

from skyglint.echoes.tones import DENSITY, ToneBank, tone_threshold

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


def trail(t, passing, crossing, decay):
    """Return the wave of a trail that forms and decays (McKinley 1961 ch. 8), summed element by element."""
    formed = np.arange(-6 * crossing, 6 * crossing, crossing / 400)
    element = np.exp(-1j * np.pi * (formed / crossing) ** 2) * np.minimum(1.0, 6 - np.abs(formed / crossing))
    grown = np.cumsum(element * np.exp(formed / decay))
    last = np.searchsorted(formed, t - passing) - 1
    since = np.clip(t - passing, -1.0, 20.0 * decay)
    return np.where(last >= 0, grown[last] * np.exp(-since / decay), 0)


@pytest.mark.parametrize(
    ("decay", "crossing"), [(0.02, 0.012), (0.02, 0.02), (0.055, 0.012), (0.055, 0.03), (0.3, 0.016), (0.8, 0.02)]
)
@pytest.mark.parametrize("frequency", [-2345.6, 3.3])
def test_a_trail_loses_little(decay, crossing, frequency):
    t = np.arange(5 * 8000) / RATE_HZ
    wave = trail(t, 1.2345, crossing, decay) * np.exp(2j * np.pi * frequency * t)
    wave *= np.sqrt(1000.0 / np.sum(np.abs(wave) ** 2))
    hits = searched(wave, 10**-0.06 * 1000.0)  # 0.6 dB below what is there
    assert hits
    best = max(hits, key=lambda hit: hit.energy)
    assert best.frequency_hz == pytest.approx(frequency, abs=0.3 / decay)
    assert best.sample / RATE_HZ == pytest.approx(1.2345, abs=0.25 * decay + 0.5 * crossing)
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


def test_the_threshold_lets_through_what_is_accepted():
    # A squared Gaussian field has DENSITY u exp(-u) peaks above u for each hertz and second; 0.6 of what is accepted is
    # theirs, less the allowance for the floor's error.
    for rate in (0.1, 1.0, 10.0):
        level = tone_threshold(rate, 6000.0)
        on_white_noise = DENSITY * 3600.0 * 6000.0 * level * np.exp(-level)
        assert 0.45 * rate < on_white_noise < 0.6 * rate


def test_noise_bursts_are_as_frequent_as_stated():
    # Half a minute of noise; peaks over 14.5 within a second and 150 Hz are one burst. About 16 are expected.
    bank, rng, peaks = ToneBank(RATE_HZ, 3000.0), np.random.default_rng(5), []
    for _ in range(2):
        samples = noise(rng, 15 * 8000 + bank.reach).astype(np.complex64)
        hits = sorted(bank.search(samples, 0, bank.reach, len(samples), 14.5), key=lambda hit: -hit.energy)
        while hits:
            peaks.append(hits[0])
            hits = [
                hit
                for hit in hits
                if abs(hit.sample - peaks[-1].sample) > RATE_HZ or abs(hit.frequency_hz - peaks[-1].frequency_hz) > 150
            ]
    expected = DENSITY * 30.0 * 6000.0 * 14.5 * np.exp(-14.5)
    assert abs(len(peaks) - expected) < 3 * np.sqrt(expected)
