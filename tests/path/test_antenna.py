"""The antenna over ground against energy balance, image theory and the physics of a dipole scatterer."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.path import antenna
from skyglint.path.geodesy import earth_fixed_m, local_axes

AIM = {"aim_azimuth_deg": 46.0, "aim_elevation_deg": 35.0, "gain_dbi": 6.0, "beamwidth_deg": 65.0}


def test_half_power_at_half_the_beamwidth():
    assert antenna.beam_gain_dbi([0.0, 32.5], 6.0, 65.0) == pytest.approx([6.0, 3.0])


@given(st.floats(2, 15), st.floats(30, 80))
def test_the_antenna_radiates_what_it_is_fed(gain, beamwidth):
    angle = np.radians(np.linspace(0, 180, 20_001))
    level = 10 ** (antenna.beam_gain_dbi(np.degrees(angle), gain, beamwidth) / 10)
    radiated = np.trapezoid(level * np.sin(angle) / 2, angle)
    impossible = antenna.back_level_dbi(gain, beamwidth) < gain - 29.9
    assert impossible or radiated == pytest.approx(1.0, rel=0.01)


@given(st.floats(-90, 90), st.floats(0, 360), st.floats(-90, 90), st.floats(0, 360))
def test_angle_between_directions_is_that_of_vectors(elevation1, azimuth1, elevation2, azimuth2):
    def vector(azimuth, elevation):
        a, e = np.radians([azimuth, elevation])
        return np.array([np.sin(a) * np.cos(e), np.cos(a) * np.cos(e), np.sin(e)])

    expected = np.degrees(np.arccos(np.clip(vector(azimuth1, elevation1) @ vector(azimuth2, elevation2), -1, 1)))
    assert antenna.angle_between_deg(azimuth1, elevation1, azimuth2, elevation2) == pytest.approx(expected, abs=1e-5)


def test_reflection_coefficient_at_its_limits():
    # Fresnel: -1 at grazing for both; (1 - n)/(1 + n) looking straight down for H, n^2 = 22 - 0.54i at 100 MHz.
    for vertical in (False, True):
        assert antenna.reflection_coefficient(0.01, 100e6, vertical=vertical) == pytest.approx(-1, abs=0.02)
    index = np.sqrt(22 - 0.54j)
    expected = (1 - index) / (1 + index)
    assert antenna.reflection_coefficient(90.0, 100e6, vertical=False) == pytest.approx(expected, abs=1e-9)
    # The pseudo-Brewster angle of that ground is atan(1/sqrt(22)) = 12 degrees: hardly any vertical reflection.
    assert abs(antenna.reflection_coefficient(12.0, 100e6, vertical=True)) < 0.03


def test_lobes_of_a_horizontal_antenna():
    # Image theory: lobes at asin(lambda/4h), asin(3 lambda/4h); nulls at asin(lambda/2h); one wavelength up: 14.48,
    # 48.59 and 30, 90 degrees.
    one_wavelength = 299_792_458.0 / 98e6
    lobes, nulls = antenna.lobe_elevations_deg(one_wavelength, 98e6)
    assert lobes == pytest.approx([14.478, 48.590], abs=1e-3)
    assert nulls == pytest.approx([30.0, 90.0], abs=1e-3)
    assert antenna.lobe_elevations_deg(0.2, 98e6)[0].size == 0


def test_ground_lifts_the_lobe_by_nearly_six_decibels_and_cuts_the_null():
    height = 299_792_458.0 / 98e6
    flat = {**AIM, "aim_elevation_deg": 0.0, "beamwidth_deg": 300.0, "gain_dbi": 0.0}
    gain = antenna.gain_over_ground_dbi(
        46.0, [14.478, 30.0], 98e6, height_above_ground_m=height, polarization="horizontal", **flat
    )
    assert 4.5 < gain[0] < 6.1
    assert gain[1] < -7


def test_below_the_horizon_is_nothing():
    found = antenna.gain_over_ground_dbi(
        46.0, [-5.0, 0.0], 98e6, height_above_ground_m=2.5, polarization="circular", **AIM
    )
    assert found == pytest.approx([-200, -200])


def test_polarization_of_a_vertical_scatterer_overhead():
    # Two places on the equator look at a point above their middle: horizontal fields stand across their common plane
    # and survive whole; vertical ones lie in it and survive by cos^2 of the angle between the rays; crossed give none.
    tx, rx = earth_fixed_m(0.0, -3.0, 0.0), earth_fixed_m(0.0, 3.0, 0.0)
    point = earth_fixed_m(0.0, 0.0, 95e3)
    up = [local_axes(0.0, longitude)[2] for longitude in (-3.0, 3.0)]
    rays = [(end - point) / np.linalg.norm(end - point) for end in (tx, rx)]

    def factor(sent, taken):
        return antenna.polarization_factor(tx, up[0], sent, rx, up[1], taken, point)

    assert factor("horizontal", "horizontal") == pytest.approx(1.0)
    assert factor("vertical", "vertical") == pytest.approx((rays[0] @ rays[1]) ** 2)
    assert factor("horizontal", "vertical") == pytest.approx(0.0, abs=1e-12)
    assert factor("circular", "horizontal") == pytest.approx(0.5)
