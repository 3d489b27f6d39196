import numpy as np
import pytest

from skyglint.echoes.envelope import burst_envelope, smoothed

FRAME_S = 0.01
SAMPLES = 1900.0


def drawn(mean, seed=1):
    mean = np.asarray(mean, dtype=float)
    return (1 + mean) * np.random.default_rng(seed).gamma(SAMPLES, 1 / SAMPLES, len(mean)) - 1


def test_a_decay_has_its_energy_early_and_rises_at_once():
    # Half of the energy of exp(-t/a) has come at a ln 2.
    t = np.arange(100) * FRAME_S
    envelope = burst_envelope(drawn(10 * np.exp(-t / 0.2)), FRAME_S, SAMPLES)
    assert envelope.middle == pytest.approx(0.2 * np.log(2), abs=0.02)
    assert envelope.rise_s == pytest.approx(FRAME_S / 2)


def test_a_swell_is_symmetric_and_rises_slowly():
    u = (np.arange(1000) + 0.5) / 1000
    envelope = burst_envelope(drawn(10 * np.sin(np.pi * u) ** 2), FRAME_S, SAMPLES)
    assert envelope.middle == pytest.approx(0.5, abs=0.01)
    # sin^2(pi u) = 1/2 at u = 1/4, a little below for the 90th percentile.
    assert envelope.rise_s == pytest.approx(2.5, abs=0.15)


def test_fades_are_counted():
    t = np.arange(1000) * FRAME_S
    envelope = burst_envelope(drawn(5 * (1 + 0.95 * np.cos(2 * np.pi * 0.7 * t))), FRAME_S, SAMPLES)
    assert envelope.fades_hz == pytest.approx(0.7, abs=0.1)
    assert burst_envelope(drawn(np.full(1000, 5.0)), FRAME_S, SAMPLES).fades_hz == 0


def test_a_weak_burst_is_smoothed_until_noise_is_small():
    smooth, length = smoothed(drawn(np.full(2000, 0.05)), SAMPLES)
    assert length > 10
    assert smooth.std() < 0.25 * 0.05
    _, length = smoothed(drawn(np.full(2000, 50.0)), SAMPLES)
    assert length == 1


def test_bursts_of_one_frame_are_described_too():
    envelope = burst_envelope(np.array([3.0]), FRAME_S, SAMPLES)
    assert envelope.middle == 0.5
