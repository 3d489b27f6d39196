import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from skyglint.sky.earth import azimuth_altitude_deg, direction_to_ecef, gmst_deg
from skyglint.sky.radiants import (
    apparent_direction_ecef,
    apparent_zenith_distance_deg,
    radiant_azimuth_altitude_deg,
    radiant_direction_ecef,
    unit_vector,
)
from skyglint.utc import parse_utc

# Right ascension, declination (J2000), latitude, longitude, UTC, altitude, azimuth: the J2000 direction rotated by
# precession, nutation and Earth rotation without aberration, computed with skyfield 1.55 and astropy 8.0.2. The last
# column pair is what comes out when precession is forgotten.
PLACES = [
    (48, 58, 42.0, -85.0, "2026-08-13T00:00Z", 10.3196, 4.2491, 10.249, 4.536),
    (48, 58, 42.0, -85.0, "2026-08-13T04:00Z", 24.9335, 32.7284, 25.077, 33.009),
    (48, 58, 42.0, -85.0, "2026-08-13T08:00Z", 54.2168, 45.2050, 54.496, 45.347),
    (48, 58, 42.0, -85.0, "2026-08-13T16:00Z", 45.3533, 315.5695, 45.066, 315.498),
    (43, 24, 50.85, 4.35, "2026-06-07T04:00Z", 22.4823, 78.9381, 22.639, 79.296),
    (43, 24, 50.85, 4.35, "2026-06-07T09:00Z", 62.5086, 163.5049, 62.468, 164.293),
    (43, 24, 50.85, 4.35, "2026-06-07T15:00Z", 23.3952, 279.9932, 23.077, 280.191),
    (112, 33, 42.0, -85.0, "2026-12-14T06:00Z", 68.6451, 107.0537, 68.984, 107.464),
    (338, -1, -33.9, 151.2, "2026-05-05T20:00Z", 50.3419, 38.5441, 50.633, 38.198),
    (156, -2, -33.9, 151.2, "2026-10-01T00:00Z", 57.9462, 351.3098, 57.767, 350.710),
    (230, 49, 64.1, -21.9, "2027-01-04T06:00Z", 55.8904, 87.9469, 56.057, 88.017),
    (340, -16, 42.0, -85.0, "2026-07-31T07:00Z", 31.1842, 167.1191, 31.105, 167.540),
]

# Schiaparelli's formula, checked by integrating hyperbolic orbits: V_inf, apparent zenith distance, shift (V_esc**2 =
# 123.291), and shift with V_esc**2 = 125.
ATTRACTION = [
    (15, 60, 12.9078, 13.1736),
    (20, 60, 6.0720, 6.1733),
    (20, 90, 10.4975, 10.6719),
    (35, 60, 1.7540, 1.7796),
    (59, 60, 0.5964, 0.6048),
    (71, 80, 0.5952, 0.6036),
]


def separation_deg(azimuth_a, altitude_a, azimuth_b, altitude_b):
    a, b = unit_vector(azimuth_a, altitude_a), unit_vector(azimuth_b, altitude_b)
    return float(np.degrees(np.arctan2(np.linalg.norm(np.cross(a, b)), a @ b)))


@pytest.mark.parametrize("case", PLACES)
def test_azimuth_and_altitude(case):
    ra_deg, dec_deg, latitude_deg, longitude_deg, utc, altitude, azimuth, bad_altitude, bad_azimuth = case
    found = radiant_azimuth_altitude_deg(ra_deg, dec_deg, parse_utc(utc), latitude_deg, longitude_deg)
    assert separation_deg(*found, azimuth, altitude) < 0.005
    assert separation_deg(*found, bad_azimuth, bad_altitude) > 0.05


@pytest.mark.parametrize("latitude_deg", [90.0, -90.0])
def test_at_a_pole_a_radiant_keeps_its_altitude_all_day(latitude_deg):
    unix = parse_utc("2026-12-14T00:00Z") + 3600.0 * np.arange(24)
    _, altitude = radiant_azimuth_altitude_deg(112, 33, unix, latitude_deg, 0.0)
    np.testing.assert_allclose(altitude, np.sign(latitude_deg) * 32.945, atol=0.01)  # declination of date by skyfield


def test_the_date_line_is_no_line_in_the_sky():
    unix = parse_utc("2026-05-05T20:00Z") + 3600.0 * np.arange(24)
    east = radiant_azimuth_altitude_deg(338, -1, unix, -17.0, 180.0)
    west = radiant_azimuth_altitude_deg(338, -1, unix, -17.0, -180.0)
    np.testing.assert_allclose(east, west, atol=1e-9)


def test_a_radiant_on_the_meridian_has_the_sidereal_time_as_its_right_ascension():
    unix = parse_utc("2000-01-01T12:00Z")  # no precession to speak of at J2000
    azimuth, altitude = radiant_azimuth_altitude_deg(gmst_deg(unix), 20.0, unix, -30.0, 0.0)
    assert separation_deg(azimuth, altitude, 0.0, 40.0) < 0.01


@pytest.mark.parametrize(("speed_km_s", "apparent_deg", "shift_deg", "shift_125_deg"), ATTRACTION)
def test_zenith_attraction(speed_km_s, apparent_deg, shift_deg, shift_125_deg):
    found = apparent_zenith_distance_deg(apparent_deg + shift_deg, speed_km_s, 123.291)
    assert float(found) == pytest.approx(apparent_deg, abs=2e-4)
    found = apparent_zenith_distance_deg(apparent_deg + shift_125_deg, speed_km_s, 125.0)
    assert float(found) == pytest.approx(apparent_deg, abs=2e-4)


@pytest.mark.parametrize(
    ("speed_km_s", "true_deg", "apparent_deg"),
    [(20, 60, 54.5737), (20, 90, 81.0238), (35, 60, 58.3054), (59, 60, 59.4106)],
)
def test_zenith_attraction_from_the_true_radiant(speed_km_s, true_deg, apparent_deg):
    # Iterated with V_esc**2 = 123.291; applying the formula to the true distance would give 79.50 in the second case.
    assert float(apparent_zenith_distance_deg(true_deg, speed_km_s, 123.291)) == pytest.approx(apparent_deg, abs=1e-3)


@pytest.mark.parametrize(("speed_km_s", "shift_deg"), [(20, 0.990), (35, 0.566), (59, 0.336)])
def test_diurnal_aberration_of_a_radiant_in_the_zenith(speed_km_s, shift_deg):
    # v_site / speed with 0.3456 km/s at 42 N; the zenith is not attracted and stands 90 deg from the east point.
    zenith = direction_to_ecef(0.0, 90.0, 42.0, -85.0)
    azimuth, altitude = azimuth_altitude_deg(apparent_direction_ecef(zenith, speed_km_s, 42.0, -85.0), 42.0, -85.0)
    assert float(azimuth) == pytest.approx(90.0, abs=1e-6)
    assert 90.0 - float(altitude) == pytest.approx(shift_deg, abs=0.002)


@settings(deadline=None)
@given(st.floats(0, 359), st.floats(-60, 90), st.floats(-90, 90), st.floats(12, 72))
def test_attraction_raises_a_radiant_and_the_turning_earth_moves_it_little(
    azimuth_deg, altitude_deg, latitude_deg, speed
):
    true = direction_to_ecef(azimuth_deg, altitude_deg, latitude_deg, 10.0)
    seen = apparent_direction_ecef(true, speed, latitude_deg, 10.0)
    assert np.linalg.norm(seen) == pytest.approx(1.0)
    seen_azimuth, seen_altitude = azimuth_altitude_deg(seen, latitude_deg, 10.0)
    attracted_deg = 90.0 - float(apparent_zenith_distance_deg(90.0 - altitude_deg, speed))
    drift_deg = np.degrees(np.arcsin(0.46511 * np.cos(np.radians(latitude_deg)) / speed))
    assert attracted_deg >= altitude_deg - 1e-9
    assert separation_deg(seen_azimuth, seen_altitude, azimuth_deg, attracted_deg) <= drift_deg + 1e-5


def test_directions_of_many_radiants_and_instants_broadcast():
    unix = parse_utc("2026-08-13T00:00Z") + 3600.0 * np.arange(24)
    directions = radiant_direction_ecef(np.array([[48.0], [112.0]]), np.array([[58.0], [33.0]]), unix)
    assert directions.shape == (2, 24, 3)
    np.testing.assert_allclose(directions[1, 7], radiant_direction_ecef(112.0, 33.0, unix[7]), atol=1e-12)
