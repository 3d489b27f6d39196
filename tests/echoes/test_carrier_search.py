"""Carrier channels end to end: tones by the formula in white noise, so that levels and times are known exactly."""

import dataclasses

import numpy as np
import pytest

from skyglint.dsp.frames import ChannelGrid, FrameBlock
from skyglint.echoes.detector import Detector
from skyglint.site import Channel

RATE_HZ = 8000.0
FRAME_S = 0.01
START_UNIX = 1_786_586_400.0


def times(seconds):
    return np.arange(round(seconds * RATE_HZ)) / RATE_HZ


def trail(t, start, decay, frequency, energy):
    """Return a sharp decaying tone of E/N0 ``energy`` in noise of unit variance."""
    since = t - start
    wave = np.where(since >= 0, np.exp(-np.maximum(since, 0) / decay), 0) * np.exp(2j * np.pi * frequency * t)
    return wave * np.sqrt(energy / np.sum(np.abs(wave) ** 2))


def tone(t, frequency, c_n0_db_hz):
    return np.sqrt(10 ** (c_n0_db_hz / 10) / RATE_HZ) * np.exp(2j * np.pi * frequency * t)


def frames_of(signal, rng, stretch=0, start_unix=START_UNIX):
    noise = (rng.standard_normal(len(signal)) + 1j * rng.standard_normal(len(signal))) / np.sqrt(2)
    samples = (1e-3 * (signal + noise)).astype(np.complex64)
    n = len(samples) // 80
    window = np.hanning(258)[1:-1]
    window /= np.sqrt(256 * np.sum(window**2))
    padded = np.pad(samples, (88, 88))
    looks = np.fft.fft(np.lib.stride_tricks.sliding_window_view(padded, 256)[::80][:n] * window, axis=1)
    spectra = (np.abs(looks[:, np.arange(-96, 97)]) ** 2).astype(np.float32)
    nothing = np.zeros(n, dtype=np.float32)
    return FrameBlock(
        stretch, start_unix, 0, FRAME_S, (spectra,), (samples,), RATE_HZ, nothing, np.full(n, 1e-2, dtype=np.float32)
    )


def heard(*blocks):
    channel = Channel(name="tone", role="target", kind="carrier", frequency_hz=143e6)
    grid = ChannelGrid((np.arange(193) - 96) * 31.25, 31.25, 1.0, np.ones(193, dtype=bool))
    detector = Detector([channel], [grid], FRAME_S)
    findings = [item for block in blocks for item in detector.process(block)] + detector.finish()
    return sorted((echo for item in findings for echo in item.echoes), key=lambda echo: echo.start_unix)


@pytest.mark.parametrize("level_db_hz", [30.0, 40.0])
def test_a_burst_that_fills_most_of_a_short_recording_is_found_from_its_start(level_db_hz):
    t = times(6.0)
    burst = np.where((t >= 0.92) & (t < 4.52), tone(t, -300.0, level_db_hz), 0)
    (echo,) = heard(frames_of(burst, np.random.default_rng(1)))
    assert echo.start_unix - START_UNIX == pytest.approx(0.92, abs=0.04)
    assert echo.duration_s == pytest.approx(3.6, abs=0.1)


@pytest.mark.parametrize("frequency", [-2960.0, 2960.0])
def test_a_trail_at_the_edge_of_the_band_is_found(frequency):
    (echo,) = heard(frames_of(trail(times(15), 12.3, 0.1, frequency, 300.0), np.random.default_rng(2)))
    assert echo.start_unix - START_UNIX == pytest.approx(12.3, abs=0.03)
    assert echo.doppler_hz == pytest.approx(frequency, abs=2.0)


def test_a_trail_on_a_direct_carrier_is_found_and_the_carrier_is_not():
    t = times(25)
    (echo,) = heard(frames_of(tone(t, 0.4, 40.0) + trail(t, 20.3, 0.05, 2.0, 300.0), np.random.default_rng(3)))
    # Where the line is taken out the echo rings on both sides.
    assert echo.start_unix - START_UNIX == pytest.approx(20.3, abs=0.1)


def test_a_direct_carrier_that_drifts_is_no_echo():
    # 0.1 Hz/s is what an oscillator does while it warms up.
    t = times(40)
    drift = tone(t, 0.0, 40.0) * np.exp(1j * np.pi * 0.1 * t**2)
    assert heard(frames_of(drift, np.random.default_rng(4))) == []


@pytest.mark.parametrize("rate", [-12_000.0, 25_000.0])
def test_a_head_echo_with_a_fast_chirp_is_one_head(rate):
    t = times(15)
    since = t - 12.1
    swell = np.where((since >= 0) & (since < 0.15), np.sin(np.pi * np.clip(since / 0.15, 0, 1)), 0)
    wave = swell * np.exp(1j * np.pi * rate * (since - 0.075) ** 2)
    wave *= np.sqrt(8000.0 / np.sum(np.abs(wave) ** 2))
    (echo,) = heard(frames_of(wave, np.random.default_rng(5)))
    assert echo.echo_class == "head"
    assert echo.doppler_rate_hz_s == pytest.approx(rate, rel=0.15)
    assert echo.start_unix - START_UNIX == pytest.approx(12.1, abs=0.05)


def test_a_clipped_echo_is_flagged():
    wave = trail(times(15), 12.3, 0.2, 20.0, 1e6)
    frames = frames_of(wave, np.random.default_rng(6))
    limit = 0.3 * np.abs(frames.basebands[0]).max()
    samples = frames.basebands[0].copy()
    samples.real, samples.imag = np.clip(samples.real, -limit, limit), np.clip(samples.imag, -limit, limit)
    clipped = np.zeros(frames.n_frames, dtype=np.float32)
    clipped[1230:1260] = 0.2
    (echo,) = heard(dataclasses.replace(frames, basebands=(samples,), clipped=clipped))
    assert "clipped" in echo.flags
    assert echo.doppler_hz == pytest.approx(20.0, abs=0.2)


def test_a_gap_within_a_burst_is_flagged_on_both_sides():
    t = times(24)
    wave = np.where((t >= 11.0) & (t < 15.0), tone(t, 5.0, 40.0), 0)
    rng = np.random.default_rng(7)
    before, after = wave[: 13 * 8000], wave[13 * 8000 + 4000 :]
    echoes = heard(frames_of(before, rng), frames_of(after, rng, 1, START_UNIX + 13.5))
    assert [echo.flags.count("gap") for echo in echoes] == [1, 1]
    assert echoes[0].start_unix - START_UNIX == pytest.approx(11.0, abs=0.05)
    assert echoes[1].end_unix - START_UNIX == pytest.approx(15.0, abs=0.05)


def test_a_drifting_echo_that_fades_and_splits_is_one():
    # Two glints 3 Hz apart drift together by 25 Hz/s; the beat takes the sum down to a tenth of its power.
    t = times(25)
    since = t - 15.0
    beat = 1.0 + 0.5 * np.exp(2j * np.pi * 3.0 * since)
    inside = (since >= 0) & (since < 5.0)
    wave = np.where(inside, tone(t, 30.0, 38.0) * beat * np.exp(1j * np.pi * 25.0 * since**2), 0)
    (echo,) = heard(frames_of(wave, np.random.default_rng(8)))
    assert echo.duration_s == pytest.approx(5.0, abs=0.2)
