from dataclasses import replace

import numpy as np
import pytest

from skyglint.activity.response import channel_path, counted_area_km2, path_response, reference_radiants
from skyglint.path.geometry import direction
from skyglint.site import parse_site

SITE = """
[site]
name = "Harrow Fell"
latitude_deg = {latitude}
longitude_deg = {longitude}
height_m = 210
timezone = "UTC"
environment = "rural"
[antenna]
azimuth_deg = {azimuth}
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
kind = "{kind}"
frequency_hz = 98_300_000
latitude_deg = {to_latitude}
longitude_deg = {to_longitude}
"""

# Sky directions over the middle of the path, every 10 degrees of azimuth at three altitudes.
AZIMUTH, ALTITUDE = np.meshgrid(np.arange(0, 360, 10.0), [20.0, 40.0, 60.0])


def made_path(latitude=42.0, longitude=-85.0, to_latitude=45.0, to_longitude=-75.0, azimuth=65.0, kind="fm"):
    text = SITE.format(
        latitude=latitude,
        longitude=longitude,
        to_latitude=to_latitude,
        to_longitude=to_longitude,
        azimuth=azimuth,
        kind=kind,
    )
    site = parse_site(text)
    return channel_path(site, site.channel[0])


def sky(path, azimuth_deg=AZIMUTH, altitude_deg=ALTITUDE):
    return direction(*path.layer.center_deg, azimuth_deg, altitude_deg)


def test_one_is_the_best_hour_of_the_reference_radiant():
    path = made_path()
    response = path_response(path, reference_radiants(path.layer), 40.0)
    assert response.max() == pytest.approx(1.0)
    assert response.shape == (24,)


def test_the_reference_radiant_passes_through_the_zenith_and_turns_with_the_day():
    path = made_path()
    radiants = reference_radiants(path.layer)
    up = direction(*path.layer.center_deg, 0.0, 90.0)
    np.testing.assert_allclose(radiants[0], up, atol=1e-12)
    np.testing.assert_allclose(radiants[:, 2], up[2])


def test_a_radiant_in_the_zenith_is_not_seen():
    # Both ends look up at the layer, so no trail that stands upright over the middle can be specular: every response
    # near the zenith is nearly nothing while the radiant is as high as it can be.
    path = made_path()
    assert path_response(path, sky(path, 0.0, 90.0), 40.0) < 0.1 * path_response(path, sky(path), 40.0).max()


def test_nothing_comes_from_below_the_horizon():
    path = made_path()
    assert np.all(path_response(path, sky(path, AZIMUTH, -15.0), 40.0) == 0.0)


def test_both_hemispheres_see_alike():
    north = made_path()
    south = made_path(latitude=-42.0, to_latitude=-45.0, azimuth=115.0)
    mirrored = direction(*south.layer.center_deg, 180.0 - AZIMUTH, ALTITUDE)
    np.testing.assert_allclose(
        path_response(south, mirrored, 40.0), path_response(north, sky(north), 40.0), rtol=0.1, atol=0.03
    )


def test_the_date_line_is_no_edge():
    home = made_path()
    line = made_path(longitude=175.0, to_longitude=-175.0)
    np.testing.assert_allclose(path_response(line, sky(line), 40.0), path_response(home, sky(home), 40.0), rtol=1e-6)


def test_slow_meteors_draw_their_zone_too_slowly():
    # At 98 MHz a trail decays in tenths of a second: formation at 20 km/s costs echoes that 60 km/s does not.
    path = made_path()
    slow, fast = (path_response(path, sky(path), speed) for speed in (20.0, 60.0))
    seen = fast > 0
    assert np.all(slow[seen] <= fast[seen])
    assert np.median(slow[seen] / fast[seen]) < 0.95
    np.testing.assert_array_equal(path_response(path, sky(path), np.nan), path_response(path, sky(path), 40.0))


def test_where_the_antenna_points_decides_between_radiants():
    # Reflecting points lie on the far side of the path from the radiant. Aimed north of the path, the antenna sees
    # radiants in the south better than aimed south, and the other way round; the beam is 65 degrees wide.
    north, south = made_path(azimuth=20.0), made_path(azimuth=110.0)
    from_south, from_north = sky(north, 155.0, 40.0), sky(north, 335.0, 40.0)
    contrast = [
        path_response(path, from_south, 40.0) / path_response(path, from_north, 40.0) for path in (north, south)
    ]
    assert contrast[0] > 1.5 * contrast[1]


def test_longer_echoes_count_more_for_a_carrier():
    # A matched filter gains 1/T where a power detector gains 1/sqrt(T), so the responses differ between kinds but keep
    # their zeros.
    fm, carrier = made_path(), made_path(kind="carrier")
    first, second = path_response(fm, sky(fm), 40.0), path_response(carrier, sky(carrier), 40.0)
    np.testing.assert_array_equal(first > 0, second > 0)
    assert not np.allclose(first, second, rtol=0.02)


@pytest.mark.parametrize(("limit_snr_db", "power"), [(-70.0, 0.5), (40.0, 2.0)])
def test_numbers_above_a_limit(limit_snr_db, power):
    # Underdense power goes as q^2, overdense as q^(1/2) (McKinley 1961 ch. 8), numbers above q as q^(1 - s): twelve
    # decibels more cost 10^(1.2 x 0.5 x 0.9) in the one regime and 10^(1.2 x 2 x 0.9) in the other.
    path = made_path()
    areas = [
        counted_area_km2(path, sky(path), 40.0, mass_index=1.9, limit_snr_db=limit_snr_db + more)
        for more in (0.0, 12.0)
    ]
    seen = areas[0] > 0
    np.testing.assert_allclose(areas[0][seen] / areas[1][seen], 10 ** (1.2 * power * 0.9), rtol=0.01)


def test_a_stated_power_counts():
    # Ten times the power is ten decibels less that an echo needs.
    weak = made_path()
    strong = replace(weak, channel=weak.channel.model_copy(update={"power_w": 100_000.0}))
    first = counted_area_km2(weak, sky(weak), 40.0, limit_snr_db=-10.0)
    np.testing.assert_allclose(first, counted_area_km2(strong, sky(strong), 40.0, limit_snr_db=0.0))


def test_ends_too_far_apart_see_nothing():
    path = made_path(to_longitude=-50.0)
    assert path.reference_km2 == 0.0
    assert np.all(path_response(path, sky(path), 40.0) == 0.0)


def test_a_channel_without_a_position_is_refused():
    site = parse_site(
        SITE.format(latitude=42, longitude=-85, to_latitude=45, to_longitude=-75, azimuth=65, kind="fm")
        .replace("latitude_deg = 45\n", "")
        .replace("longitude_deg = -75\n", "")
    )
    with pytest.raises(ValueError, match="north-sea has no position"):
        channel_path(site, site.channel[0])


def test_a_louder_place_finds_fewer():
    # ITU-R P.372: man-made noise in a city lies 9.6 dB above that of the country at any frequency.
    path = made_path()
    areas = []
    for environment in ("rural", "residential", "city"):
        place = path.site.site.model_copy(update={"environment": environment})
        moved = replace(path, site=path.site.model_copy(update={"site": place}))
        areas.append(counted_area_km2(moved, sky(moved), 40.0).max())
    # At mass index 2 numbers go as amplitude above the limit where echoes are underdense, faster where they are not.
    assert areas[0] > areas[1] > areas[2]
    assert areas[2] / areas[0] < 10 ** (-9.0 / 20.0)
