"""Recordings of a beacon made with an independent library's positions, searched along the program's own prediction."""

import math
from dataclasses import dataclass

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from skyfield.api import EarthSatellite, load, wgs84

from skyglint.errors import RequestError
from skyglint.signals.block import Block, Encoding, Gap, SourceInfo
from skyglint.site import parse_site
from skyglint.sky.orbits.tle import checksum, read_tle
from skyglint.sky.satellites import Place
from skyglint.station.follow import DETECTED_BELOW, follow
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
center_frequency_hz = 137_100_000
sample_rate_hz = 12_000
gain_db = 30.0
correction_ppm = 0.0
[[channel]]
name = "beacon"
role = "guard"
kind = "carrier"
frequency_hz = 137_100_000
""")
LINES = [
    text.ljust(68)[:68]
    for text in (
        "1 99991U 26012A   26324.51782528  .00002182  00000-0  10270-3 0  9990",
        "2 99991  51.6416 247.4627 0006703 130.5360 325.0288 15.49309620 42",
    )
]
LINES = [text + str(checksum(text)) for text in LINES]
ELEMENTS = read_tle("\n".join(LINES), "test").elements[0]
# A pass of 49 degrees, three days after the elements.
START = parse_utc("2026-11-23T17:42:40Z")
CENTRE_HZ, RATE_HZ = 137.1e6, 12_000.0
FLOATS = Encoding("cf32_le", np.dtype("<f4"), 0.0, 1.0)


@dataclass
class Recording:
    samples: np.ndarray
    start_unix: float
    rate_hz: float = RATE_HZ
    centre_hz: float = CENTRE_HZ
    hole: tuple[int, int] | None = None

    @property
    def info(self):
        end = self.start_unix + len(self.samples) / self.rate_hz
        low, high = self.centre_hz - self.rate_hz / 2, self.centre_hz + self.rate_hz / 2
        return SourceInfo("made", "", "cf32_le", self.rate_hz, self.centre_hz, self.start_unix, end, low, high)

    def blocks(self, block_s=0.1):
        pieces = (
            [(0, len(self.samples))] if self.hole is None else [(0, self.hole[0]), (self.hole[1], len(self.samples))]
        )
        step = round(3.7 * self.rate_hz)
        for stretch, (low, high) in enumerate(pieces):
            began = self.start_unix + low / self.rate_hz
            if stretch:
                yield Gap(self.start_unix + pieces[0][1] / self.rate_hz, began, "receiver lost")
            for first in range(low, high, step):
                values = self.samples[first : min(first + step, high)].astype(np.complex64).view(np.float32)
                yield Block(values, FLOATS, stretch, began, first - low, self.rate_hz, self.centre_hz)


@pytest.fixture(scope="module")
def range_km():
    """Range with light time, by skyfield, as a function of seconds from START."""
    timescale = load.timescale(builtin=True)
    nodes = np.arange(-60.0, 960.0)
    times = timescale.tt_jd(2440587.5 + (START + nodes + 69.184) / 86_400)
    site = wgs84.latlon(54.61, -2.93, 212.5)
    geometric = CubicSpline(nodes, (EarthSatellite(*LINES, None, timescale) - site).at(times).distance().km)
    return lambda seconds: geometric(seconds - geometric(seconds) / 299_792.458)


@pytest.fixture(scope="module")
def beacon(range_km):
    def make(random, c_n0_db, late_s=0.0, offset_hz=0.0, drift_hz=0.0, duration_s=780.0, frequency_hz=CENTRE_HZ):
        seconds = np.arange(int(duration_s * RATE_HZ)) / RATE_HZ
        noise = random.standard_normal((len(seconds), 2), dtype=np.float32).view(np.complex64)[:, 0]
        if c_n0_db == -math.inf:
            return noise
        nodes = np.arange(-1.0, duration_s + 2)
        along = nodes / duration_s - 0.5
        # The drift is centred: its phase is the integral of drift x along.
        turns = -frequency_hz * range_km(nodes - late_s) / 299_792.458
        turns += offset_hz * nodes + drift_hz * duration_s * along**2 / 2
        amplitude = math.sqrt(2 * 10 ** (c_n0_db / 10) / RATE_HZ)
        return noise + (amplitude * np.exp(2j * np.pi * CubicSpline(nodes, turns)(seconds))).astype(np.complex64)

    return make


@pytest.mark.parametrize("c_n0_db", [15.0, 20.0, 40.0])
def test_a_beacon_with_old_elements_and_a_poor_clock(beacon, c_n0_db):
    random = np.random.default_rng([31, int(c_n0_db)])
    late_s, offset_hz, drift_hz = 2.4, 2e-6 * CENTRE_HZ, -25.0
    recording = Recording(beacon(random, c_n0_db, late_s, offset_hz, drift_hz), START)
    result = follow(recording, SITE, ELEMENTS, CENTRE_HZ)
    assert result.detected
    assert result.false_alarm_probability < 1e-3
    assert result.time_offset_s == pytest.approx(late_s, abs=3 * result.time_offset_sd_s)
    assert result.time_offset_sd_s < 0.02
    # The span of the pass is not that of the recording: the drift moves the offset at its middle a little.
    expected_hz = offset_hz + drift_hz * ((result.middle_unix - START) / 780.0 - 0.5)
    assert result.frequency_offset_hz == pytest.approx(expected_hz, abs=4 * result.frequency_offset_sd_hz)
    assert len(result.measured_unix) == len(result.residual_hz) > 20
    assert np.std(result.residual_hz) < 3.0
    assert "detected" in result.sentence
    assert "elements 3.2 days old err by about 1.0 s." in result.sentence
    assert "Closest approach at 2026-11-23T17:" in result.sentence


def test_measured_curve_and_closest_approach(beacon, range_km):
    recording = Recording(beacon(np.random.default_rng(32), 35.0), START)
    result = follow(recording, SITE, ELEMENTS, CENTRE_HZ)
    seconds = result.measured_unix - START
    true_hz = -(range_km(seconds + 0.5) - range_km(seconds - 0.5)) / 299_792.458 * CENTRE_HZ
    assert result.measured_hz == pytest.approx(true_hz, abs=2.0)
    nodes = np.arange(0, 780.0, 0.1)
    assert result.closest_unix - START == pytest.approx(nodes[np.argmin(range_km(nodes))], abs=0.6)


def test_what_the_age_does_not_explain_is_said(beacon):
    # 3.6 s late, with elements that are three days old: a second is usual.
    result = follow(Recording(beacon(np.random.default_rng(37), 30.0, 3.6), START), SITE, ELEMENTS, CENTRE_HZ)
    assert "so more than their age explains; a manoeuvre, or a clock that is off" in result.sentence


def test_nothing_there(beacon):
    for seed in range(3):
        noise = beacon(np.random.default_rng([33, seed]), -math.inf)
        result = follow(Recording(noise, START), SITE, ELEMENTS, CENTRE_HZ)
        assert not result.detected
        assert result.false_alarm_probability > DETECTED_BELOW
        assert math.isnan(result.time_offset_s)
        assert math.isnan(result.frequency_offset_sd_hz)
        assert "not detected" in result.sentence


def test_a_steady_carrier_is_no_satellite(beacon):
    noise = beacon(np.random.default_rng(34), -math.inf)
    steady = 0.3 * np.exp(2j * np.pi * 150.0 * np.arange(len(noise)) / RATE_HZ).astype(np.complex64)
    assert not follow(Recording(noise + steady, START), SITE, ELEMENTS, CENTRE_HZ).detected


def test_a_hole_in_the_recording_costs_only_its_length(beacon):
    samples = beacon(np.random.default_rng(35), 25.0, 1.0)
    result = follow(Recording(samples, START, hole=(3_000_000, 4_000_000)), SITE, ELEMENTS, CENTRE_HZ)
    assert result.detected
    assert result.time_offset_s == pytest.approx(1.0, abs=3 * result.time_offset_sd_s)


def test_a_receivers_known_error_is_allowed_for(beacon):
    site = SITE.model_copy(update={"receiver": SITE.receiver.model_copy(update={"correction_ppm": 3.0})})
    samples = beacon(np.random.default_rng(36), 30.0, 0.0, -3e-6 * CENTRE_HZ)
    result = follow(Recording(samples, START), site, ELEMENTS, CENTRE_HZ)
    assert result.frequency_offset_hz == pytest.approx(0.0, abs=0.5)


@pytest.mark.parametrize(
    ("start_unix", "centre_hz", "transmitter", "message"),
    [
        (START + 2_000.0, CENTRE_HZ, None, "not in sight of the site during the recording"),
        (START, CENTRE_HZ, Place(-54.6, 177.0, 0.0), "not in sight of site and transmitter together"),
        (START, 98.0e6, None, "expected 137.1 MHz inside"),
        (START, CENTRE_HZ, None, "less than 30 s of samples"),
    ],
)
def test_impossible_requests(start_unix, centre_hz, transmitter, message):
    recording = Recording(np.zeros(780 * 12_000, np.complex64), start_unix, centre_hz=centre_hz)
    with pytest.raises(RequestError, match=message):
        follow(recording, SITE, ELEMENTS, CENTRE_HZ, transmitter)
