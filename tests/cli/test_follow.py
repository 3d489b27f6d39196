"""``skyglint follow`` from the outside, on a short recording of noise and of a beacon along the predicted curve."""

import json
import math

import numpy as np
import pytest

from skyglint.cli import app
from skyglint.sky.orbits.reading import load_elements
from skyglint.sky.passes import find_passes
from skyglint.sky.satellites import SPEED_OF_LIGHT_KM_S, Place, emission_unix, path_km, satellite
from skyglint.utc import format_utc, parse_utc

SITE_FILE = """
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
source = "rtltcp://127.0.0.1:1234"
center_frequency_hz = 137_100_000
sample_rate_hz = 10_000
gain_db = 30.0
correction_ppm = 0.0
[[channel]]
name = "far tone"
role = "target"
kind = "carrier"
frequency_hz = 137_100_500
latitude_deg = 52.0
longitude_deg = 4.0
[[channel]]
name = "somewhere"
role = "target"
kind = "carrier"
frequency_hz = 137_100_500
[[channel]]
name = "talk"
role = "target"
kind = "fm"
frequency_hz = 98_100_000
latitude_deg = 52.0
longitude_deg = 4.0
[[channel]]
name = "own voice"
role = "target"
kind = "carrier"
frequency_hz = 137_100_000
satellite = 400000
"""
ELEMENTS = """\
OBJECT_NAME,OBJECT_ID,EPOCH,MEAN_MOTION,ECCENTRICITY,INCLINATION,RA_OF_ASC_NODE,ARG_OF_PERICENTER,MEAN_ANOMALY,\
NORAD_CAT_ID,BSTAR
GLINT ONE,2026-012A,2026-11-20T12:00:00,15.4930962,.0006703,51.6416,247.4627,130.536,325.0288,400000,.0001
GLINT TWO,2026-012B,2026-11-20T12:00:00,14.2030962,.0011703,98.5416,27.4627,30.536,125.0288,99992,.00001
"""
KEYS = [
    "detected",
    "statistic",
    "false_alarm_probability",
    "time_offset_s",
    "time_offset_sd_s",
    "frequency_offset_hz",
    "frequency_offset_sd_hz",
]
RATE_HZ = 10_000.0
PLACE = Place(54.61, -2.93, 212.5)
FAR = Place(52.0, 4.0, 0.0)


@pytest.fixture
def call(tmp_path, monkeypatch):
    monkeypatch.setitem(app.COMMANDS, "follow", "follow")
    monkeypatch.chdir(tmp_path)
    (tmp_path / "site.toml").write_text(SITE_FILE, encoding="utf-8")
    (tmp_path / "today.csv").write_text(ELEMENTS, encoding="utf-8")
    body = satellite(load_elements([tmp_path / "today.csv"]).elements[0])
    day_unix = parse_utc("2026-11-20T12:00:00Z")
    best = max(find_passes(body, PLACE, day_unix, day_unix + 86_400.0), key=lambda one: one.max_elevation_deg)
    # Five minutes around the culmination.
    start_unix = math.floor(best.culmination_unix) - 150.0

    def run(*options, transmitter=None, frequency_hz=137.1e6, c_n0_db=-math.inf, length_s=300):
        seconds = np.arange(int(length_s * RATE_HZ)) / RATE_HZ
        random = np.random.default_rng(41)
        samples = random.standard_normal((len(seconds), 2), dtype=np.float32).view(np.complex64)[:, 0]
        nodes = np.arange(0.0, length_s + 1.0)
        way_km = path_km(body.motion(emission_unix(body, PLACE, start_unix + nodes)), PLACE, transmitter)
        turns = np.polynomial.Chebyshev.fit(nodes, -frequency_hz * way_km / SPEED_OF_LIGHT_KM_S, 40)(seconds)
        turns += (frequency_hz - 137.1e6) * seconds
        samples += math.sqrt(2 * 10 ** (c_n0_db / 10) / RATE_HZ) * np.exp(2j * np.pi * turns).astype(np.complex64)
        (tmp_path / "pass.cf32").write_bytes((samples / 16).astype(np.complex64).tobytes())
        raw = ["--encoding", "cf32_le", "--sample-rate-hz", "10000", "--center-frequency-hz", "137100000"]
        fixed = ["follow", "site.toml", "pass.cf32", "--elements", "today.csv", "--start", format_utc(start_unix)]
        return app.main([*fixed, *raw, *options])

    return run


def test_a_beacon_is_found(call, capsys):
    assert call("--name", "one", "--beacon-hz", "137100000", "--json", c_n0_db=25.0) == 0
    document = json.loads(capsys.readouterr().out)
    assert list(document)[: len(KEYS)] == KEYS
    assert document["detected"] is True
    assert document["false_alarm_probability"] < 1e-3
    assert abs(document["time_offset_s"]) < 4 * document["time_offset_sd_s"]
    assert abs(document["frequency_offset_hz"]) < 4 * document["frequency_offset_sd_hz"] + 0.05
    assert len(document["curve"]) > 10


def test_the_reflection_of_a_carrier_is_found(call, capsys):
    assert call("--name", "400000", "--channel", "far tone", transmitter=FAR, frequency_hz=137.1005e6, c_n0_db=25) == 0
    assert "GLINT ONE: detected" in capsys.readouterr().out


def test_a_satellites_own_channel_needs_no_name(call, capsys):
    assert call("--channel", "own voice", c_n0_db=25.0) == 0
    text = capsys.readouterr().out
    assert "GLINT ONE: detected" in text
    assert "Closest approach at 2026-11-2" in text
    assert "points of the curve lie" in text
    # Hours old, and on time: what the elements' age lets expect.
    assert "err by about 0." in text
    assert "manoeuvre" not in text


def test_a_recording_is_needed(call, capsys, tmp_path):
    options = ["--elements", "today.csv", "--name", "one", "--beacon-hz", "137100000"]
    assert app.main(["follow", "site.toml", *options]) == 2
    assert "RECORDING is missing: expected one, or --live" in capsys.readouterr().err


def test_noise_is_no_satellite(call, capsys):
    assert call("--name", "one", "--beacon-hz", "137100000", "--json") == 0
    document = json.loads(capsys.readouterr().out)
    assert document["detected"] is False
    assert document["time_offset_s"] is None
    assert document["curve"] == []


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (["--beacon-hz", "137100000"], "2 objects (GLINT ONE, GLINT TWO): expected one"),
        (["--name", "three", "--beacon-hz", "137100000"], "0 objects (none): expected one"),
        (["--name", "one"], "expected either --beacon-hz or --channel"),
        (["--live", "--name", "three", "--beacon-hz", "137100000"], "--name: no such object in the files"),
        (
            ["--name", "one", "--channel", "near"],
            "--channel near: expected one of far tone, somewhere, talk, own voice",
        ),
        (["--name", "one", "--channel", "somewhere"], "does not say where its transmitter stands"),
        (["--name", "one", "--channel", "talk"], "talk"),
        (["--name", "one", "--beacon-hz", "2250000000"], "expected 2250 MHz inside"),
    ],
)
def test_requests_that_cannot_be_met(call, capsys, options, message):
    assert call(*options, length_s=60) == 2
    assert message in capsys.readouterr().err
