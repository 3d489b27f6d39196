import numpy as np
import pytest

from skyglint.echoes.chirp import chirp_line

RATE_HZ = 8000.0


# Bound for a constant amplitude over T: sd(rate) = sqrt(90 / (pi^2 T^4 E/N0)) = 8 Hz/s, from the Fisher matrix of a
# quadratic phase (Kay, "Estimation Theory" (1993) ch. 3); the swell's core is shorter.
@pytest.mark.parametrize(("rate", "guess"), [(25_000.0, 15_000.0), (-3_000.0, -4_000.0), (12_000.0, 20_000.0)])
def test_a_fast_chirp_is_measured(rate, guess):
    rng = np.random.default_rng(1)
    t = (np.arange(1600) + 0.5) / RATE_HZ
    since = t - 0.1
    wave = np.where(np.abs(since) < 0.075, np.cos(np.pi * since / 0.15), 0)
    wave = wave * np.exp(1j * np.pi * rate * since**2 + 2j * np.pi * 700.0 * since)
    wave *= np.sqrt(300.0 / np.sum(np.abs(wave) ** 2))
    noise = (rng.standard_normal(1600) + 1j * rng.standard_normal(1600)) / np.sqrt(2)
    frequency, measured = chirp_line((wave + noise).astype(np.complex64), RATE_HZ, 0.1, 0.15, guess)
    assert measured == pytest.approx(rate, abs=60.0)
    assert frequency == pytest.approx(700.0, abs=5.0)
