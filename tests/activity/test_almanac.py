import numpy as np
import pytest
from skyfield.api import load, wgs84
from skyfield.framelib import itrs

from skyglint.activity.almanac import coming_maxima, shower_day, target_paths
from skyglint.site import parse_site
from skyglint.sky.radiants import unit_vector
from skyglint.utc import format_utc, parse_utc

SITE = """
[site]
name = "Harrow Fell"
latitude_deg = {latitude}
longitude_deg = {longitude}
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
source = "usb://0"
center_frequency_hz = 98_000_000
sample_rate_hz = 2_400_000
gain_db = 30.0
correction_ppm = 0.0
[[channel]]
name = "north-sea"
role = "target"
kind = "fm"
frequency_hz = 98_300_000
latitude_deg = {to_latitude}
longitude_deg = {to_longitude}
height_m = 720
[[channel]]
name = "somewhere"
role = "target"
kind = "fm"
frequency_hz = 98_100_000
[[channel]]
name = "quiet"
role = "guard"
kind = "fm"
frequency_hz = 98_700_000
"""
HOME = parse_site(SITE.format(latitude=54.61, longitude=-2.93, to_latitude=58.72, to_longitude=6.05))
SOUTH = parse_site(SITE.format(latitude=-33.9, longitude=151.2, to_latitude=-37.8, to_longitude=145.0))


def by_code(site, date):
    return {day.shower.iau_code: day for day in shower_day(site, parse_utc(f"{date}T00:00Z"))}


@pytest.mark.parametrize(
    ("site", "date", "code"),
    [
        (HOME, "2026-08-13", "PER"),
        (SOUTH, "2026-05-06", "ETA"),
        (HOME, "2027-01-04", "QUA"),
        (SOUTH, "2026-10-01", "DSX"),
    ],
)
def test_azimuths_and_altitudes_agree_with_skyfield(site, date, code):
    day = by_code(site, date)[code]
    timescale = load.timescale(builtin=True)
    year, month, number = (int(part) for part in date.split("-"))
    place = wgs84.latlon(site.site.latitude_deg, site.site.longitude_deg)
    for hour in range(0, 24, 5):
        time = timescale.utc(year, month, number, hour)
        fixed = itrs.rotation_at(time) @ unit_vector(day.right_ascension_deg, day.declination_deg)
        # Skyfield's local axes: north, east, up.
        local = place.rotation_at(time) @ itrs.rotation_at(time).T @ fixed
        found = unit_vector(day.azimuth_deg[hour], day.altitude_deg[hour])
        assert np.degrees(np.linalg.norm(found - local)) < 0.01


def test_a_day_lists_the_whole_table_and_says_what_is_active():
    days = by_code(HOME, "2026-08-13")
    assert len(days) == 79
    active = {code for code, day in days.items() if day.active}
    # IMO Meteor Shower Calendar 2026, table 5.
    assert {"PER", "SDA", "CAP", "KCG", "ERI", "ANT"} <= active
    assert not {"GEM", "LYR", "DLM", "AUR"} & active


def test_the_radiant_is_that_of_the_day():
    # Perseids, 48 +58 at 140.0; at 0 h UTC of 2026-08-13 the Sun is at 139.9196, so 0.08 deg of drift (1.35) earlier.
    day = by_code(HOME, "2026-08-13")["PER"]
    assert day.right_ascension_deg == pytest.approx(48 - 1.35 * 0.0804, abs=0.001)
    assert day.declination_deg == pytest.approx(58 - 0.2 * 0.0804, abs=0.001)
    assert format_utc(day.maximum_unix, 0)[:15] == "2026-08-13T02:0"


def test_only_target_channels_with_a_position_have_a_response():
    day = by_code(HOME, "2026-08-13")["PER"]
    assert list(day.response) == ["north-sea"]
    assert day.response["north-sea"].shape == (24,)
    assert [path.channel.name for path in target_paths(HOME)] == ["north-sea"]


def test_the_path_does_not_see_the_shower_while_it_is_highest():
    # At 54.6 N the Perseids pass 3 degrees from the zenith: then no trail over the path can be specular.
    day = by_code(HOME, "2026-08-13")["PER"]
    top = int(np.argmax(day.altitude_deg))
    assert day.altitude_deg[top] > 85
    assert day.response["north-sea"][top] < 0.1 * day.response["north-sea"].max()
    hours = day.good_hours("north-sea")
    assert hours
    assert top not in hours


def test_a_shower_that_never_rises_is_never_seen():
    day = by_code(SOUTH, "2026-12-22")["URS"]
    assert day.altitude_deg.max() < 0
    assert day.good_hours("north-sea") == []


def test_a_shower_without_known_speed_still_has_a_day():
    day = by_code(HOME, "2026-05-09")["DEA"]
    assert np.isnan(day.shower.speed_km_s)
    assert day.active
    assert np.isfinite(day.response["north-sea"]).all()


def test_maxima_of_a_year():
    maxima = coming_maxima(HOME, parse_utc("2026-08-13T12:00Z"))
    codes = [maximum.day.shower.iau_code for maximum in maxima]
    assert len(codes) == len(set(codes)) == 75  # the table without three retired rows and the antihelion source
    times = [maximum.unix for maximum in maxima]
    assert times == sorted(times)
    assert times[0] >= parse_utc("2026-08-13T12:00Z")
    assert times[-1] < parse_utc("2027-08-13T19:00Z")
    # Computed with skyfield 1.55 and JPL DE421: longitudes 262.2, 283.15 and, passed by ten hours this year, 140.0.
    expected = {"GEM": "2026-12-14T13:41Z", "QUA": "2027-01-04T03:26Z", "PER": "2027-08-13T08:11Z"}
    for code, utc in expected.items():
        maximum = maxima[codes.index(code)]
        assert maximum.unix == pytest.approx(parse_utc(utc), abs=90)
        assert maximum.start_unix < maximum.unix < maximum.end_unix
    geminids = maxima[codes.index("GEM")]
    assert format_utc(geminids.start_unix)[:10] == "2026-12-04"
    assert format_utc(geminids.end_unix)[:10] == "2026-12-20"
    assert np.isnan(maxima[codes.index("XSA")].start_unix)
