import astropy.units
import numpy as np
import pytest
from astropy.coordinates import EarthLocation
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st
from skyfield.api import load, wgs84
from skyfield.framelib import itrs

from skyglint.sky.earth import (
    azimuth_altitude_deg,
    azimuth_elevation_range,
    celestial_to_terrestrial,
    direction_to_ecef,
    ecef_to_geodetic,
    enu_axes,
    geodetic_to_ecef_km,
    gmst_deg,
    tt_minus_utc_s,
)
from skyglint.utc import parse_utc

LATITUDES, LONGITUDES = st.floats(-90, 90), st.floats(-180, 180)


@pytest.mark.parametrize(
    ("latitude_deg", "longitude_deg", "height_m"),
    [(54.61, -2.93, 210.0), (-33.9, 151.2, 0.0), (90, 0, 12.0), (-90, 0, 2800), (0, 180, 95_000), (64.1, -21.9, -50)],
)
def test_positions_agree_with_astropy(latitude_deg, longitude_deg, height_m):
    place = EarthLocation.from_geodetic(longitude_deg, latitude_deg, height_m)
    expected = [axis.to_value(astropy.units.km) for axis in (place.x, place.y, place.z)]
    np.testing.assert_allclose(geodetic_to_ecef_km(latitude_deg, longitude_deg, height_m / 1000), expected, atol=1e-6)


@settings(deadline=None)
@given(LATITUDES, LONGITUDES, st.floats(-5, 2000))
def test_positions_there_and_back(latitude_deg, longitude_deg, height_km):
    position = geodetic_to_ecef_km(latitude_deg, longitude_deg, height_km)
    np.testing.assert_allclose(geodetic_to_ecef_km(*ecef_to_geodetic(position)), position, atol=1e-7)


@settings(deadline=None)
@given(LATITUDES, LONGITUDES)
def test_local_axes_are_a_right_handed_frame(latitude_deg, longitude_deg):
    axes = enu_axes(latitude_deg, longitude_deg)
    np.testing.assert_allclose(axes @ axes.T, np.eye(3), atol=1e-12)
    np.testing.assert_allclose(np.cross(axes[0], axes[1]), axes[2], atol=1e-12)


@settings(deadline=None)
@given(st.floats(0, 359.9), st.floats(-89, 89), LATITUDES, LONGITUDES)
def test_directions_there_and_back(azimuth_deg, altitude_deg, latitude_deg, longitude_deg):
    direction = direction_to_ecef(azimuth_deg, altitude_deg, latitude_deg, longitude_deg)
    azimuth, altitude = azimuth_altitude_deg(direction, latitude_deg, longitude_deg)
    assert (float(azimuth) - azimuth_deg + 180) % 360 - 180 == pytest.approx(0, abs=1e-7)
    assert float(altitude) == pytest.approx(altitude_deg, abs=1e-7)


def test_azimuth_of_a_near_point_is_the_geodesic_bearing():
    line = Geodesic.WGS84.Direct(-16.5, 179.99, 77.0, 3000.0)  # across the date line
    target = geodetic_to_ecef_km(line["lat2"], line["lon2"])
    azimuth, elevation, range_km = azimuth_elevation_range(-16.5, 179.99, 0.0, target)
    assert float(azimuth) == pytest.approx(77.0, abs=1e-4)
    assert float(elevation) == pytest.approx(-np.degrees(1.5 / 6371), abs=1e-3)
    assert float(range_km) == pytest.approx(3.0, abs=1e-5)


def test_azimuth_elevation_and_range_agree_with_skyfield():
    time = load.timescale(builtin=True).utc(2026, 8, 13, 2)
    here, there = wgs84.latlon(-37.8, 145.0, 120.0), wgs84.latlon(-35.2, 147.9, 95_000.0)
    altitude, azimuth, distance = (there - here).at(time).altaz()
    found = azimuth_elevation_range(-37.8, 145.0, 0.12, geodetic_to_ecef_km(-35.2, 147.9, 95.0))
    assert [float(value) for value in found] == pytest.approx(
        [azimuth.degrees, altitude.degrees, distance.km], abs=1e-6
    )


@pytest.mark.parametrize(
    ("utc", "expected_deg"),
    # Meeus, Astronomical Algorithms, 2nd ed., examples 12.a and 12.b (IAU 1982 mean sidereal time; IAU 2006 differs by
    # under 0.1 s of time in this century).
    [("1987-04-10T00:00:00Z", 197.693195), ("1987-04-10T19:21:00Z", 128.737873)],
)
def test_mean_sidereal_time(utc, expected_deg):
    assert float(gmst_deg(parse_utc(utc))) == pytest.approx(expected_deg, abs=5e-5)


def test_rotation_agrees_with_skyfield():
    timescale = load.timescale(builtin=True)
    for year in (1995, 2010, 2026):
        time = timescale.utc(year, 5, 5, 20)
        matrix = celestial_to_terrestrial(parse_utc(f"{year}-05-05T20:00Z"))
        difference = matrix @ itrs.rotation_at(time).T
        turned_deg = np.degrees(np.arccos(np.clip((np.trace(difference) - 1) / 2, -1, 1)))
        assert turned_deg < 0.0042  # UT1 - UTC is under 0.9 s, and there is no polar motion here


def test_leap_seconds():
    # IERS Bulletin C: TAI - UTC became 36 s on 2015-07-01 and 37 s on 2017-01-01; TT is TAI + 32.184 s.
    unix = [parse_utc(utc) for utc in ("2016-12-31T23:59:59Z", "2016-12-31T23:59:60Z", "2017-01-01T00:00:00Z")]
    np.testing.assert_allclose(tt_minus_utc_s(unix), [68.184, 69.184, 69.184])
    assert float(tt_minus_utc_s(parse_utc("2060-01-01T00:00Z"))) == pytest.approx(69.184)
