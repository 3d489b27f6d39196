"""What passes over a site: the elements' file read when it changes, curves and tags, and the classifier's use of them.

The reflection in the recordings is made with an independent library's positions.
"""

import logging
import math
import os
import threading

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from skyfield.api import EarthSatellite, load, wgs84

from skyglint.echoes.echo import METEORIC
from skyglint.signals.block import Block, Encoding
from skyglint.site import parse_site
from skyglint.sky.orbits.tle import checksum
from skyglint.station.chain import Chain
from skyglint.station.overhead import MOST_OBJECTS, Overhead
from skyglint.utc import parse_utc

SITE_FILE = """
[site]
name = "Harrow Fell"
latitude_deg = 54.61
longitude_deg = -2.93
height_m = 210
timezone = "Europe/London"
[antenna]
azimuth_deg = 180
elevation_deg = 50
gain_dbi = 6.0
beamwidth_deg = 65
height_above_ground_m = 2.5
polarization = "circular"
[receiver]
source = "recording"
center_frequency_hz = 143_050_000
sample_rate_hz = 16_000
gain_db = 30.0
correction_ppm = 0.0
[station]
elements = "today.tle"
[[channel]]
name = "far tone"
role = "target"
kind = "carrier"
frequency_hz = 143_050_000
latitude_deg = 52.0
longitude_deg = 4.0
power_w = 10_000_000
[[channel]]
name = "far talk"
role = "target"
kind = "fm"
frequency_hz = 98_300_000
latitude_deg = 52.0
longitude_deg = 4.0
power_w = 60_000
[[channel]]
name = "own voice"
role = "target"
kind = "carrier"
frequency_hz = 143_052_000
satellite = 99991
"""
LINES = [
    "1 99991U 26012A   26324.51782528  .00002182  00000-0  10270-3 0  9990",
    "2 99991  51.6416 247.4627 0006703 130.5360 325.0288 15.49309620 42",
]
LINES = [line.ljust(68)[:68] for line in LINES]
LINES = [line + str(checksum(line)) for line in LINES]
TLE = "\n".join(["MARLIN 1", *LINES])
# A pass of 49 degrees, culminating seven minutes later, three days after the elements.
START = parse_utc("2026-11-23T17:42:40Z")
TOP_S = 400.0
RATE_HZ, CENTRE_HZ = 16_000.0, 143.05e6
FLOATS = Encoding("cf32_le", np.dtype("<f4"), 0.0, 1.0)


@pytest.fixture
def site():
    return parse_site(SITE_FILE)


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "today.tle").write_text(TLE)
    return tmp_path


@pytest.fixture(scope="module")
def way_km():
    """Length of the way transmitter, satellite, site, with light time, at seconds from START."""
    timescale = load.timescale(builtin=True)
    nodes = np.arange(0.0, 900.0)
    times = timescale.tt_jd(2440587.5 + (START + nodes + 69.184) / 86_400)
    body = EarthSatellite(*LINES, None, timescale)
    here, there = wgs84.latlon(54.61, -2.93, 212.5), wgs84.latlon(52.0, 4.0, 0.0)
    near = CubicSpline(nodes, (body - here).at(times).distance().km)
    far = CubicSpline(nodes, (body - there).at(times).distance().km)

    def way(seconds):
        left = seconds - near(seconds) / 299_792.458
        return near(left) + far(left)

    return way


def tone(seconds, turns, c_n0_db):
    """A tone in noise of unit density a hertz times the rate; NaN levels are silence."""
    amplitude = np.where(np.isfinite(c_n0_db), np.sqrt(10 ** (np.nan_to_num(c_n0_db, nan=0.0) / 10) / RATE_HZ), 0.0)
    return amplitude * np.exp(2j * np.pi * turns)


def recorded(site, overhead, seed, signal):
    """Echoes of most of a minute around the top of the pass: noise and a signal, a function of seconds from START."""
    random = np.random.default_rng(seed)
    first_s, step_s = TOP_S - 26.0, 2.0
    chain = Chain(site.channel, 0.0, None, expected=overhead.curves)
    heard = []
    for block in range(26):
        seconds = first_s + block * step_s + np.arange(int(step_s * RATE_HZ)) / RATE_HZ
        noise = random.standard_normal((len(seconds), 2)).view(np.complex128)[:, 0] / math.sqrt(2)
        values = ((noise + signal(seconds)) / 16).astype(np.complex64).view(np.float32)
        start = int(block * step_s * RATE_HZ)
        heard += chain.process(Block(values, FLOATS, 0, START + first_s, start, RATE_HZ, CENTRE_HZ))
    heard += chain.finish()
    return [echo for one in heard for found in one.findings for echo in found.echoes if echo.channel == "far tone"]


def reflection(way_km, from_s, to_s, c_n0_db, offset_hz=0.0):
    """A reflection between two times, as strong as stated; ``offset_hz`` off its curve."""

    def signal(seconds):
        inside = (seconds >= from_s) & (seconds < to_s)
        turns = -CENTRE_HZ * way_km(seconds) / 299_792.458 + offset_hz * (seconds - TOP_S)
        return tone(seconds, turns, np.where(inside, c_n0_db, np.nan))

    return signal


def trail(at_s, c_n0_db, doppler_hz, decay_s=0.35):
    """An underdense echo."""

    def signal(seconds):
        after = seconds - at_s
        level = np.where(after >= 0, c_n0_db - 8.686 * np.maximum(after, 0.0) / decay_s, np.nan)
        return tone(seconds, doppler_hz * after, level)

    return signal


def test_a_reflection_is_named_and_a_meteor_during_the_pass_is_not(site, folder, way_km):
    overhead = Overhead(site, folder)
    at_s = TOP_S + 17.0
    echoes = recorded(
        site,
        overhead,
        71,
        lambda seconds: reflection(way_km, TOP_S - 12.0, TOP_S + 4.0, 40.0)(seconds) + trail(at_s, 52.0, 9.0)(seconds),
    )
    named = [echo for echo in echoes if "MARLIN 1" in echo.reason]
    assert named
    for echo in named:
        assert echo.echo_class == "satellite"
        assert echo.class_probability > 0.8
        assert "Hz/s measured" in echo.reason
        assert "predicted at" in echo.reason
    assert sum(echo.duration_s for echo in named) > 10.0
    (meteor,) = [echo for echo in echoes if abs(echo.start_unix - START - at_s) < 0.3]
    assert meteor.echo_class in METEORIC
    # Its shift is far from the curve: not even tagged. The reflection is, with how strong it should be.
    assert list(overhead.tags(meteor)) == []
    (tag,) = overhead.tags(max(named, key=lambda echo: echo.duration_s))
    assert (tag.kind, tag.name) == ("satellite", "99991")
    assert abs(tag.details["doppler_difference_hz"]) < 100
    # By hand: 16.4 MW EIRP, 100 m2, 6 dBi, 543 km here 600 km there, 2.1 m: -129 dBm; noise -159 dBm/Hz.
    assert tag.details["expected_snr_db"] == pytest.approx(30.0, abs=4.0)


def test_a_line_beside_the_curve_is_not_claimed(site, folder, way_km):
    echoes = recorded(site, Overhead(site, folder), 72, reflection(way_km, TOP_S - 12.0, TOP_S + 4.0, 40.0, 700.0))
    assert echoes
    assert not any("MARLIN" in echo.reason for echo in echoes)


def test_without_elements_nothing_is_claimed(site, tmp_path, way_km):
    overhead = Overhead(site, tmp_path)
    echoes = recorded(site, overhead, 71, reflection(way_km, TOP_S - 12.0, TOP_S + 4.0, 40.0))
    assert echoes
    assert not any("MARLIN" in echo.reason for echo in echoes)
    assert "no such file" in overhead.trouble


def test_curves_of_reflections_and_of_a_satellites_own_channel(site, folder, way_km):
    overhead = Overhead(site, folder)
    (curve,) = overhead.curves("far tone", START + TOP_S - 30.0, START + TOP_S + 30.0)
    seconds = TOP_S + np.arange(-30.0, 31.0, 5.0)
    expected = -(way_km(seconds + 0.5) - way_km(seconds - 0.5)) / 299_792.458 * CENTRE_HZ
    assert np.interp(START + seconds, curve.unix, curve.doppler_hz) == pytest.approx(expected, abs=1.5)
    assert 0.8 < curve.late_s < 1.2
    (own,) = overhead.curves("own voice", START + TOP_S, START + TOP_S + 1.0)
    assert np.isnan(own.snr_db).all()
    assert np.isfinite(own.doppler_hz).all()
    assert overhead.curves("far tone", START - 1_800.0, START - 1_700.0) == []
    assert overhead.curves("nowhere", START + TOP_S, START + TOP_S + 1.0) == []


def test_a_changed_file_is_read_again(site, folder, caplog):
    overhead = Overhead(site, folder)
    at = (START + TOP_S, START + TOP_S + 1.0)
    assert [one.elements.name for one in overhead.passes(*at)] == ["MARLIN 1"]
    path = folder / "today.tle"
    path.write_text(TLE.replace("MARLIN 1", "MARLIN 1 B"))
    overhead.prepare(*at)
    assert [one.elements.name for one in overhead.passes(*at)] == ["MARLIN 1 B"]
    # Broken, it is told of once, and what was known stays.
    path.write_text("once upon a time")
    with caplog.at_level(logging.WARNING):
        overhead.prepare(*at)
        overhead.prepare(*at)
        assert [one.elements.name for one in overhead.passes(*at)] == ["MARLIN 1 B"]
    assert sum("no orbital elements" in record.message for record in caplog.records) == 1
    path.write_text(TLE)
    os.utime(path, ns=(1, 1))
    overhead.prepare(*at)
    assert [one.elements.name for one in overhead.passes(*at)] == ["MARLIN 1"]
    assert overhead.trouble == ""


def test_which_objects_are_looked_out_for(site, folder):
    def with_station(**given):
        return site.model_copy(update={"station": site.station.model_copy(update=given)})

    many = [TLE]
    for number in range(MOST_OBJECTS):
        lines = [line[:2] + f"{10_000 + number:05d}" + line[7:68] for line in LINES]
        many += [line + str(checksum(line)) for line in lines]
    (folder / "today.tle").write_text("\n".join(many))
    at = (START + TOP_S, START + TOP_S + 1.0)
    all_of_it = Overhead(site, folder)
    # The satellite that has a channel of its own is looked out for all the same.
    assert [one.elements.catalog_number for one in all_of_it.passes(*at)] == [99991]
    assert "101 objects: name those to look out for in [station] satellites" in all_of_it.trouble
    two = Overhead(with_station(satellites=(10_005, 7)), folder)
    assert {one.elements.catalog_number for one in two.passes(*at)} == {99991, 10_005}
    assert "no elements of 7" in two.trouble
    none = Overhead(with_station(elements=None), folder)
    assert not none.watches
    assert none.passes(*at) == []


def test_old_elements_are_warned_of(site, folder, caplog):
    overhead = Overhead(site, folder)
    with caplog.at_level(logging.WARNING):
        overhead.passes(START + 20 * 86_400, START + 21 * 86_400)
    assert any("days old: expect errors of about" in record.message for record in caplog.records)


def test_who_must_not_wait_is_served_by_another_thread(site, folder):
    overhead = Overhead(site, folder, patient=False)
    at = (START + TOP_S, START + TOP_S + 1.0)
    assert overhead.passes(*at) == []
    stop = threading.Event()
    thread = threading.Thread(target=overhead.keep_ready, args=(stop, lambda: START), daemon=True)
    thread.start()
    for _ in range(300):
        if overhead.passes(*at):
            break
        stop.wait(0.05)
    stop.set()
    thread.join(5.0)
    assert len(overhead.passes(*at)) == 1
