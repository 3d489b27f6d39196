import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.simulate.events import GainStep
from skyglint.simulate.receiver import GainWander, spoil, step_gain_db, white_noise
from skyglint.simulate.scenario import Receiver


def test_noise_is_white_gaussian_and_of_its_power():
    noise = white_noise(400_000, 0.02, np.random.default_rng(1))
    power = np.abs(noise) ** 2
    assert power.mean() == pytest.approx(0.02, rel=0.01)
    assert (power**2).mean() / power.mean() ** 2 == pytest.approx(2, rel=0.02)
    assert abs(np.mean(noise**2)) < 0.01 * 0.02  # I and Q alike and independent
    spectrum = np.abs(np.fft.fft(noise.reshape(100, -1), axis=1)) ** 2
    assert spectrum.mean(axis=0).std() / spectrum.mean() == pytest.approx(0.1, rel=0.1)


@given(st.floats(-3, 3), st.floats(-20, 20))
def test_image_stands_where_the_imbalance_puts_it(gain_db, phase_deg):
    # Image rejection (1 + 2 g cos p + g^2) / (1 - 2 g cos p + g^2): Razavi, RF Microelectronics, sec. 4.2.
    receiver = Receiver(iq_gain_db=gain_db, iq_phase_deg=phase_deg)
    tone = np.exp(2j * np.pi * 7 * np.arange(64) / 64).astype(np.complex64)
    spectrum = np.abs(np.fft.fft(spoil(tone, receiver))) ** 2
    g, cosine = 10 ** (gain_db / 20), np.cos(np.radians(phase_deg))
    expected = (1 - 2 * g * cosine + g * g) / (1 + 2 * g * cosine + g * g)
    assert spectrum[-7] / spectrum[7] == pytest.approx(expected, rel=1e-3, abs=1e-9)


def test_dc():
    spoilt = spoil(np.zeros(100, dtype=np.complex64), Receiver(dc_i=0.01, dc_q=-0.02))
    np.testing.assert_allclose(spoilt, 0.01 - 0.02j)


def test_a_perfect_receiver_changes_nothing():
    noise = white_noise(100, 1.0, np.random.default_rng(2))
    np.testing.assert_array_equal(spoil(noise, Receiver()), noise)


def test_gain_wanders_with_its_spread_and_memory():
    # Ornstein-Uhlenbeck: standard deviation as given, correlation exp(-lag / memory).
    wander = GainWander(0.5, 10.0, np.random.default_rng(3))
    pieces = [wander.read(1.0) for _ in range(40_000)]
    assert all(before[1] == after[0] for before, after in itertools.pairwise(pieces))
    gain_db = np.array([begin for begin, _ in pieces])
    assert gain_db.std() == pytest.approx(0.5, rel=0.05)
    assert np.corrcoef(gain_db[:-10], gain_db[10:])[0, 1] == pytest.approx(np.exp(-1), abs=0.05)


def test_gain_steps_add_up():
    steps = (GainStep(start_s=1.0, duration_s=2.0, step_db=3.0), GainStep(start_s=2.0, duration_s=2.0, step_db=-1.0))
    np.testing.assert_allclose(step_gain_db(steps, np.array([0.5, 1.0, 2.5, 3.5, 4.0])), [0, 3, 2, -1, 0])
