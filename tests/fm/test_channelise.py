import numpy as np
import pytest

from skyglint.fm.channelise import HALF_WIDTH_HZ, SKIRT_HZ, channelise, lowpass


@pytest.mark.parametrize("rate_hz", [200e3, 240e3, 250e3, 300e3, 1.024e6, 2.4e6, 3.2e6])
def test_tones_keep_frequency_level_and_time(rate_hz):
    offset_hz = 0.3 * rate_hz if rate_hz > 1e6 else 7e3
    times = np.arange(int(0.02 * rate_hz)) / rate_hz
    tone = np.exp(2j * np.pi * (offset_hz + 30e3) * times).astype(np.complex64)
    channel, out_hz = channelise(tone, rate_hz, offset_hz)
    assert 200e3 <= out_hz < 480e3
    expected = np.exp(2j * np.pi * 30e3 * np.arange(len(channel)) / out_hz)
    inner = slice(50, -50)
    assert np.abs(channel[inner] - expected[inner]).max() < 5e-3


def test_neighbours_are_taken_out_before_they_fold():
    rate_hz = 2.4e6
    times = np.arange(48_000) / rate_hz
    for away_hz in (-400e3, 200e3, 240e3, 480e3):
        channel, _ = channelise(np.exp(2j * np.pi * away_hz * times).astype(np.complex64), rate_hz)
        assert np.abs(channel[50:-50]).max() < 2e-3


def test_filter_is_half_at_its_edge():
    taps = lowpass(HALF_WIDTH_HZ / 1e6, SKIRT_HZ / 1e6)
    at_edge = np.abs(taps @ np.exp(2j * np.pi * HALF_WIDTH_HZ / 1e6 * np.arange(len(taps))))
    assert at_edge == pytest.approx(0.5, abs=0.01)
    assert taps.sum() == pytest.approx(1.0)
