import numpy as np
import pytest

from skyglint.sky.earth import azimuth_altitude_deg
from skyglint.sky.sporadic import SOURCES, source_directions_ecef, source_vectors_j2000, spread
from skyglint.sky.sun import local_apparent_solar_hour
from skyglint.utc import parse_utc

# Ecliptic to equatorial with obliquity 23.4392911 deg, computed with astropy 8.0.2: right ascension and declination
# for solar longitudes 0 and 140.
POSITIONS = {
    "HE": [(343.0169, -6.1360), (124.4969, 20.6890)],
    "AH": [(196.5997, -7.0606), (339.6609, -8.5696)],
    "NA": [(270.9484, -4.4360), (42.4696, 36.2274)],
    "SA": [(273.5698, -34.4021), (53.3902, 7.8615)],
    "NT": [(270.6435, 34.5629), (6.9256, 70.3703)],
    "ST": [(287.1334, -83.2007), (67.6727, -39.3206)],
}


def test_positions_in_j2000():
    vectors = source_vectors_j2000([0.0, 140.0])
    assert vectors.shape == (6, 2, 3)
    for source, pair in zip(SOURCES, vectors, strict=True):
        ra_deg, dec_deg = np.degrees(np.arctan2(pair[:, 1], pair[:, 0])) % 360, np.degrees(np.arcsin(pair[:, 2]))
        np.testing.assert_allclose(np.column_stack([ra_deg, dec_deg]), POSITIONS[source.name], atol=1e-3)


def test_weights_are_shares():
    assert sum(source.weight for source in SOURCES) == pytest.approx(1.0)
    assert sum(part.weight for part in spread()) == pytest.approx(1.0)


def test_seven_points_have_the_width_of_the_source():
    source = SOURCES[0]
    parts = source.parts()
    offsets = [(part.longitude_deg - source.longitude_deg + 180) % 360 - 180 for part in parts]
    weights = [part.weight / source.weight for part in parts]
    # Full width at half maximum of a Gaussian is 2.3548 standard deviations.
    assert np.sqrt(np.average(np.square(offsets), weights=weights)) == pytest.approx(32 / 2.3548, rel=0.02)
    heights = [part.latitude_deg - source.latitude_deg for part in parts]
    assert np.sqrt(np.average(np.square(heights), weights=weights)) == pytest.approx(20 / 2.3548, rel=0.001)


@pytest.mark.parametrize(
    ("name", "earliest_h", "latest_h"), [("HE", 10.6, 11.0), ("AH", 1.0, 1.4), ("NA", 5.2, 7.0), ("NT", 2.9, 9.3)]
)
def test_hours_of_transit_over_the_year(name, earliest_h, latest_h):
    # Local apparent time of upper transit, computed from the positions with skyfield 1.55.
    index = [source.name for source in SOURCES].index(name)
    for day in range(0, 360, 30):
        unix = parse_utc("2026-01-10T00:00Z") + 86400.0 * day + np.arange(0, 86400, 120.0)
        _, altitude = azimuth_altitude_deg(source_directions_ecef(unix)[index], 0.0, 0.0)
        hour = float(local_apparent_solar_hour(unix[np.argmax(altitude)], 0.0))
        assert earliest_h <= hour <= latest_h


def test_the_apex_stands_highest_at_six_in_the_northern_autumn():
    def altitude_at_six(date, latitude_deg):
        unix = parse_utc(f"{date}T06:00Z")
        directions = source_directions_ecef(unix)
        apex = sum(directions[i] for i in (2, 3))
        return float(azimuth_altitude_deg(apex, latitude_deg, 0.0)[1])

    assert altitude_at_six("2026-09-23", 50.0) > altitude_at_six("2026-03-20", 50.0) + 30
    assert altitude_at_six("2026-09-23", -50.0) < altitude_at_six("2026-03-20", -50.0) - 30
