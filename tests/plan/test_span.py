"""The receiver's span: plain arithmetic on invented channels."""

import numpy as np
import pytest

from skyglint.plan.proposal import Proposed, apart
from skyglint.plan.span import tuning_hz, window_hz


def fm(megahertz):
    return Proposed("target", "fm", megahertz * 1e6, None, None, "")


def test_window_shrinks_with_what_is_chosen(site):
    # Eight tenths of 2.4 MHz less one channel of 200 kHz leave 1.72 MHz between the outermost centres.
    assert window_hz(site, [fm(98.0)]) == pytest.approx((96.28e6, 99.72e6))
    assert window_hz(site, [fm(98.0), fm(99.0)]) == pytest.approx((97.28e6, 99.72e6))


def test_tuning_keeps_spike_and_images_off(site):
    channels = [fm(97.5), fm(98.0), fm(98.5)]
    center, clear = tuning_hz(site, channels, np.array([]))
    assert clear
    assert min(abs(channel.frequency_hz - center) for channel in channels) >= 149_000
    # A strong station at 97.3 would fall on 98.5 from 97.9; the tuning avoids that.
    center, clear = tuning_hz(site, channels, np.array([97.3e6, 98.9e6]))
    assert clear
    images = 2 * center - np.array([97.3e6, 98.9e6])
    assert min(abs(channel.frequency_hz - image) for channel in channels for image in images) >= 149_000


def test_when_nothing_is_clear_it_says_so(site):
    channels = [fm(97.0 + 0.2 * k) for k in range(11)]
    assert tuning_hz(site, channels, np.array([]))[1] is False


def test_room_between_channels():
    assert apart(98.0e6, "fm", 98.2e6, "fm")
    assert not apart(98.0e6, "fm", 98.1e6, "fm")
    assert apart(50.0e6, "carrier", 50.01e6, "carrier")
    assert not apart(98.0e6, "fm", 98.05e6, "carrier")
