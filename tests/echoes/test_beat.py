import numpy as np
import pytest

from skyglint.echoes.beat import burst_beat

FRAME_S, SAMPLES = 0.01, 760.0


def drawn(mean, seed=3):
    mean = np.asarray(mean, dtype=float)
    return (1 + mean) * np.random.default_rng(seed).gamma(SAMPLES, 1 / SAMPLES, len(mean)) - 1


def crossing(duration_s=30.0, middle_s=12.0, rate_hz_s=0.3, direct=0.1, reflected=2.0):
    """Power of a direct and a reflected signal whose shift runs evenly through zero: |a + b exp(i pi r t^2)|^2."""
    t = np.arange(round(duration_s / FRAME_S)) * FRAME_S
    beat = np.cos(np.pi * rate_hz_s * (t - middle_s) ** 2)
    return direct + reflected + 2 * np.sqrt(direct * reflected) * beat


def test_the_sweep_of_a_crossing_is_found():
    beat = burst_beat(drawn(crossing()), FRAME_S, SAMPLES)
    assert beat.share > 0.7
    assert beat.sweep_hz_s == pytest.approx(0.3, rel=0.05)
    assert beat.fastest_hz == pytest.approx(0.3 * 18, rel=0.1)


def test_a_steady_beat_does_not_sweep():
    t = np.arange(2000) * FRAME_S
    beat = burst_beat(drawn(2 + np.cos(2 * np.pi * 7 * t)), FRAME_S, SAMPLES)
    assert beat.sweep_hz_s == 0
    assert beat.fastest_hz == pytest.approx(7, abs=0.1)
    assert beat.share > 0.8


def test_irregular_fading_is_no_beat():
    rng = np.random.default_rng(4)
    n = 3000
    shape = np.exp(-((np.fft.fftfreq(n, FRAME_S) / 1.0) ** 2) / 4)
    gain = 1 + np.fft.ifft(np.fft.fft(rng.standard_normal(n) + 1j * rng.standard_normal(n)) * shape) * 4
    assert burst_beat(drawn(np.abs(gain) ** 2), FRAME_S, SAMPLES).share < 0.3


@pytest.mark.parametrize("seed", range(8))
def test_noise_on_a_steady_signal_is_no_beat(seed):
    assert burst_beat(drawn(np.full(3000, 2.0), seed), FRAME_S, SAMPLES).share == 0


def test_what_is_short_has_no_beat():
    assert burst_beat(drawn(np.full(300, 2.0)), FRAME_S, SAMPLES) is None
