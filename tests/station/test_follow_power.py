"""An FM channel's power beside a pass: noise in a narrow channel, made block by block so that the test stays small."""

import math
from dataclasses import dataclass

import numpy as np
import pytest

from skyglint.errors import RequestError
from skyglint.plan.satellite_passes import reflection_dbm, transmitter_place
from skyglint.signals.block import Block, Encoding, SourceInfo
from skyglint.site import parse_site
from skyglint.sky.orbits.elements import Elements
from skyglint.sky.passes import find_passes
from skyglint.sky.satellites import Place, satellite
from skyglint.station.follow_power import follow_power
from skyglint.utc import parse_utc

SITE = parse_site("""
[site]
name = "Harrow Fell"
latitude_deg = 54.61
longitude_deg = -2.93
height_m = 210
timezone = "Europe/London"
[antenna]
azimuth_deg = 46
elevation_deg = 35
gain_dbi = 6.0
beamwidth_deg = 65
height_above_ground_m = 2.5
polarization = "circular"
[receiver]
source = "recording"
center_frequency_hz = 98_298_000
sample_rate_hz = 12_000
gain_db = 30.0
correction_ppm = 0.0
[[channel]]
name = "far"
role = "target"
kind = "fm"
frequency_hz = 98_300_000
bandwidth_hz = 3_000
latitude_deg = 52.0
longitude_deg = 4.0
power_w = 60_000
[[channel]]
name = "nowhere"
role = "target"
kind = "fm"
frequency_hz = 98_300_000
""")
DAY = parse_utc("2026-11-20T12:00:00Z")
LOW = Elements("GLINT ONE", 1, "", DAY, 15.4930962, 0.0006703, 51.6416, 247.4627, 130.536, 325.0288, 1e-4)
RATE_HZ, CENTRE_HZ, DURATION_S = 12_000.0, 98_298_000.0, 1_800
FLOATS = Encoding("cf32_le", np.dtype("<f4"), 0.0, 1.0)


@dataclass
class Recording:
    start_unix: float
    rise: np.ndarray

    @property
    def info(self):
        end, half = self.start_unix + DURATION_S, RATE_HZ / 2
        span = (self.start_unix, end, CENTRE_HZ - half, CENTRE_HZ + half)
        return SourceInfo("made", "", "cf32_le", RATE_HZ, CENTRE_HZ, *span)

    def blocks(self, block_s=0.1):
        random = np.random.default_rng(51)
        step, seconds = int(RATE_HZ), 10
        for second in range(0, DURATION_S, seconds):
            level = np.repeat(np.sqrt(1 + self.rise[second : second + seconds]), 2 * step).astype(np.float32)
            values = random.standard_normal(len(level), dtype=np.float32) * level / 8
            yield Block(values, FLOATS, 0, self.start_unix, second * step, RATE_HZ, CENTRE_HZ)


@pytest.fixture(scope="module")
def start_unix():
    passes = find_passes(satellite(LOW), Place(54.61, -2.93, 212.5), DAY, DAY + 86_400.0)
    return math.floor(max(passes, key=lambda one: one.max_elevation_deg).culmination_unix) - 900.0


def shape(start_unix):
    unix = start_unix + np.arange(DURATION_S) + 0.5
    channel = SITE.channel[0]
    dbm = reflection_dbm(SITE, satellite(LOW), unix, channel, transmitter_place(channel), 1.0)
    power = np.where(np.isfinite(dbm), 10 ** (dbm / 10), 0.0)
    return power / power.max()


def test_a_strong_reflection_is_found(start_unix):
    result = follow_power(Recording(start_unix, shape(start_unix)), SITE, LOW, SITE.channel[0])
    assert result.detected
    assert result.statistic > 5
    assert math.isnan(result.time_offset_s)
    assert "detected in the power of far" in result.sentence


def test_what_the_radar_equation_calls_hopeless_is_not_found(start_unix):
    result = follow_power(Recording(start_unix, 1e-4 * shape(start_unix)), SITE, LOW, SITE.channel[0])
    assert not result.detected
    assert "not detected" in result.sentence


def test_impossible_requests(start_unix):
    with pytest.raises(RequestError, match="does not say where its transmitter stands"):
        follow_power(Recording(start_unix, np.zeros(DURATION_S)), SITE, LOW, SITE.channel[1])
    with pytest.raises(RequestError, match="not in sight of site and transmitter together"):
        follow_power(Recording(start_unix + 2_700, np.zeros(DURATION_S)), SITE, LOW, SITE.channel[0])
