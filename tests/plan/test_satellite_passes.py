import math

import numpy as np
import pytest

from skyglint.plan.satellite_passes import predict, site_place, track
from skyglint.site import parse_site
from skyglint.sky.orbits.elements import Elements
from skyglint.sky.satellites import satellite
from skyglint.utc import parse_utc

START = parse_utc("2026-11-20T12:00:00Z")
FAR = """
[[channel]]
name = "far"
role = "target"
kind = "fm"
frequency_hz = 98_300_000
latitude_deg = 58.72
longitude_deg = 6.05
power_w = 60_000
height_m = 720
[[channel]]
name = "tone"
role = "target"
kind = "carrier"
frequency_hz = 143_050_000
latitude_deg = 47.3
longitude_deg = 5.5
power_w = 4_000_000
[[channel]]
name = "nowhere"
role = "target"
kind = "fm"
frequency_hz = 98_900_000
"""
# An invented object in a low orbit.
LOW = Elements(
    "GLINT ONE", 799_999_999, "2026-012A", START, 15.4930962, 0.0006703, 51.6416, 247.4627, 130.536, 325.0288, 1e-4
)


@pytest.fixture(scope="module")
def far_site(site_text):
    return parse_site(site_text + FAR)


@pytest.fixture(scope="module")
def passes(far_site):
    return predict(far_site, [LOW], START, START + 86_400.0, beacon_hz=137.1e6)


def test_passes_come_in_order_with_their_tracks(passes):
    assert len(passes) >= 4
    starts = [one.when.start_unix for one in passes]
    assert starts == sorted(starts)
    for one in passes:
        assert one.track.unix[0] == one.when.start_unix
        assert one.track.unix[-1] <= one.when.end_unix
        assert np.all(np.diff(one.track.doppler_hz) < 0)
        # 7.2 km/s at 137 MHz at the horizon, 6 % either side for the Earth's rotation.
        if one.when.max_elevation_deg > 30:
            assert 2_900 < one.track.doppler_hz[0] < 3_500
        assert set(one.track.bistatic_doppler_hz) == {"far", "tone"}


def test_doppler_shifts_are_those_of_the_ranges(far_site, passes):
    one = passes[1]
    range_rate = np.gradient(one.track.look.range_km, one.track.unix)[1:-1]
    expected = -range_rate / 299_792.458 * 137.1e6
    # Differences over 10 s are coarse near the top.
    assert one.track.doppler_hz[1:-1] == pytest.approx(expected, abs=15.0)


def test_a_reflection_on_the_spot_has_twice_the_shift(site_text):
    near = FAR.replace("58.72", "54.61").replace("6.05", "-2.93").replace("720", "212.5")
    site = parse_site(site_text + near)
    one = predict(site, [LOW], START, START + 43_200.0, beacon_hz=98.3e6)[0]
    both = one.track.bistatic_doppler_hz["far"]
    assert both[3:-3] == pytest.approx(2 * one.track.doppler_hz[3:-3], abs=1e-2)


def test_reflections_agree_with_the_radar_equation(passes):
    # By hand: 98 kW EIRP, 100 m2, 1000 km each, 98.3 MHz, a gain of 6 dBi at best: -126 dBm; noise -104 dBm in
    # 200 kHz. Not to be found in an FM channel at a mean range; a megawatt carrier is.
    for one in passes:
        by_name = {reflection.channel: reflection for reflection in one.reflections}
        assert set(by_name) == {"far", "tone"}
        if math.isfinite(by_name["far"].power_dbm):
            assert by_name["far"].power_dbm < -110
            assert by_name["far"].hope == "none"
        if math.isfinite(by_name["tone"].power_dbm) and one.when.max_elevation_deg > 30:
            assert by_name["tone"].hope == "yes"


def test_the_transmitter_must_see_it_too(far_site, passes):
    body = satellite(LOW)
    line = passes[0].track
    unseen = np.isnan(line.bistatic_doppler_hz["tone"])
    from skyglint.sky.satellites import Place

    elevation = body.look(Place(47.3, 5.5, 0.0), line.unix).elevation_deg
    assert np.array_equal(unseen, elevation <= 0)


def test_least_elevation_leaves_out_low_passes(far_site, passes):
    high = predict(far_site, [LOW], START, START + 86_400.0, least_elevation_deg=30.0)
    assert 0 < len(high) < len(passes)
    assert min(one.when.max_elevation_deg for one in high) > 30.0
    assert np.isnan(high[0].track.doppler_hz).all()


def test_old_elements_are_warned_of(far_site, passes):
    assert passes[0].warning == ""
    late = predict(far_site, [LOW], START + 12 * 86_400.0, START + 13 * 86_400.0)
    assert "elements 12 days old: expect errors of about 25 km, 3 s" in late[0].warning
    early = predict(far_site, [LOW], START - 20 * 86_400.0, START - 19 * 86_400.0)
    assert "days ahead" in early[0].warning


def test_place_is_the_antenna(far_site):
    assert site_place(far_site).height_m == 212.5
    assert len(track(far_site, satellite(LOW), START, START + 60.0, 10.0).unix) == 7
