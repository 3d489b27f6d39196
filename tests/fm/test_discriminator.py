import numpy as np
import pytest

from skyglint.fm.discriminator import demodulate, smooth


def test_frequency_of_a_known_modulation():
    rate_hz = 250e3
    deviation = 75e3 * np.sin(2 * np.pi * 1000 * np.arange(25_000) / rate_hz)
    channel = np.exp(2j * np.pi / rate_hz * np.cumsum(deviation)).astype(np.complex64)
    multiplex = demodulate(channel, rate_hz)
    assert multiplex.frequency_hz == pytest.approx(deviation[1:], abs=5.0)
    assert multiplex.power == pytest.approx(np.ones(24_999), abs=1e-4)


def test_noise_density_rises_with_the_square_of_the_frequency():
    # Above threshold the one-sided density is f^2 N0/C (any textbook on FM; Rice 1963): 30 dB in 200 kHz.
    random = np.random.default_rng(4)
    rate_hz, n = 240e3, 1 << 19
    noise = random.standard_normal((2, n)) * np.sqrt(1e-3 * rate_hz / 200e3 / 2)
    multiplex = demodulate((1 + noise[0] + 1j * noise[1]).astype(np.complex64), rate_hz)
    hertz = np.fft.rfftfreq(multiplex.n_fft, 1 / rate_hz)
    density = 2 * np.abs(multiplex.spectrum) ** 2 / (rate_hz * len(multiplex.frequency_hz))
    for low, high in ((18e3, 20e3), (55e3, 59e3)):
        band = (hertz > low) & (hertz < high)
        # The phase step over one sample stands for the derivative: sinc^2 of the frequency.
        expected = np.mean(hertz[band] ** 2 * np.sinc(hertz[band] / rate_hz) ** 2) * 1e-3 / 200e3
        assert np.mean(density[band]) == pytest.approx(expected, rel=0.06)


def test_running_mean_against_a_plain_one():
    values = np.random.default_rng(5).random(40).astype(np.float32)
    plain = [values[max(i - 3, 0) : i + 4].mean() for i in range(40)]
    assert smooth(values, 7) == pytest.approx(plain, rel=1e-5)
