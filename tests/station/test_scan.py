"""A whole scan: bursts in, rows out; what a recorder padded is lost, and what follows it is found all the same."""

import numpy as np
import pytest

from skyglint.signals.options import SourceOptions
from skyglint.signals.sources import open_source
from skyglint.site import parse_site
from skyglint.station.scan import scan_recording
from skyglint.store.store import Store

RATE, START = 240_000, 1_786_586_400.0
BURSTS = tuple(range(2, 40, 4))
SITE = """
[site]
name = "Fell"
latitude_deg = 54.6
longitude_deg = -2.9
height_m = 200
timezone = "UTC"
[antenna]
azimuth_deg = 0
elevation_deg = 0
gain_dbi = 0
beamwidth_deg = 90
height_above_ground_m = 2
polarization = "horizontal"
[receiver]
source = "recording"
center_frequency_hz = 98_000_000
sample_rate_hz = 240_000
gain_db = 20.0
correction_ppm = 0.0
[[channel]]
name = "far"
role = "target"
kind = "fm"
frequency_hz = 98_050_000
bandwidth_hz = 100_000
"""


@pytest.fixture(scope="module")
def values():
    random = np.random.default_rng(5)
    raw = random.normal(127.5, 12.0, (40 * RATE, 2))
    n = np.arange(int(0.4 * RATE))
    for burst in BURSTS:
        phase = 2 * np.pi * 50e3 / RATE * n + np.cumsum(random.normal(0, 0.3, len(n)))
        envelope = 60.0 * np.exp(-n / (0.2 * RATE))
        raw[burst * RATE : burst * RATE + len(n)] += np.column_stack([np.cos(phase), np.sin(phase)]) * envelope[:, None]
    return np.clip(np.rint(raw), 0, 255).astype(np.uint8)


def scan(tmp_path, values):
    path = tmp_path / "night.cu8"
    path.write_bytes(values.tobytes())
    site = parse_site(SITE)
    source = open_source(path, SourceOptions("cu8", float(RATE), 98e6, START))
    with Store.open(tmp_path / "night.db", "create") as store:
        scanned = scan_recording(source, site, store, store.begin_run("Fell", SITE, "scan", {}, START))
        return scanned, store.echoes(), store.coverage()


def starts(echoes):
    return [entry.echo.start_unix - START for entry in echoes]


def test_every_burst_becomes_an_echo(tmp_path, values):
    scanned, echoes, coverage = scan(tmp_path, values)
    assert starts(echoes) == pytest.approx(BURSTS, abs=0.03)
    assert sum(scanned.echoes.values()) == len(BURSTS)
    assert scanned.watched_s == pytest.approx(40.0, abs=0.03)
    assert [span.state for span in coverage] == ["watched"]


@pytest.mark.parametrize("value", [0, 127])
def test_padding_is_lost_and_deafens_nobody(tmp_path, values, value):
    padded = values.copy()
    padded[19 * RATE : 21 * RATE] = value
    scanned, echoes, coverage = scan(tmp_path, padded)
    assert starts(echoes) == pytest.approx(BURSTS, abs=0.03)
    (lost,) = (span for span in coverage if span.state == "lost")
    assert (lost.start_unix, lost.end_unix) == (pytest.approx(START + 19.0, abs=0.03), pytest.approx(START + 21.0))
    assert lost.reason.startswith("one and the same value")
    assert scanned.lost_s == pytest.approx(2.0, abs=0.03)
