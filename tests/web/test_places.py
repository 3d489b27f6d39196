"""Where an echo may have been, against geometry worked out independently on the sphere."""

import math

import numpy as np
import pytest

from skyglint.site import Channel
from skyglint.sky.radiants import radiant_azimuth_altitude_deg
from skyglint.sky.showers import load_showers
from skyglint.web.places import places_map, possible_places

MORNING = 1786591867.2  # 2026-08-13, the Perseids' morning
R_KM = 6371.0


def channel(latitude: float | None, longitude: float | None) -> Channel:
    return Channel(
        name="t", role="target", kind="fm", frequency_hz=98e6, latitude_deg=latitude, longitude_deg=longitude
    )


def reach_km(mask_deg: float, height_km: float = 95.0) -> float:
    """Ground distance at which a layer stands at an elevation: law of sines in the triangle with the Earth's centre."""
    mask = math.radians(mask_deg)
    return R_KM * (math.acos(R_KM * math.cos(mask) / (R_KM + height_km)) - mask)


def test_the_outline_is_as_far_from_the_farther_end_as_the_horizon_allows():
    places = possible_places(channel(54.6, 8.0), 54.6, -2.9, 0.0, MORNING)
    ends = np.stack([places.site, places.transmitter])
    distance = np.linalg.norm(places.outline[:, None] - ends, axis=-1).max(axis=1)
    # 809 km at 3 degrees; the flat map shortens it by up to 3 %, the cells blur it by some kilometres.
    assert distance == pytest.approx(reach_km(3.0), rel=0.035)


def test_the_map_is_true_to_north_and_scale():
    places = possible_places(channel(54.6, 0.0), 54.6, -2.0, 0.0, MORNING)
    east, north = places.transmitter - places.site
    # A degree of longitude at 54.6 N is 64.6 km (WGS 84: pi/180 a cos(lat) / sqrt(1 - e2 sin2(lat))).
    assert east == pytest.approx(2 * 64.63, rel=2e-3)
    assert north == pytest.approx(0.0, abs=0.1)
    assert {"55° N", "0° E", "5° W"} <= {text for text, _ in places.graticule}


def test_a_radiant_at_its_highest_lies_across_the_usable_points():
    places = possible_places(channel(54.6, 8.0), 54.6, -2.9, 0.0, MORNING)
    assert places.shower == "Perseids"
    shower = next(entry for entry in load_showers() if entry.iau_code == "PER")
    _, altitude = radiant_azimuth_altitude_deg(shower.radiant_ra_deg, shower.radiant_dec_deg, MORNING, 54.6, 2.5)
    # A specular trail is seen square to the radiant: with the radiant high, the points lie low, far from the middle.
    assert altitude > 50
    assert np.linalg.norm(places.curve, axis=1).mean() > 100
    inside = np.linalg.norm(places.curve[:, None] - np.stack([places.site, places.transmitter]), axis=-1).max()
    assert inside < 1.02 * reach_km(3.0)


def test_out_of_season_no_shower_is_named():
    assert possible_places(channel(54.6, 8.0), 54.6, -2.9, 0.0, MORNING - 150 * 86400).shower == ""


@pytest.mark.parametrize(
    ("site", "transmitter"),
    [((-41.2, 179.5), (-44.0, -178.0)), ((-77.8, 166.7), (-80.0, 150.0)), ((89.0, 10.0), (88.0, -120.0))],
    ids=["date line", "antarctic", "pole"],
)
def test_awkward_places_make_a_map(site, transmitter):
    places = possible_places(channel(*transmitter), *site, 0.0, MORNING)
    apart = float(np.linalg.norm(places.site - places.transmitter))
    a, b = np.radians(site), np.radians(transmitter)
    angle = math.acos(math.sin(a[0]) * math.sin(b[0]) + math.cos(a[0]) * math.cos(b[0]) * math.cos(a[1] - b[1]))
    assert apart == pytest.approx(R_KM * angle, rel=0.01)
    assert "NaN" not in str(places_map("map", places))


def test_nothing_is_drawn_where_nothing_is_known_or_seen():
    assert possible_places(channel(None, None), 54.6, -2.9, 0.0, MORNING) is None
    assert possible_places(channel(30.0, 30.0), 54.6, -2.9, 0.0, MORNING) is None
