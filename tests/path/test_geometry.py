"""Bistatic geometry against plane trigonometry and values computed with geographiclib and NumPy."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.path import geometry as geo
from skyglint.path.geodesy import earth_fixed_m

# Transmitter 50 N 0 E at 300 m, receiver 45 N 14 E at 10 m (invented path).
TX = earth_fixed_m(50.0, 0.0, 300.0)
RX = earth_fixed_m(45.0, 14.0, 10.0)
MIDDLE = earth_fixed_m(47.714163938, 7.334177863, 95e3)
ASIDE = earth_fixed_m(49.0, 10.0, 100e3)


# Sphere of 6371 km, layer at 95 km: baseline, range, elevation, phi, sec^2 phi (plane trigonometry by hand).
@pytest.mark.parametrize(
    ("baseline", "reach", "elevation", "phi", "sec2"),
    [
        (200, 138.470, 42.8685, 46.2322, 2.0899),
        (500, 269.163, 19.5393, 68.2124, 7.2588),
        (1200, 611.656, 6.2272, 78.3769, 24.6358),
        (1800, 910.899, 1.9245, 79.9816, 33.0431),
        (2200, 1110.865, -0.0587, 80.1662, 34.2822),
    ],
)
def test_midpoint(baseline, reach, elevation, phi, sec2):
    found = geo.midpoint_geometry(baseline * 1e3, 95e3)
    assert np.array(found) * [1e-3, 1, 1] == pytest.approx([reach, elevation, phi], abs=1e-3)
    trail = geo.TrailGeometry(found[0], found[0], found[2], np.float64(0))
    assert trail.obliquity == pytest.approx(1 / sec2, rel=1e-4)


def test_looks_from_both_ends():
    # Computed on WGS 84 with geographiclib and NumPy.
    from_tx, from_rx = geo.look(50.0, 0.0, 300.0, MIDDLE), geo.look(45.0, 14.0, 10.0, MIDDLE)
    assert (from_tx.azimuth_deg, from_tx.elevation_deg) == pytest.approx((112.48803, 6.30523), abs=1e-4)
    assert from_tx.range_m == pytest.approx(606498.258, abs=1)
    assert (from_rx.azimuth_deg, from_rx.elevation_deg) == pytest.approx((302.84347, 6.33088), abs=1e-4)
    assert from_rx.range_m == pytest.approx(606531.258, abs=1)


def test_phi():
    any_trail = np.array([0.0, 0.0, 1.0])
    assert geo.trail_geometry(TX, RX, MIDDLE, any_trail).phi_deg == pytest.approx(78.344423, abs=1e-4)
    assert geo.trail_geometry(TX, RX, ASIDE, any_trail).phi_deg == pytest.approx(66.153796, abs=1e-4)


def test_doppler_of_a_wind_and_its_bounds():
    # 50 m/s due east at the point beside the path, 98 MHz: computed by differencing path lengths.
    east = 50.0 * geo.direction(49.0, 10.0, 90.0, 0.0)
    assert geo.doppler_hz(TX, RX, ASIDE, east, 98e6) == pytest.approx(-6.33048, abs=1e-3)
    along = geo.doppler_hz(TX, RX, MIDDLE, 50 * geo.unit(geo.unit(TX - MIDDLE) + geo.unit(RX - MIDDLE)), 100e6)
    assert along == pytest.approx(2 * 50 / 2.99792458 * np.cos(np.radians(78.344423)), rel=1e-6)


def test_beta_of_a_trail_in_and_across_the_plane():
    a, b = geo.unit(TX - MIDDLE), geo.unit(RX - MIDDLE)
    in_plane, across = geo.unit(a - b), geo.unit(np.cross(a, b))
    assert geo.trail_geometry(TX, RX, MIDDLE, in_plane).beta_deg == pytest.approx(0.0, abs=1e-6)
    assert geo.trail_geometry(TX, RX, MIDDLE, across).beta_deg == pytest.approx(90.0, abs=1e-5)
    assert geo.trail_geometry(RX, RX, MIDDLE, across).beta_deg == 90.0


@given(st.floats(-89, 89), st.floats(-180, 180), st.floats(0, 359.9), st.floats(-89, 89), st.floats(1e3, 2e6))
def test_looking_along_a_direction_gives_it_back(latitude, longitude, azimuth, elevation, reach):
    point = earth_fixed_m(latitude, longitude, 100.0) + reach * geo.direction(latitude, longitude, azimuth, elevation)
    found = geo.look(latitude, longitude, 100.0, point)
    assert found.elevation_deg == pytest.approx(elevation, abs=1e-4)
    assert np.cos(np.radians(found.azimuth_deg - azimuth)) == pytest.approx(1.0, abs=1e-8)
    assert found.range_m == pytest.approx(reach, rel=1e-7)


def test_swapping_the_ends_changes_nothing():
    trail = geo.unit(np.array([0.3, -0.5, 0.8]))
    there, back = geo.trail_geometry(TX, RX, ASIDE, trail), geo.trail_geometry(RX, TX, ASIDE, trail)
    assert there.phi_deg == pytest.approx(back.phi_deg)
    assert there.beta_deg == pytest.approx(back.beta_deg)
    assert there.transmitter_range_m == back.receiver_range_m
