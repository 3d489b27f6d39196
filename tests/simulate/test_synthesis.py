import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.simulate.other_envelopes import burst, steady
from skyglint.simulate.resampling import AudioUpsampler, band_edge
from skyglint.simulate.synthesis import Emitter, Synthesizer, rates_for


@given(st.floats(8_000, 20e6))
def test_rates_fit_any_receiver(rate_hz):
    rates = rates_for(rate_hz)
    assert rates.block % rates.carrier_factor == 0
    assert rates.carrier_factor % rates.fm_factor == 0
    assert (rates.block - rates.hop) // 2 % rates.carrier_factor == 0
    assert rates.hop % rates.carrier_factor == 0
    if rate_hz >= 250_000:
        assert rate_hz / rates.fm_factor >= 250_000
        assert rate_hz / rates.fm_factor < 620_000
    if rate_hz >= 20_000:
        assert 20_000 <= rate_hz / rates.carrier_factor < 620_000
    if rate_hz >= 300_000:
        assert rate_hz / rates.carrier_factor < 40_000


def constant(start, n):
    return np.ones(n, dtype=np.complex64)


@pytest.mark.parametrize("shift", [0, 5, -3000, 7_000])
def test_a_shifted_station_keeps_its_phase(shift):
    rates = rates_for(1_200_000)
    emitter = Emitter(rates.carrier_factor, shift, 0.5, constant, (steady(-1.0, 10.0),))
    synthesizer = Synthesizer([emitter], rates)
    samples = np.concatenate([synthesizer.read() for _ in range(4)])
    expected = 0.5 * np.exp(2j * np.pi * ((shift * np.arange(len(samples))) % rates.block) / rates.block)
    np.testing.assert_allclose(samples, expected, atol=1e-4)


def test_what_leaves_the_band_does_not_come_back_on_the_other_side():
    rates = rates_for(80_000)
    beyond = rates.block // 2 + 200
    synthesizer = Synthesizer([Emitter(rates.carrier_factor, beyond, 1.0, constant, (steady(-1.0, 10.0),))], rates)
    assert np.abs(synthesizer.read()).max() < 1e-3


def test_silence_costs_nothing_and_a_late_station_comes_on_time():
    rates = rates_for(600_000)
    calls = []

    def read(start, n):
        calls.append(start)
        return constant(start, n)

    synthesizer = Synthesizer([Emitter(rates.carrier_factor, 0, 1.0, read, (burst(1.0, 0.5, 0.0),))], rates)
    blocks = [synthesizer.read() for _ in range(int(2 * 600_000 / rates.hop))]
    samples = np.concatenate(blocks)
    assert len(calls) < 0.6 * len(blocks)
    on = np.flatnonzero(np.abs(samples) > 0.5) / 600_000
    assert (on[0], on[-1]) == (pytest.approx(1.0, abs=1e-3), pytest.approx(1.5, abs=1e-3))


def test_band_edge():
    gain = band_edge(64, 0.5, 0.75)
    share = np.abs(np.fft.fftfreq(64)) * 2
    np.testing.assert_array_equal(gain[share <= 0.5], 1)
    np.testing.assert_array_equal(gain[share >= 0.75], 0)
    assert gain[share == 0.625] == pytest.approx(0.5)


def test_upsampled_audio_is_the_same_tone_delayed():
    upsampler = AudioUpsampler(2, 8, 0.8, n=1024)
    t = np.arange(20 * upsampler.hop)
    tones = np.stack([np.sin(2 * np.pi * 0.1 * t), np.cos(2 * np.pi * 0.35 * t)]).astype(np.float32)
    out = np.concatenate([upsampler.process(part) for part in np.split(tones, 20, axis=1)], axis=1)
    delay = 1024 // 8
    fine = (np.arange(out.shape[1]) / 8) - delay
    settled = slice(5 * 8 * upsampler.hop, None)
    np.testing.assert_allclose(out[0, settled], np.sin(2 * np.pi * 0.1 * fine)[settled], atol=2e-3)
    np.testing.assert_allclose(out[1, settled], np.cos(2 * np.pi * 0.35 * fine)[settled], atol=2e-3)
