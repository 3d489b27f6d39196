"""Classes of bursts on recordings that share no code with the project: NumPy made them, and what they are is known.

Long trails are an arch with fades of wind (McKinley, Meteor Science and Engineering, 1961, ch. 8); at 98 MHz an
underdense one cannot take a second to decay, whatever its height within the meteor layer.
"""

import csv
import io

import numpy as np
import pytest

from skyglint.cli.app import main
from skyglint.utc import parse_utc

START = "2026-08-12T02:00:00Z"
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
center_frequency_hz = 98_290_000
sample_rate_hz = 300_000
gain_db = 30.0
correction_ppm = 0.0

[[channel]]
name = "north-sea"
role = "target"
kind = "KIND"
frequency_hz = 98_300_000
latitude_deg = 58.72
longitude_deg = 6.05
power_w = 60_000
height_m = 720
"""
#: Start, peak in dB, decay time or (for long ones) length, and how often a long one fades.
CARRIER = [
    (12.0, 44.7, 0.0, 4.9, 0.6),
    (22.0, 43.7, 0.0, 2.1, 1.1),
    (30.0, 49.3, 0.0, 4.5, 0.9),
    (40.0, 43.3, 0.19, 0.0, 0.0),
    (46.0, 48.4, 0.0, 1.9, 1.6),
    (54.0, 51.0, 0.0, 4.5, 0.5),
    (64.0, 42.0, 0.33, 0.0, 0.0),
]
FM = [
    (12.0, 6.7, 0.0, 4.5, 0.8),
    (18.4, 8.5, 0.22, 0.0, 0.0),
    (24.0, 11.0, 0.15, 0.0, 0.0),
    (25.2, 7.0, 0.12, 0.0, 0.0),
    (32.0, 12.8, 0.0, 1.9, 1.2),
    (36.0, 5.0, 0.2, 0.0, 0.0),
    (44.0, 15.0, 0.0, 6.0, 0.4),
    (51.5, 6.0, 0.18, 0.0, 0.0),
]


def envelope(decay_s, length_s, fades_hz, rate_hz):
    if decay_s:
        time = np.arange(int(8 * decay_s * rate_hz)) / rate_hz
        return np.minimum(time / 0.01, 1) * np.exp(-np.maximum(time - 0.01, 0) / decay_s)
    time = np.arange(int(length_s * rate_hz)) / rate_hz
    arch = np.sqrt(1 - (time / length_s) ** 2) * np.minimum(time / 0.02, 1)
    return arch * (1 + 0.25 * np.sin(2 * np.pi * fades_hz * time + 2.0)) / 1.25


def scan(folder, kind, bursts, rate_hz, center_hz):
    rng = np.random.default_rng(41)
    count = int(rate_hz * (bursts[-1][0] + 12))
    samples = rng.standard_normal(2 * count).view(np.complex128) / np.sqrt(2)
    for start_s, snr_db, decay_s, length_s, fades_hz in bursts:
        shape, first = envelope(decay_s, length_s, fades_hz, rate_hz), int(start_s * rate_hz)
        time = (first + np.arange(len(shape))) / rate_hz
        phase = 2 * np.pi * (98.3e6 - center_hz + (0 if kind == "fm" else 15)) * time
        if kind == "fm":
            audio = np.interp(time, np.arange(first / rate_hz - 1, time[-1] + 1, 1e-4), rng.standard_normal(
                len(np.arange(first / rate_hz - 1, time[-1] + 1, 1e-4))))  # fmt: skip
            phase = phase + 2 * np.pi * np.cumsum(np.clip(30e3 * audio, -75e3, 75e3)) / rate_hz
        power = 10 ** (snr_db / 10) * (200e3 if kind == "fm" else 1.0) / rate_hz
        samples[first : first + len(shape)] += np.sqrt(power) * shape * np.exp(1j * phase)
    raw = np.clip(np.round(samples.view(float) * 12 + 127.5), 0, 255).astype(np.uint8)
    (folder / "night.cu8").write_bytes(raw.tobytes())
    (folder / "site.toml").write_text(SITE.replace("KIND", kind), encoding="utf-8")
    site, recording, database, table = (
        str(folder / name) for name in ("site.toml", "night.cu8", "night.db", "echoes.csv")
    )
    stated = ["--sample-rate-hz", str(rate_hz), "--center-frequency-hz", str(center_hz), "--start", START]
    assert main(["scan", site, recording, *stated, "--into", database]) == 0
    assert main(["export", database, "--table", "echoes", "--format", "csv", "--to", table]) == 0
    rows = list(csv.DictReader(io.StringIO((folder / "echoes.csv").read_text(encoding="utf-8"))))
    return [(parse_utc(row["start_utc"]) - parse_utc(START), row["class"]) for row in rows]


@pytest.mark.parametrize(("kind", "bursts", "rate_hz"), [("fm", FM, 300_000), ("carrier", CARRIER, 48_000)])
def test_trails_are_told_from_everything_else(tmp_path, kind, bursts, rate_hz):
    found = scan(tmp_path, kind, bursts, rate_hz, 98_290_000)
    told = {start_s: [name for at_s, name in found if abs(at_s - start_s) < 0.5] for start_s, *_ in bursts}
    assert told == {start_s: ["underdense" if decay_s else "overdense"] for start_s, _, decay_s, *_ in bursts}
    assert len(found) == len(bursts)
