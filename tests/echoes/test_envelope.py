import numpy as np
import pytest

from skyglint.echoes.envelope import burst_envelope, later_onsets, smoothed

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


def test_a_second_trail_is_told():
    t = np.arange(150) * FRAME_S
    one = 10 * np.exp(-t / 0.3)
    two = one + np.where(t >= 0.5, 8 * np.exp(-np.maximum(t - 0.5, 0) / 0.3), 0)
    assert later_onsets(drawn(one), FRAME_S, SAMPLES) == 0
    assert later_onsets(drawn(two), FRAME_S, SAMPLES) == 1


@pytest.mark.parametrize("seed", range(6))
def test_glints_that_beat_are_one_trail(seed):
    t = np.arange(600) * FRAME_S
    beat = np.abs(1 + 0.9 * np.exp(2j * np.pi * 1.4 * t + 1j * seed)) ** 2
    assert later_onsets(drawn(10 * beat, seed), FRAME_S, SAMPLES) == 0


def test_bursts_of_one_frame_are_described_too():
    envelope = burst_envelope(np.array([3.0]), FRAME_S, SAMPLES)
    assert envelope.middle == 0.5
    assert later_onsets(np.array([3.0]), FRAME_S, SAMPLES) == 0
