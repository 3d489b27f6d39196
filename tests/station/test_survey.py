"""The survey: levels of a simulated band against what was put into it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.signals.block import Block, Encoding, SourceInfo
from skyglint.station.survey import (
    MEASURED_HZ,
    SLICE_HZ,
    USED_SPAN,
    Reading,
    survey_channels,
    survey_source,
    tunings_hz,
)

CF32 = Encoding("cf32_le", np.dtype("<f4"), 0.0, 1.0)
RATE_HZ, CENTER_HZ, START = 1_200_000.0, 98_025_000.0, 1_786_586_400.0
STATIONS_HZ = [97_700_000.0, 97_900_000.0, 98_300_000.0]
NOISE = 1e-4


LISTED = {frequency: "fm" for frequency in STATIONS_HZ} | {98_100_000.0: "carrier", 97_600_000.0: "carrier"}


class Band:
    """Noise in the whole span, two FM signals of known power with a tone for a programme, and a carrier."""

    def __init__(self, seconds=3.0):
        self.seconds = seconds
        half = RATE_HZ / 2
        self.info = SourceInfo(
            "band", "", "cf32_le", RATE_HZ, CENTER_HZ, START, START + seconds, CENTER_HZ - half, CENTER_HZ + half
        )

    def blocks(self, block_s=0.1):
        rng = np.random.default_rng(1)
        count, time = int(RATE_HZ * self.seconds), None
        time = np.arange(count) / RATE_HZ
        signal = np.sqrt(NOISE / 2) * (rng.standard_normal(count) + 1j * rng.standard_normal(count))
        for frequency, power in ((97_700_000.0, 1e-2), (98_300_000.0, 1e-4)):
            # 50 kHz of deviation by 1 kHz: the power stays within +-55 kHz, inside the measured bandwidth.
            phase = 2 * np.pi * (frequency - CENTER_HZ) * time + 50 * np.sin(2 * np.pi * 1000 * time)
            signal += np.sqrt(power) * np.exp(1j * phase)
        # A carrier 2 kHz beside its frequency, as a cheap clock puts it.
        signal += np.sqrt(1e-6) * np.exp(2j * np.pi * (98_102_000.0 - CENTER_HZ) * time)
        values = signal.astype(np.complex64).view(np.float32)
        size = 120_000
        for first in range(0, count, size):
            yield Block(values[2 * first : 2 * (first + size)], CF32, 0, START, first, RATE_HZ, CENTER_HZ)


@pytest.fixture(scope="module")
def readings():
    return {one.frequency_hz: one for one in survey_source(Band(), LISTED, {})}


def test_levels_are_those_put_in(readings):
    assert sorted(readings) == sorted(LISTED)
    # -20 and -40 dB over full scale.
    assert readings[97_700_000.0].signal_dbfs == pytest.approx(-20.0, abs=0.3)
    assert readings[98_300_000.0].signal_dbfs == pytest.approx(-40.0, abs=0.3)


def test_noise_is_that_of_the_measured_bandwidth(readings):
    for frequency, one in readings.items():
        expected = 10 * np.log10(NOISE * MEASURED_HZ[LISTED[frequency]] / RATE_HZ)
        assert one.noise_dbfs == pytest.approx(expected, abs=0.3)
    assert readings[97_900_000.0].rise_db < 1.0
    assert all(one.spread_db < 0.2 for one in readings.values())


def test_a_carrier_is_measured_in_a_narrow_band(readings):
    # -60 dB over full scale, under the FM channel's noise of -49 dB and over the -61 dB in 10 kHz.
    assert readings[98_100_000.0].signal_dbfs == pytest.approx(-60.0, abs=0.5)
    # The one that is listed and not there is lost in the noise.
    assert readings[97_600_000.0].rise_db < 1.0


def test_it_stops_when_it_is_told_to():
    told = []
    found = survey_source(Band(3.0), LISTED, {}, longest_s=1.5, progress=told.append)
    assert len(found) == 5
    assert max(told) < START + 1.6


def test_nothing_listed_in_the_band_is_nothing_to_measure():
    assert survey_source(Band(0.5), {104e6: "fm"}, {}) == []


def test_stations_and_slices_stay_within_the_band():
    stations, slices = survey_channels(
        {97.7e6: "fm", 98.95e6: "fm", 98.951e6: "carrier", 105.0e6: "fm"}, 97.0e6, 99.0e6
    )
    assert [one.frequency_hz for one in stations] == [97.7e6, 98.951e6]
    edges = [one.frequency_hz + side * SLICE_HZ / 2 for one in slices for side in (-1, 1)]
    assert min(edges) == 97.0e6
    assert 98.9e6 < max(edges) <= 99.0e6


@given(st.lists(st.integers(875, 1080), min_size=1, max_size=60), st.sampled_from([1.2e6, 2.048e6, 2.4e6]))
def test_tunings_take_in_every_station_off_the_spike(channels, rate_hz):
    frequencies = [1e5 * channel for channel in channels]
    centers = list(tunings_hz(frequencies, rate_hz))
    half = USED_SPAN * rate_hz / 2 - MEASURED_HZ["fm"] / 2
    for frequency in frequencies:
        assert any(abs(frequency - center) <= half for center in centers), frequency
        assert all(abs(frequency - center) >= 20e3 for center in centers)


def test_a_reading_below_the_noise_has_no_signal():
    assert np.isnan(Reading(START, 98e6, 150e3, -50.1, -50.0, 0.1).signal_dbfs)
