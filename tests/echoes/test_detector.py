import dataclasses
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from skyglint.dsp.frames import ChannelGrid
from skyglint.echoes.detector import Detector
from skyglint.site import Channel, SitePlace


def echoes_of(findings):
    return [echo for part in findings for echo in part.echoes]


def run(night, frames, cuts=(), n=None, **kwargs):
    n = n or len(frames.spectra)
    detector = Detector(night.channels(n), night.grids(n), night.frame_s, **kwargs)
    edges = [0, *sorted(cuts), frames.n_frames]
    findings = []
    for start, stop in pairwise(edges):
        if stop > start:
            findings += detector.process(night.part(frames, start, stop))
    return findings + detector.finish()


@pytest.fixture(scope="module")
def busy_night(night):
    """70.33 s of two channels: an early burst, a strong decaying one, a long weak one, one that the end cuts off."""
    rng = np.random.default_rng(7)
    t = np.arange(7033) * night.frame_s
    snr = np.zeros((2, len(t)))
    snr[0] += np.where((t >= 2.0) & (t < 2.5), 1.0, 0.0)
    snr[0] += np.where(t >= 20.0, 30.0 * np.exp(-np.maximum(t - 20.0, 0) / 0.15), 0.0)
    snr[1] += np.where((t >= 30.0) & (t < 42.0), 0.1, 0.0)
    snr[1] += np.where(t >= 69.9, 2.0, 0.0)
    return night.frames(rng, snr)


def test_bursts_are_found_where_they_are(night, busy_night):
    found = {(echo.channel, round(echo.start_unix - night.start_unix, 1)) for echo in echoes_of(run(night, busy_night))}
    assert {("lane-0", 2.0), ("lane-0", 20.0), ("lane-1", 30.0), ("lane-1", 69.9)} <= found
    assert len(found) <= 6  # one more may be noise


def test_what_is_measured_is_what_was_planted(night, busy_night):
    echoes = {round(echo.start_unix - night.start_unix): echo for echo in echoes_of(run(night, busy_night))}
    assert echoes[2].peak_snr_db == pytest.approx(0.0, abs=1.0)
    assert echoes[2].duration_s == pytest.approx(0.5, abs=0.03)
    assert echoes[2].energy_snr_s == pytest.approx(0.5, rel=0.1)
    assert echoes[20].peak_snr_db == pytest.approx(10 * np.log10(30.0 * np.exp(-0.005 / 0.15)), abs=1.0)
    assert echoes[20].energy_snr_s == pytest.approx(30.0 * 0.15, rel=0.1)
    assert echoes[30].duration_s == pytest.approx(12.0, abs=0.3)
    assert echoes[30].energy_snr_s == pytest.approx(1.2, rel=0.1)
    assert "edge" in echoes[70].flags
    assert not any({"edge", "gap"} & set(echoes[second].flags) for second in (2, 20, 30))


@pytest.mark.parametrize("start_s", [0.0, 1.3, 2.4])
@pytest.mark.parametrize("snr", [0.1, 1.0, 30.0])
def test_a_burst_that_fills_most_of_a_short_recording_is_found_from_its_start(night, start_s, snr):
    t = np.arange(600) * night.frame_s
    burst = np.where((t >= start_s) & (t < start_s + 3.6), snr, 0.0)
    (echo,) = echoes_of(run(night, night.frames(np.random.default_rng(31), burst)))
    assert echo.start_unix - night.start_unix == pytest.approx(start_s, abs=0.05)
    assert echo.duration_s == pytest.approx(3.6, abs=0.1)
    assert echo.energy_snr_s == pytest.approx(3.6 * snr, rel=0.1)


@settings(max_examples=8, deadline=None)
@given(cuts=st.lists(st.integers(1, 7032), max_size=40, unique=True))
def test_any_cutting_of_the_stream_gives_the_same_findings(night, busy_night, cuts):
    whole, cut = run(night, busy_night), run(night, busy_night, cuts)
    assert_same(whole, cut)


def assert_same(whole, cut):
    for name in ("floor", "excess"):
        one = np.concatenate([getattr(part, name) for part in whole], axis=1)
        other = np.concatenate([getattr(part, name) for part in cut], axis=1)
        np.testing.assert_array_equal(one, other)
    first, second = echoes_of(whole), echoes_of(cut)
    assert len(first) == len(second)
    for one, other in zip(sorted(first, key=key), sorted(second, key=key), strict=True):
        assert key(one) == key(other)
        assert one.details == other.details
        np.testing.assert_array_equal(one.snippet.power_db, other.snippet.power_db)
        np.testing.assert_array_equal(one.snippet.spectrogram_db, other.snippet.spectrogram_db)


def key(echo):
    return (
        echo.start_unix, echo.channel, echo.duration_s, echo.peak_unix, echo.peak_snr_db, echo.energy_snr_s,
        echo.echo_class, echo.flags, echo.reason,
    )  # fmt: skip


def test_every_frame_is_told_once_and_in_order(night, busy_night):
    findings = run(night, busy_night, cuts=[13, 1400, 5001])
    at = night.start_unix
    for part in findings:
        assert part.start_unix == pytest.approx(at, abs=1e-6)
        at += part.excess.shape[1] * night.frame_s
    assert at == pytest.approx(busy_night.end_unix, abs=1e-6)


def test_an_echo_is_told_within_two_seconds_of_its_end(night, busy_night):
    detector = Detector(night.channels(2), night.grids(2), night.frame_s)
    late = []
    for start in range(0, busy_night.n_frames, 10):
        part = night.part(busy_night, start, min(start + 10, busy_night.n_frames))
        for echo in echoes_of(detector.process(part)):
            if echo.end_unix > night.start_unix + 10:  # nothing is told before the first floor is known
                late.append(part.end_unix - echo.end_unix)
    assert late
    assert max(late) <= 2.0


def test_a_gap_ends_one_stretch_and_starts_another(night, rng):
    first = night.frames(rng, np.full((1, 1500), 0.0))
    snr = np.where(np.arange(1500) < 100, 1.0, 0.0)
    second = night.frames(rng, snr, stretch=1, start_unix=night.start_unix + 17.0)
    detector = Detector(night.channels(1), night.grids(1), night.frame_s)
    findings = detector.process(first) + detector.process(second) + detector.finish()
    echo = max(echoes_of(findings), key=lambda item: item.peak_snr_db)
    assert echo.start_unix == pytest.approx(night.start_unix + 17.0, abs=0.011)
    assert "gap" in echo.flags
    assert "edge" not in echo.flags


def test_a_burst_is_cut_by_a_gap_or_by_the_edge_of_what_was_watched(night, rng):
    first = night.frames(rng, np.where((np.arange(2000) < 100) | (np.arange(2000) >= 1900), 1.0, 0.0))
    second = night.frames(rng, np.where(np.arange(2000) >= 1900, 1.0, 0.0), stretch=1, start_unix=night.start_unix + 30)
    detector = Detector(night.channels(1), night.grids(1), night.frame_s)
    findings = detector.process(first) + detector.process(second) + detector.finish()
    strong = [echo for echo in echoes_of(findings) if echo.energy_snr_s > 0.5]
    assert [set(echo.flags) & {"edge", "gap"} for echo in strong] == [{"edge"}, {"gap"}, {"edge"}]


@pytest.mark.parametrize("n_frames", [1, 7, 49, 50, 51, 999])
def test_a_stretch_shorter_than_the_warm_up_is_searched_all_the_same(night, rng, n_frames):
    frames = night.frames(rng, np.zeros((2, n_frames)))
    findings = run(night, frames)
    assert sum(part.excess.shape[1] for part in findings) == n_frames


def test_detection_does_not_depend_on_the_gain(night):
    snr = np.where((np.arange(3000) >= 2000) & (np.arange(3000) < 2030), 0.5, 0.0)
    once = echoes_of(run(night, night.frames(np.random.default_rng(3), snr)))
    again = echoes_of(run(night, night.frames(np.random.default_rng(3), snr, gain=64.0)))
    assert [(e.start_unix, e.duration_s) for e in once] == [(e.start_unix, e.duration_s) for e in again]
    assert once


def carrier_night(night, rng, seconds=40.0):
    """One FM channel and one carrier channel: tones by the formula in white noise, E/N0 as stated."""
    rate, n_frames = 8000.0, int(seconds * 100)
    t = np.arange(int(seconds * rate)) / rate
    signal = (rng.standard_normal(len(t)) + 1j * rng.standard_normal(len(t))) / np.sqrt(2)
    for start, decay, frequency, energy in ((20.0, 0.1, 12.0, 1000.0), (30.0, 0.4, -700.0, 300.0)):
        since = t - start
        shape = np.where(since >= 0, np.exp(-np.maximum(since, 0) / decay), 0)
        wave = shape * np.exp(2j * np.pi * frequency * t)
        signal += wave * np.sqrt(energy / np.sum(np.abs(wave) ** 2))
    signal = (signal * 1e-3).astype(np.complex64)
    fm = night.frames(rng, np.zeros((1, n_frames)))
    power = (rng.standard_gamma(1.0, (n_frames, 193)) * 1e-6 / 256).astype(np.float32)
    return dataclasses.replace(fm, spectra=(fm.spectra[0], power), basebands=(None, signal), baseband_rate_hz=rate)


def carrier_detector(night):
    tone = Channel(name="tone", role="target", kind="carrier", frequency_hz=98e6)
    grid = ChannelGrid((np.arange(193) - 96) * 31.25, 31.25, 1.0, np.ones(193, dtype=bool))
    return Detector([*night.channels(1), tone], [*night.grids(1), grid], night.frame_s)


@pytest.mark.parametrize("cuts", [[], [13, 777, 1500, 2025, 2026, 3333]])
def test_carriers_are_found_beside_fm_channels_for_any_cutting(night, cuts):
    frames = carrier_night(night, np.random.default_rng(12))
    detector = carrier_detector(night)
    findings = []
    for start, stop in pairwise([0, *cuts, frames.n_frames]):
        findings += detector.process(night.part(frames, start, stop))
    findings += detector.finish()
    tones = [echo for echo in echoes_of(findings) if echo.channel == "tone"]
    assert [round(echo.start_unix - night.start_unix, 1) for echo in tones] == [20.0, 30.0]
    for echo, decay, frequency, energy in zip(tones, (0.1, 0.4), (12.0, -700.0), (1000.0, 300.0), strict=True):
        assert echo.echo_class == "underdense"
        assert echo.decay_time_s == pytest.approx(decay, abs=4 * decay * np.sqrt(2 / energy))
        assert echo.doppler_hz == pytest.approx(frequency, abs=4 * np.sqrt(2 / energy) / (2 * np.pi * decay))
        assert echo.peak_snr_db == pytest.approx(10 * np.log10(energy * 2 / decay), abs=2.0)
    if cuts:
        assert_same(findings, carrier_whole(night, frames))


def carrier_whole(night, frames):
    detector = carrier_detector(night)
    return detector.process(frames) + detector.finish()


def test_a_place_gives_heights(night):
    place = SitePlace(name="Harrow Fell", latitude_deg=54.6, longitude_deg=-2.9, height_m=210, timezone="UTC")
    far = Channel(
        name="far", role="target", kind="fm", frequency_hz=100e6, latitude_deg=50.0, longitude_deg=10.0
    )  # 1,000 km away
    t = np.arange(3000) * night.frame_s
    snr = np.where(t >= 20.0, 30.0 * np.exp(-np.maximum(t - 20.0, 0) / 0.1), 0.0)
    frames = night.frames(np.random.default_rng(5), snr)
    detector = Detector([far], night.grids(1), night.frame_s, place=place)
    (echo,) = [e for e in echoes_of(detector.process(frames) + detector.finish()) if e.peak_snr_db > 5]
    # Amplitude decay time 0.2 s; sec^2 phi is about 20 at 1,000 km, so D = lambda^2 sec^2 phi / (16 pi^2 tau) = 5.7
    # m^2/s, which the relation log D = 0.067 h - 5.6 of Greenhow & Neufeld (1955) puts at 94.9 km.
    assert echo.height_km == pytest.approx(94.9, abs=1.0)
    assert 2.0 < echo.height_sd_km < 4.0
