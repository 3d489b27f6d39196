"""The plane: closed forms, and the limit of ITU-R P.526 as the Earth grows flat."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.horizon.two_ray import two_ray_loss_db
from skyglint.path.diffraction import diffraction_loss_db
from skyglint.path.free_space import free_space_loss_db


@pytest.mark.parametrize(("h1", "h2", "kilometres"), [(150, 10, 30), (150, 10, 300), (300, 2.5, 100), (60, 8, 200)])
def test_far_away_it_is_the_plane_earth_loss(h1, h2, kilometres):
    # Closed form for a reflection coefficient of -1: (h1 h2 / d^2)^2, so 40 log d - 20 log(h1 h2), at any frequency.
    expected = 40 * np.log10(kilometres * 1e3) - 20 * np.log10(h1 * h2)
    assert two_ray_loss_db(kilometres * 1e3, h1, h2, [88e6, 108e6]) == pytest.approx(expected, abs=0.15)


def test_a_mirror_gives_the_textbook_interference():
    # |1 - exp(-j 2 pi dr / lambda)| with dr the difference of the two straight lengths, for grazing rays whose
    # coefficient is -1 to a per cent; computed with mpmath-like exactness by the difference of square roots.
    d, h1, h2, f = 5e3, 150.0, 10.0, 100e6
    direct, reflected = np.sqrt(d**2 + (h1 - h2) ** 2), np.sqrt(d**2 + (h1 + h2) ** 2)
    field = abs(1 - np.exp(-2j * np.pi * (reflected - direct) * f / 299792458.0))
    expected = 20 * np.log10(4 * np.pi * direct * f / 299792458.0) - 20 * np.log10(field)
    assert two_ray_loss_db(d, h1, h2, f) == pytest.approx(expected, abs=0.2)


@pytest.mark.parametrize("kilometres", [10, 50, 100, 300])
def test_is_the_limit_of_diffraction_over_an_ever_larger_sphere(kilometres):
    # Two independent theories: images over a plane, and the residue series of ITU-R P.526 sec. 3 at a radius of a
    # million kilometres. P.526 sec. 3.2 interpolates, which costs a few tenths of a decibel.
    sphere = free_space_loss_db(kilometres * 1e3, 100e6) + diffraction_loss_db(
        kilometres * 1e3, 150.0, 10.0, 100e6, effective_radius_m=1e9
    )
    assert two_ray_loss_db(kilometres * 1e3, 150.0, 10.0, 100e6) == pytest.approx(float(sphere), abs=1.0)


def test_vertical_waves_meet_the_pseudo_brewster_angle():
    # At grazing incidence both polarisations reflect alike; at some degrees vertical ones hardly reflect, and the
    # lobes of free space are gone (textbook behaviour of a dielectric ground).
    far = two_ray_loss_db(200e3, 150, 10, 100e6, vertical=[False, True])
    assert far[0] == pytest.approx(far[1], abs=0.3)
    distance = np.linspace(300, 700, 400)
    swing = [np.ptp(two_ray_loss_db(distance, 150, 10, 100e6, vertical=v)) for v in (False, True)]
    assert swing[1] < 0.5 * swing[0]


@given(st.floats(1, 600), st.floats(0.5, 100), st.floats(1e4, 5e5))
def test_both_ends_may_be_swapped(h1, h2, distance):
    assert two_ray_loss_db(distance, h1, h2, 98e6) == pytest.approx(two_ray_loss_db(distance, h2, h1, 98e6))
