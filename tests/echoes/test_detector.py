from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from skyglint.echoes.detector import Detector


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
    assert "gap" in echoes[70].flags


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
