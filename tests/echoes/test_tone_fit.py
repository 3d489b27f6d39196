import numpy as np
import pytest

from skyglint.echoes.tone_fit import fit_tone, forming_trail


def spiral(time, crossing, decay):
    """Return the gain of a forming trail: the integral summed over fine steps, its beginning faded in."""
    step = crossing / 400
    formed = np.arange(-8 * crossing, max(6 * crossing, 8 * decay), step) + step / 2
    element = np.exp(-1j * np.pi * (formed / crossing) ** 2) * np.clip((8 - np.abs(formed / crossing)) / 4, 0, 1)
    grown = np.exp(formed / decay) * element
    total = np.cumsum(grown) * step
    at = np.clip(np.searchsorted(formed, time), 0, len(formed) - 1)
    return total[at] * np.exp(-time / decay) / crossing * np.sqrt(1j)


@pytest.mark.parametrize(("crossing", "decay"), [(0.02, 0.1), (0.05, 0.06), (0.01, 0.8)])
def test_the_forming_trail_is_the_decaying_cornu_spiral(crossing, decay):
    time = np.linspace(-0.6, 1.2, 40) * crossing
    assert np.abs(forming_trail(time, crossing, decay) - spiral(time, crossing, decay)).max() < 0.1
    late = np.array([4.0, 5.5]) * crossing
    assert np.abs(forming_trail(late, crossing, decay) - spiral(late, crossing, decay)).max() < 0.06


def trail(rng, rate, decay, frequency, energy, start=0.3, crossing=0.012):
    """Draw the echo of a forming trail of E/N0 ``energy`` in white noise of unit variance."""
    t = (np.arange(int((start + 6 * decay) * rate)) + 0.5) / rate
    wave = spiral(t - start, crossing, decay) * np.exp(2j * np.pi * frequency * t)
    wave *= np.exp(1j * rng.uniform(0, 2 * np.pi)) * np.sqrt(energy / np.sum(np.abs(wave) ** 2))
    noise = (rng.standard_normal(len(t)) + 1j * rng.standard_normal(len(t))) / np.sqrt(2)
    return (wave + noise).astype(np.complex64)


# Bounds of a fully observed damped exponential: sd(tau) = tau sqrt(2 N0/E), sd(f) = sqrt(2 N0/E) / (2 pi tau)
# (Yao & Pandit 1995; derived again from the Fisher matrix).
@pytest.mark.parametrize(("decay", "energy_db"), [(0.05, 25.0), (0.2, 25.0), (0.2, 35.0), (0.8, 30.0)])
def test_decay_and_frequency_reach_the_cramer_rao_bound(decay, energy_db):
    rng = np.random.default_rng(1)
    energy = 10 ** (energy_db / 10)
    limit = np.sqrt(2 / energy)
    rate = min(1000.0, 120.0 / decay)
    drawn = [trail(rng, rate, decay, 7.3, energy) for _ in range(32)]
    fits = [fit_tone(samples, rate, 0.3, decay * 1.4, 7.0) for samples in drawn]
    times = np.array([fit.decay_time_s for fit in fits])
    frequencies = np.array([fit.frequency_hz for fit in fits])
    assert times.std() < 1.5 * decay * limit  # of 32 echoes known to 13 %
    assert abs(times.mean() - decay) < 0.6 * decay * limit
    assert frequencies.std() < 1.5 * limit / (2 * np.pi * decay)
    assert abs(frequencies.mean() - 7.3) < limit / (2 * np.pi * decay) * 0.6
    assert np.median([fit.decay_time_sd_s for fit in fits]) == pytest.approx(times.std(), rel=0.4)
    assert np.median([fit.explained for fit in fits]) == pytest.approx(energy, rel=0.05)


@pytest.mark.parametrize(("decay", "crossing"), [(0.1, 0.012), (0.4, 0.03)])
def test_strong_trails_are_not_fitted_at_a_wrong_minimum(decay, crossing):
    # At an E/N0 of 42 dB the ripples of the forming trail are strong enough to hold a descent one ripple aside.
    rng, energy = np.random.default_rng(2), 10**4.2
    limit = np.sqrt(2 / energy)
    for _ in range(4):
        start = 0.3 + rng.uniform(-0.05, 0.05)
        fit = fit_tone(trail(rng, 1000.0, decay, 3.0, energy, start, crossing), 1000.0, 0.3, decay * 1.3, 3.4)
        assert abs(fit.decay_time_s - decay) < 4 * decay * limit
        assert abs(fit.frequency_hz - 3.0) < 4 * limit / (2 * np.pi * decay)
        assert abs(fit.start_s - start) < 0.002
        assert fit.explained == pytest.approx(energy, rel=0.04)
