import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.echoes.picker import Picker, strongest_interval, window_readings
from skyglint.echoes.scales import search_windows
from skyglint.echoes.settings import DetectionSettings

WINDOWS = search_windows(3, 300)
SIGMA = 0.036
THRESHOLDS = 5.0 * SIGMA * np.sqrt(WINDOWS.moment(2))


def bursts_of(excess):
    picker = Picker(WINDOWS, DetectionSettings(longest_echo_s=3.0), 0.01)
    padded = np.concatenate([np.zeros(300), excess])
    found = []
    for end in range(50, len(excess) + 1, 50):
        picker.search(padded[: 300 + end], end, 50, THRESHOLDS)
        found += picker.close(end)
    return found + picker.close(len(excess), everything=True)


def noise(n=2000, seed=1):
    return SIGMA * np.random.default_rng(seed).standard_normal(n)


def test_readings_are_window_means():
    excess = np.random.default_rng(4).standard_normal((2, 400))
    ends = np.array([301, 400])
    readings = window_readings(excess, WINDOWS, ends)
    for row, (first, length) in enumerate(zip(WINDOWS.first, WINDOWS.length, strict=True)):
        for column, end in enumerate(ends):
            part = excess[:, end - length : end]
            direct = WINDOWS.high[row] * part[:, :first].sum(axis=1) + WINDOWS.low[row] * part[:, first:].sum(axis=1)
            np.testing.assert_allclose(readings[:, row, column], direct, atol=1e-10)


@given(st.lists(st.floats(-2, 2), min_size=1, max_size=30), st.floats(-0.5, 0.5))
def test_no_interval_beats_the_strongest(values, level):
    values = np.array(values)
    start, stop = strongest_interval(values, level)
    best = (values[start:stop] - level).sum()
    for i in range(len(values)):
        for j in range(i, len(values) + 1):
            assert (values[i:j] - level).sum() <= best + 1e-9


def test_quiet_noise_gives_nothing():
    assert bursts_of(noise()) == []


def test_one_burst_is_one_with_its_edges():
    excess = noise()
    excess[700:760] += 1.0
    (burst,) = bursts_of(excess)
    assert abs(burst.start - 700) <= 1
    assert abs(burst.stop - 760) <= 1


def test_a_strong_short_burst_leaves_nothing_for_long_windows():
    excess = noise()
    excess[700:705] += 1000.0
    (burst,) = bursts_of(excess)
    assert (burst.start, burst.stop) == (700, 705)


def test_a_fading_burst_is_one():
    excess = noise()
    t = np.arange(250)
    excess[500:750] += 2.0 * np.cos(np.pi * t / 60.0) ** 2
    (burst,) = bursts_of(excess)
    assert burst.start == pytest.approx(500, abs=3)
    assert burst.stop == pytest.approx(750, abs=12)


def test_two_bursts_far_apart_are_two():
    excess = noise()
    excess[500:520] += 1.0
    excess[700:720] += 1.0
    assert [round(burst.start, -1) for burst in bursts_of(excess)] == [500, 700]


def test_a_weak_long_burst_is_found_by_a_long_window():
    excess = noise()
    excess[900:1150] += 0.025  # 0.7 sigma a frame
    (burst,) = bursts_of(excess)
    assert burst.window_frames > 30
    assert burst.start == pytest.approx(900, abs=50)
    assert burst.stop == pytest.approx(1150, abs=40)


def test_what_lasts_too_long_is_closed_and_not_found_again():
    excess = noise()
    excess[500:] += 1.0
    found = bursts_of(excess)
    assert len(found) == 1
    assert found[0].overlong
