"""Channel rasters and protection ratios against 47 CFR 73 and ITU-R BS.412-9."""

import numpy as np
import pytest

from skyglint.transmitters.protection import AMERICAN_DB, asked_db, protection_ratio_db
from skyglint.transmitters.raster import RASTERS, american_channel_hz, raster_of


@pytest.mark.parametrize(("channel", "megahertz"), [(200, 87.9), (201, 88.1), (250, 97.9), (300, 107.9)])
def test_american_channels(channel, megahertz):
    # 47 CFR 73.201 and 73.501.
    assert american_channel_hz(channel) == pytest.approx(megahertz * 1e6)


def test_rasters():
    american = RASTERS["americas"].centers_hz()
    assert american.size == 100
    assert american[-1] == pytest.approx(107.9e6)
    assert RASTERS["world"].centers_hz().size == 206


def test_the_raster_is_told_from_the_stations():
    assert raster_of(american_channel_hz(1) + 200e3 * np.arange(201, 260)) == RASTERS["americas"]
    assert raster_of(np.array([98.0e6, 98.1e6, 98.3e6, 98.4e6])) == RASTERS["world"]
    assert raster_of(np.array([])) == RASTERS["world"]


@pytest.mark.parametrize(("spacing", "mono", "stereo"), [(0, 28, 37), (100e3, 12, 25), (200e3, 6, 7), (300e3, -7, -7)])
def test_protection_ratios(spacing, mono, stereo):
    # ITU-R BS.412-9 Table 3, tropospheric interference.
    assert protection_ratio_db(spacing) == mono
    assert protection_ratio_db(-spacing, "stereo") == stereo


def test_ratios_end_where_the_table_ends():
    assert np.isnan(protection_ratio_db(500e3))
    # 47 CFR 73.509: 60 against 40, 54 and 100 dBu.
    assert AMERICAN_DB == {0: 60 - 40, 200_000: 60 - 54, 400_000: 60 - 100, 600_000: 60 - 100}


def test_what_a_region_asks():
    assert [asked_db(s, american=True) for s in (0.0, -200e3, 400e3)] == [20.0, 6.0, -40.0]
    assert asked_db(100e3, american=False) == 12.0
    assert np.isnan([asked_db(100e3, american=True), asked_db(500e3, american=False)]).all()
