import numpy as np
import pytest

from skyglint.simulate.tone import Tone


def test_a_tone_is_exact_wherever_it_is_read():
    whole = Tone(16_000.0, 1234.5, 0.0, np.random.default_rng(1)).read(0, 30_000)
    late = Tone(16_000.0, 1234.5, 0.0, np.random.default_rng(1)).read(20_000, 10_000)
    np.testing.assert_allclose(whole[20_000:], late, atol=1e-4)
    frequency = np.angle(whole[1:] * whole[:-1].conj()).mean() * 16_000 / (2 * np.pi)
    assert frequency == pytest.approx(1234.5, abs=0.01)


def test_line_width():
    # A random walk of the phase makes a Lorentzian line: |correlation| falls as exp(-pi w t), half power at +-w/2
    # (Lax, Phys. Rev. 160, 290 (1967)).
    width_hz, rate_hz = 20.0, 4_000.0
    tone = Tone(rate_hz, 0.0, width_hz, np.random.default_rng(2))
    samples = np.concatenate([tone.read(start, 4_000) for start in range(0, 2_000_000, 4_000)])
    for lag in (20, 60):
        correlation = abs(np.mean(samples[lag:] * samples[:-lag].conj()))
        assert correlation == pytest.approx(np.exp(-np.pi * width_hz * lag / rate_hz), rel=0.05)
