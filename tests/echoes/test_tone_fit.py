import numpy as np
import pytest

from skyglint.echoes.tone_fit import fit_tone


def tone(rng, rate, decay, frequency, energy, start=0.3, rise=0.004):
    """Draw a decaying tone of E/N0 ``energy`` in white noise of unit variance, by the formula."""
    t = (np.arange(int((start + 6 * decay) * rate)) + 0.5) / rate
    since = np.maximum(t - start, 0)
    shape = (1 - np.exp(-since / rise)) * np.exp(-since / decay)
    wave = shape * np.exp(2j * np.pi * frequency * t) * np.exp(1j * rng.uniform(0, 2 * np.pi))
    wave *= np.sqrt(energy / np.sum(np.abs(wave) ** 2))
    noise = (rng.standard_normal(len(t)) + 1j * rng.standard_normal(len(t))) / np.sqrt(2)
    return (wave + noise).astype(np.complex64)


# Bounds of a fully observed damped exponential: sd(tau) = tau sqrt(2 N0/E), sd(f) = sqrt(2 N0/E) / (2 pi tau)
# (Yao & Pandit 1995; derived again from the Fisher matrix).
@pytest.mark.parametrize(("decay", "energy_db"), [(0.05, 25.0), (0.2, 25.0), (0.2, 35.0), (0.8, 30.0)])
def test_decay_and_frequency_reach_the_cramer_rao_bound(decay, energy_db):
    rng = np.random.default_rng(1)
    energy = 10 ** (energy_db / 10)
    limit = np.sqrt(2 / energy)
    rate = min(1000.0, 100.0 / decay)
    drawn = [tone(rng, rate, decay, 7.3, energy) for _ in range(100)]
    fits = [fit_tone(samples, rate, 0.3, decay * 1.4, 7.0) for samples in drawn]
    times = np.array([fit.decay_time_s for fit in fits])
    frequencies = np.array([fit.frequency_hz for fit in fits])
    assert times.std() < 1.5 * decay * limit
    assert abs(times.mean() - decay) < decay * limit / 3
    assert frequencies.std() < 1.5 * limit / (2 * np.pi * decay)
    assert abs(frequencies.mean() - 7.3) < limit / (2 * np.pi * decay) / 3
    assert np.median([fit.decay_time_sd_s for fit in fits]) == pytest.approx(times.std(), rel=0.3)
    assert np.median([fit.explained for fit in fits]) == pytest.approx(energy, rel=0.05)
