"""The main job on a recording that shares no code with the project: NumPy and SciPy made it, and its truth is known.

Underdense trails follow the textbook envelope (rise, then exp(-t / tau) in amplitude: McKinley, Meteor Science and
Engineering, 1961, ch. 8); the long ones are a plain arch with two fades.
"""

import csv
import io
from dataclasses import dataclass

import numpy as np
import pytest
from scipy.signal import lfilter

from skyglint.cli.app import main
from skyglint.utc import parse_utc

RATE_HZ, CENTER_HZ, LENGTH_S, START = 480_000, 98_200_000.0, 75, "2026-08-12T02:00:00Z"
FM_HZ, CARRIER_HZ = 98_300_000.0, 98_190_000.0

SITE = """
[site]
name = "Harrow Fell"
latitude_deg = 54.61
longitude_deg = -2.93
height_m = 210
timezone = "UTC"

[antenna]
azimuth_deg = 46
elevation_deg = 35
gain_dbi = 6.0
beamwidth_deg = 65
height_above_ground_m = 2.5
polarization = "horizontal"

[receiver]
source = "rtltcp://127.0.0.1:1234"
center_frequency_hz = 98_200_000
sample_rate_hz = 480_000
gain_db = 30.0
correction_ppm = 0.0

[[channel]]
name = "north-sea"
role = "target"
kind = "fm"
frequency_hz = 98_300_000
latitude_deg = 58.72
longitude_deg = 6.05
power_w = 60_000
height_m = 720

[[channel]]
name = "beacon"
role = "target"
kind = "carrier"
frequency_hz = 98_190_000
latitude_deg = 58.72
longitude_deg = 6.05
power_w = 100
height_m = 300

[[channel]]
name = "quiet"
role = "guard"
kind = "fm"
frequency_hz = 98_070_000
"""


@dataclass
class Truth:
    """One burst: C/N in the channel's bandwidth, of 200 kHz or 1 Hz."""

    start_s: float
    channel: str
    snr_db: float
    decay_s: float = 0.0
    length_s: float = 0.0
    doppler_hz: float = 0.0


BURSTS = [
    Truth(6.0, "beacon", 47.0, decay_s=0.18, doppler_hz=17.0),
    Truth(11.0, "north-sea", 9.0, decay_s=0.15),
    Truth(16.0, "beacon", 41.0, decay_s=0.25, doppler_hz=-22.0),
    Truth(21.0, "north-sea", 12.0, length_s=3.0),
    Truth(29.0, "beacon", 50.0, length_s=4.0, doppler_hz=8.0),
    Truth(38.0, "north-sea", 4.0, decay_s=0.25),
    Truth(44.0, "beacon", 37.0, decay_s=0.3, doppler_hz=35.0),
    Truth(50.0, "north-sea", 2.0, length_s=5.0),
    Truth(60.0, "north-sea", 15.0, decay_s=0.08),
    Truth(65.0, "beacon", 52.0, decay_s=0.1, doppler_hz=-3.0),
]


def envelope(burst):
    if burst.decay_s:
        time = np.arange(int(8 * burst.decay_s * RATE_HZ)) / RATE_HZ
        return np.minimum(time / 0.01, 1) * np.exp(-np.maximum(time - 0.01, 0) / burst.decay_s)
    time = np.arange(int(burst.length_s * RATE_HZ)) / RATE_HZ
    arch = np.sqrt(1 - (time / burst.length_s) ** 2) * np.minimum(time / 0.02, 1)
    return arch * (1 - 0.5 * np.sin(2 * np.pi * time / burst.length_s * 1.5 + 1) ** 2) / 0.65


def programme(rng, count):
    """Return a stereo station with noise for music: 25 kHz rms of deviation and a 19 kHz pilot of 6.75 kHz."""
    audio = lfilter([0.05], [1, -0.95], rng.standard_normal(count // 12 + 2))
    audio = np.interp(np.arange(count) / 12, np.arange(len(audio)), audio / audio.std())
    deviation = 25e3 * audio + 6.75e3 * np.sin(2 * np.pi * 19e3 * np.arange(count) / RATE_HZ)
    return np.exp(2j * np.pi * np.cumsum(np.clip(deviation, -75e3, 75e3)) / RATE_HZ)


@pytest.fixture(scope="module")
def echoes(tmp_path_factory):
    folder = tmp_path_factory.mktemp("outside")
    rng = np.random.default_rng(20260812)
    count = RATE_HZ * LENGTH_S
    samples = rng.standard_normal(2 * count).view(np.complex128) / np.sqrt(2)
    for burst in BURSTS:
        shape, first = envelope(burst), int(burst.start_s * RATE_HZ)
        fm = burst.channel == "north-sea"
        offset_hz = (FM_HZ if fm else CARRIER_HZ) - CENTER_HZ + burst.doppler_hz
        time = (first + np.arange(len(shape))) / RATE_HZ
        power = 10 ** (burst.snr_db / 10) * (200e3 if fm else 1.0) / RATE_HZ
        signal = programme(rng, len(shape)) if fm else 1.0
        samples[first : first + len(shape)] += np.sqrt(power) * shape * signal * np.exp(2j * np.pi * offset_hz * time)
    raw = np.clip(np.round(samples.view(float) * 12 + 127.5), 0, 255).astype(np.uint8)
    (folder / "night.cu8").write_bytes(raw.tobytes())
    (folder / "site.toml").write_text(SITE, encoding="utf-8")
    site, recording, database, table = (
        str(folder / name) for name in ("site.toml", "night.cu8", "night.db", "echoes.csv")
    )
    stated = ["--sample-rate-hz", str(RATE_HZ), "--center-frequency-hz", str(CENTER_HZ), "--start", START]
    assert main(["scan", site, recording, *stated, "--into", database]) == 0
    assert main(["export", database, "--table", "echoes", "--format", "csv", "--to", table]) == 0
    return list(csv.DictReader(io.StringIO((folder / "echoes.csv").read_text(encoding="utf-8"))))


def found(echoes, burst):
    close = [
        one
        for one in echoes
        if one["channel"] == burst.channel and abs(parse_utc(one["start_utc"]) - parse_utc(START) - burst.start_s) < 0.5
    ]
    assert len(close) == 1, burst
    return close[0]


def test_all_that_fell_is_found_once_and_nothing_else(echoes):
    assert len([found(echoes, burst) for burst in BURSTS]) == len(echoes)


def test_starts_and_peaks(echoes):
    for burst in BURSTS:
        one = found(echoes, burst)
        assert parse_utc(one["start_utc"]) - parse_utc(START) == pytest.approx(burst.start_s, abs=0.03)
        # An arch of two fades has its true peak below the 0 dB of its formula's first factor.
        expected = burst.snr_db + 20 * np.log10(envelope(burst).max())
        assert float(one["peak_snr_db"]) == pytest.approx(expected, abs=1.5)


def test_trails_that_decay_are_measured_within_their_errors(echoes):
    for burst in BURSTS:
        one = found(echoes, burst)
        if burst.decay_s:
            assert one["class"] == "underdense"
            error = float(one["decay_time_s"]) - burst.decay_s
            assert abs(error) < 4 * float(one["decay_time_sd_s"]) + 0.02 * burst.decay_s


def test_long_ones_are_long(echoes):
    for burst in BURSTS:
        one = found(echoes, burst)
        if burst.length_s:
            assert one["class"] == "overdense"
            assert float(one["duration_s"]) == pytest.approx(burst.length_s, rel=0.1)


def test_doppler(echoes):
    for burst in BURSTS:
        one = found(echoes, burst)
        if burst.channel == "beacon" and burst.decay_s:
            assert abs(float(one["doppler_hz"]) - burst.doppler_hz) < 4 * float(one["doppler_sd_hz"]) + 0.1
