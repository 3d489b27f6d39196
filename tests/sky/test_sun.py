import astropy.time
import astropy.units
import numpy as np
import pytest
from astropy.coordinates import AltAz, EarthLocation, get_sun
from astropy.utils import iers
from hypothesis import given, settings
from hypothesis import strategies as st

from skyglint.sky.sun import (
    equation_of_time_min,
    local_apparent_solar_hour,
    solar_longitude_deg,
    sun_altitude_deg,
    unix_at_solar_longitude,
)
from skyglint.utc import parse_utc

# Computed with astropy 8.0.2 (its built-in ephemeris) and with skyfield 1.55 and JPL DE421, which agreed to
# 0.00001 deg: geometric longitude on J2000 axes, and the apparent longitude of date that a naive routine returns.
LONGITUDES = [
    ("2000-01-01T12:00Z", 280.37858, 280.36892),
    ("2020-06-07T12:00Z", 76.91827, 77.19322),
    ("2024-08-12T14:00Z", 140.01156, 140.34929),
    ("2024-12-14T01:00Z", 262.18146, 262.52389),
    ("2025-01-03T15:00Z", 283.14640, 283.49008),
    ("2025-08-12T20:00Z", 140.00537, 140.35870),
    ("2025-12-14T08:00Z", 262.21667, 262.57465),
    ("2026-01-03T21:00Z", 283.13859, 283.49781),
    ("2026-03-20T14:46Z", 359.63780, 0.00003),
    ("2026-06-07T18:00Z", 76.63590, 77.00148),
    ("2026-08-13T02:00Z", 139.99964, 140.36853),
    ("2026-12-14T14:00Z", 262.21329, 262.58672),
]

# Instants at which a longitude is reached, computed as above (the two agreed to a second), printed to the minute.
ARRIVALS = [
    (283.15, ["2024-01-04T08:59Z", "2025-01-03T15:05Z", "2026-01-03T21:16Z", "2027-01-04T03:26Z"]),
    (32.32, ["2024-04-22T07:15Z", "2025-04-22T13:33Z", "2026-04-22T19:37Z", "2027-04-23T01:41Z"]),
    (45.5, ["2024-05-05T20:48Z", "2025-05-06T02:59Z", "2026-05-06T09:13Z", "2027-05-06T15:12Z"]),
    (76.7, ["2024-06-07T07:10Z", "2025-06-07T13:22Z", "2026-06-07T19:36Z", "2027-06-08T01:36Z"]),
    (128.0, ["2024-07-31T01:10Z", "2025-07-31T07:12Z", "2026-07-31T13:26Z", "2027-07-31T19:37Z"]),
    (140.0, ["2024-08-12T13:43Z", "2025-08-12T19:52Z", "2026-08-13T02:01Z", "2027-08-13T08:11Z"]),
    (188.0, ["2024-10-01T00:46Z", "2025-10-01T06:44Z", "2026-10-01T12:59Z", "2027-10-01T19:10Z"]),
    (208.0, ["2024-10-21T06:12Z", "2025-10-21T12:12Z", "2026-10-21T18:20Z", "2027-10-22T00:37Z"]),
    (235.27, ["2024-11-17T11:33Z", "2025-11-17T17:37Z", "2026-11-17T23:44Z", "2027-11-18T05:59Z"]),
    (262.2, ["2024-12-14T01:26Z", "2025-12-14T07:36Z", "2026-12-14T13:41Z", "2027-12-14T19:54Z"]),
    (270.7, ["2024-12-22T09:55Z", "2025-12-22T15:59Z", "2026-12-22T22:09Z", "2027-12-23T04:22Z"]),
]

# Computed with skyfield 1.55 and JPL DE421 (GAST - apparent RA - (UT1 - 12 h)), minutes at 12 h UTC.
EQUATION_OF_TIME = [
    ("2026-02-11", -14.175),
    ("2026-04-15", -0.006),
    ("2026-05-14", 3.674),
    ("2026-06-13", -0.076),
    ("2026-07-15", -6.013),
    ("2026-07-26", -6.565),
    ("2026-09-01", -0.008),
    ("2026-11-03", 16.447),
    ("2026-12-25", -0.045),
]

# Meridian transits found with skyfield 1.55; the closed formula agreed to a second.
NOONS = [
    (-85.0, "2026-07-15T17:46:02Z"),
    (-85.0, "2026-01-15T17:49:29Z"),
    (-85.0, "2026-11-03T17:23:33Z"),
    (4.35, "2026-06-07T11:41:28Z"),
    (151.2, "2026-05-06T01:51:50Z"),
    (-21.9, "2026-12-14T13:22:16Z"),
    (0.0, "2026-02-11T12:14:10Z"),
]


@pytest.mark.parametrize(("utc", "geometric_deg", "of_date_deg"), LONGITUDES)
def test_solar_longitude_is_geometric_and_j2000(utc, geometric_deg, of_date_deg):
    found = float(solar_longitude_deg(parse_utc(utc)))
    assert found == pytest.approx(geometric_deg, abs=2e-5)
    if not utc.startswith("2000"):  # by 2020 the precession that a longitude of date still carries is 0.28 deg
        assert abs((found - of_date_deg + 180) % 360 - 180) > 0.25


@pytest.mark.parametrize(("longitude_deg", "arrivals"), ARRIVALS)
def test_longitudes_are_reached_at_the_computed_instants(longitude_deg, arrivals):
    for utc in arrivals:
        expected = parse_utc(utc)
        assert unix_at_solar_longitude(longitude_deg, expected + 40 * 86400.0) == pytest.approx(expected, abs=61)


@settings(deadline=None)
@given(st.floats(0, 359.999), st.floats(-6e8, 4e9))
def test_the_instant_of_a_longitude_has_that_longitude_and_is_the_nearest(longitude_deg, near_unix):
    unix = unix_at_solar_longitude(longitude_deg, near_unix)
    assert (float(solar_longitude_deg(unix)) - longitude_deg + 180) % 360 - 180 == pytest.approx(0, abs=1e-5)
    assert abs(unix - near_unix) < 187 * 86400


@pytest.mark.parametrize(("date", "minutes"), EQUATION_OF_TIME)
def test_equation_of_time(date, minutes):
    assert float(equation_of_time_min(parse_utc(f"{date}T12:00Z"))) == pytest.approx(minutes, abs=0.015)


def test_equation_of_time_of_meeus_example():
    # Meeus, Astronomical Algorithms, 2nd ed., example 28.a: 1992 October 13.0 TD, +13 m 42.6 s.
    assert float(equation_of_time_min(parse_utc("1992-10-13T00:00Z") - 59.0)) * 60 == pytest.approx(822.6, abs=0.5)


@pytest.mark.parametrize(("longitude_deg", "utc"), NOONS)
def test_local_apparent_noon(longitude_deg, utc):
    assert float(local_apparent_solar_hour(parse_utc(utc), longitude_deg)) == pytest.approx(12, abs=2 / 3600)


def test_six_hours_solar_time_is_long_after_six_on_a_summer_clock():
    # At 85 W in mid July the Sun's 6 h falls near 07:46 by the clock (UTC-4): one hour of daylight saving, 40 minutes
    # west of the zone's meridian and 6 minutes of the equation of time (computed with skyfield 1.55).
    assert float(local_apparent_solar_hour(parse_utc("2026-07-15T07:46:00-04:00"), -85.0)) == pytest.approx(6, abs=0.01)


def test_solar_time_meets_itself_at_the_date_line():
    unix = parse_utc("2026-05-06T01:51:50Z") + np.arange(0, 86400, 3600.0)
    east, west = local_apparent_solar_hour(unix, 180.0), local_apparent_solar_hour(unix, -180.0)
    np.testing.assert_allclose((east - west + 12) % 24 - 12, 0, atol=1e-9)
    assert np.all((east >= 0) & (east < 24))


def test_many_instants_give_what_each_gives_alone():
    unix = parse_utc("2026-03-19T00:00Z") + np.linspace(0, 3 * 86400.0, 41).reshape(41, 1) + np.zeros((1, 2))
    alone = [[float(solar_longitude_deg(value)) for value in row] for row in unix]
    np.testing.assert_allclose(solar_longitude_deg(unix), alone, atol=1e-12)
    assert solar_longitude_deg([]).shape == (0,)


@pytest.mark.parametrize(("latitude_deg", "longitude_deg"), [(54.6, -2.9), (-33.9, 151.2), (90, 0), (-90, 0), (0, 180)])
def test_sun_altitude_agrees_with_astropy(latitude_deg, longitude_deg):
    unix = parse_utc("2024-02-11T00:20:00Z") + np.arange(0, 300 * 86400.0, 5.3 * 86400)
    with iers.conf.set_temp("auto_download", False), iers.conf.set_temp("auto_max_age", None):
        place = EarthLocation.from_geodetic(longitude_deg, latitude_deg)
        frame = AltAz(obstime=astropy.time.Time(unix, format="unix"), location=place)
        expected = get_sun(frame.obstime).transform_to(frame).alt.to_value(astropy.units.deg)
    np.testing.assert_allclose(sun_altitude_deg(unix, latitude_deg, longitude_deg), expected, atol=0.01)
