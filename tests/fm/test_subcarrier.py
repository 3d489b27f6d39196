import numpy as np
import pytest

from skyglint.fm.channelise import channelise
from skyglint.fm.discriminator import demodulate
from skyglint.fm.subcarrier import bit_spectrum, receive


def received(samples, pilot_hz=None):
    return receive(demodulate(*channelise(samples, 240e3)), pilot_hz)


def test_shaping_at_the_standards_frequencies():
    # EN 50067 sect. 1.7: H(0), H(593.75), H(1187.5), H(1781.25), H(2375 Hz); the pair of impulses adds a sine.
    hertz = np.array([593.75, 1187.5, 1781.25, 2375.0])
    pair = 2 * np.sin(np.pi * hertz / 2375)
    assert np.abs(bit_spectrum(hertz))[:3] == pytest.approx(pair[:3] * [0.92388, 0.70711, 0.38268], abs=1e-5)
    assert np.abs(bit_spectrum(np.array([0.0, 2375.0, 3000.0]))) == pytest.approx([0, 0, 0], abs=1e-9)


@pytest.mark.parametrize("snr_db", [12.0, 20.0])
def test_energy_per_bit_against_the_theory_of_the_discriminator(burst, snr_db):
    # Noise density at 57 kHz is f^2 N0/C. The waveform's power is half its peak's (2/td against sqrt(8)/td for one
    # impulse pair, from H), and the subcarrier halves it again.
    energies = [
        received(burst(np.random.default_rng(seed), snr_db, 0.5), 19e3)[0].energy_per_bit_db for seed in range(6)
    ]
    theory = 10 * np.log10(3200**2 / 4 / 1187.5 / 57e3**2) + snr_db + 10 * np.log10(200e3)
    assert np.mean(energies) == pytest.approx(theory, abs=0.7)


@pytest.mark.parametrize("subcarrier_error_hz", [-6.0, 0.0, 6.0])
def test_without_a_pilot_the_subcarrier_is_found(burst, subcarrier_error_hz):
    random = np.random.default_rng(11)
    samples = burst(random, 18, 0.4, pilot=False, subcarrier_error_hz=subcarrier_error_hz)
    assert received(samples)[0].energy_per_bit_db > 8.0


def test_fading_bits_are_believed_less(burst):
    samples = burst(np.random.default_rng(12), 14, 0.4, envelope=lambda t: np.where(t < 0.2, 1.0, 0.25))
    ratios = np.abs(received(samples, 19e3)[0].ratios)
    half = len(ratios) // 2
    assert ratios[5 : half - 5].mean() > 3 * ratios[half + 5 :].mean()


def test_noise_has_weak_bits():
    noise = np.random.default_rng(13).standard_normal((2, 72_000))
    ratios = received((noise[0] + 1j * noise[1]).astype(np.complex64))[0].ratios
    assert np.abs(ratios).mean() < 1.5


def test_too_short_or_too_slow_gives_nothing():
    multiplex = demodulate(np.ones(2_000, np.complex64), 240e3)
    assert receive(multiplex) == []
    assert receive(demodulate(np.ones(50_000, np.complex64), 100e3)) == []
