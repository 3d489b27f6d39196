from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from skyglint.dsp.straighten import Straightener, whitened

RATE_HZ = 8_000.0


def chirp_turns(times_s):
    return 500.0 * times_s - 3.0 * times_s**2


def made(random, seconds, offset_hz=0.0, amplitude=1.0):
    times = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    noise = random.standard_normal((2, len(times))) / np.sqrt(2)
    tone = amplitude * np.exp(2j * np.pi * (chirp_turns(times) + offset_hz * times))
    return (noise[0] + 1j * noise[1] + tone).astype(np.complex64)


def test_a_predicted_chirp_stands_still():
    straightener = Straightener(chirp_turns, 0.25, 800.0, RATE_HZ)
    times, powers = straightener.process(made(np.random.default_rng(1), 20.0, 40.0, 0.3), 0.0)
    assert straightener.cell_s == 0.25
    assert times == pytest.approx(0.125 + 0.25 * np.arange(80))
    assert np.all(straightener.offsets_hz[np.argmax(powers, axis=1)] == 40.0)
    # A tone of power 0.09 against noise of density 1/rate: C/N0 = 0.09 x 8000 = 720; a Hann window keeps 2/3 of it.
    assert powers.max(axis=1).mean() == pytest.approx(0.09 * 8_000 * 0.25 * 2 / 3, rel=0.1)


def test_noise_has_unit_power_in_every_bin():
    straightener = Straightener(chirp_turns, 0.1, 2_000.0, RATE_HZ)
    _, powers = straightener.process(made(np.random.default_rng(2), 60.0, amplitude=0.0), 0.0)
    assert powers.mean() == pytest.approx(1.0, abs=0.02)
    assert powers.std() == pytest.approx(1.0, abs=0.03)


@settings(max_examples=20, deadline=None)
@given(st.lists(st.integers(0, 16_000), min_size=1, max_size=6))
def test_cutting_the_stream_changes_nothing(cuts):
    samples = made(np.random.default_rng(3), 2.0)
    whole = Straightener(chirp_turns, 0.05, 500.0, RATE_HZ).process(samples, 7.0)
    pieces, straightener, places = [], Straightener(chirp_turns, 0.05, 500.0, RATE_HZ), [0, *sorted(cuts), 16_000]
    for low, high in pairwise(places):
        pieces.append(straightener.process(samples[low:high], 7.0 + low / RATE_HZ))
    assert np.concatenate([piece[0] for piece in pieces]) == pytest.approx(whole[0], abs=1e-9)
    assert np.allclose(np.concatenate([piece[1] for piece in pieces]), whole[1], rtol=1e-3, atol=1e-3)


def test_a_new_stretch_starts_a_new_cell():
    straightener = Straightener(chirp_turns, 0.05, 500.0, RATE_HZ)
    straightener.process(np.ones(500, np.complex64), 0.0)
    straightener.reset()
    times, _ = straightener.process(np.ones(400, np.complex64), 3.0)
    assert times == pytest.approx([3.025])


def test_whitening_levels_gain_and_passband_but_not_a_straight_track():
    random = np.random.default_rng(4)
    powers = random.standard_exponential((400, 161)).astype(np.float32)
    powers[:, 50] += 20.0
    powers *= np.linspace(1, 3, 400)[:, None] * (1 + 0.5 * np.cos(np.linspace(-1.5, 1.5, 161)))
    level = whitened(powers.astype(np.float32))
    others = np.delete(level, 50, axis=1)
    assert others.mean() == pytest.approx(1.0, abs=0.03)
    assert others[:, :40].mean() == pytest.approx(1.0, abs=0.05)
    assert others[:50].mean() == pytest.approx(1.0, abs=0.05)
    assert level[:, 50].mean() == pytest.approx(21.0, rel=0.1)
