"""The sporadic sky against ITU-R P.843-1 (1997) sec. 1 and the positions of the sources."""

import numpy as np
import pytest

from skyglint.plan import sporadic_sky
from skyglint.sky.sun import OBLIQUITY_J2000_DEG


def falling(latitude_deg):
    """What falls on a horizontal square metre: once cos z for the area, once for the thinner ionisation."""
    declination = np.radians(sporadic_sky.band_centers_deg())[:, None]
    hour_angle = np.radians(sporadic_sky.column_centers_deg())
    latitude = np.radians(latitude_deg)
    sine = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.cos(hour_angle)
    solid = np.cos(declination) * np.radians(sporadic_sky.BIN_DEG) ** 2
    return sporadic_sky.hourly_rates((np.maximum(sine, 0) ** 2 * solid).ravel())


def test_scale_and_swing_at_mid_latitude():
    # P.843-1: 160/q a second and square metre above q; daily maximum to minimum about 4, near 6 h and 18 h.
    rates = falling(45.0)
    course = rates.mean(axis=0)
    assert rates.mean() / 3600 == pytest.approx(160.0, rel=1e-6)
    assert course.max() / course.min() == pytest.approx(4.0, rel=0.01)
    assert 17 <= course.argmin() <= 19
    phase = np.angle(np.sum(course * np.exp(2j * np.pi * (np.arange(24) + 0.5) / 24))) / (2 * np.pi) * 24
    assert phase % 24 == pytest.approx(6.0, abs=1.0)


def test_most_fall_between_midnight_and_noon():
    # Common practice: most echoes between local solar midnight and noon, in both hemispheres.
    for latitude in (54.6, -36.0):
        course = falling(latitude).mean(axis=0)
        assert course[:12].sum() > 0.62 * course.sum()


def test_the_apex_stands_high_in_the_local_autumn():
    # The apex's declination runs from +23.4 degrees at the September equinox to -23.4 at the March one.
    north, south = falling(50.0).mean(axis=1), falling(-50.0).mean(axis=1)
    assert north.argmax() in {7, 8, 9}
    assert north.argmin() in {1, 2, 3}
    assert south.argmax() in {1, 2, 3}
    assert south.argmin() in {7, 8, 9}


def test_sources_stand_where_they_should_at_the_march_equinox():
    # Sun-centred longitude 342, latitude 1 at solar longitude 0 is right ascension 343.02, declination -6.14 (computed
    # by rotation with 23.4392911 degrees); solar longitude 355 is March's here.
    march = sporadic_sky.monthly_skies()[2]
    sun = np.radians((280 + 30 * 2.5) % 360)
    tilt = np.radians(OBLIQUITY_J2000_DEG)
    sun_ra = np.degrees(np.arctan2(np.sin(sun) * np.cos(tilt), np.cos(sun)))
    longitude, latitude = np.radians(np.degrees(sun) + 342.0), np.radians(1.0)
    x = np.cos(latitude) * np.cos(longitude)
    y = np.cos(latitude) * np.sin(longitude) * np.cos(tilt) - np.sin(latitude) * np.sin(tilt)
    z = np.cos(latitude) * np.sin(longitude) * np.sin(tilt) + np.sin(latitude) * np.cos(tilt)
    row = int((np.degrees(np.arcsin(z)) + 90) // sporadic_sky.BIN_DEG)
    column = int(((np.degrees(np.arctan2(y, x)) - sun_ra) % 360) // sporadic_sky.BIN_DEG)
    around = march[row - 3 : row + 4, (column + np.arange(-3, 4)) % sporadic_sky.COLUMNS]
    assert march[row, column] >= 0.9 * around.max()


def test_a_radiant_on_the_meridian_counts_when_its_source_is_there():
    # A response only towards the south at the site's meridian sees the Sun's side at noon: helion and not antihelion.
    response = np.zeros((sporadic_sky.ROWS, sporadic_sky.COLUMNS))
    response[:, 0] = 1.0
    rates = sporadic_sky.hourly_rates(response.ravel()).mean(axis=0)
    # Upper transits by local apparent time, computed from the positions: helion 10.7 to 10.9 h, antihelion 1.1 to
    # 1.3 h.
    assert 10 <= 8 + rates[8:14].argmax() <= 11
    assert rates[:5].argmax() in {0, 1, 2}


def test_cells_count_from_the_site():
    here = np.array([np.cos(np.radians(-2.0)), np.sin(np.radians(-2.0)), 0.0])
    cell = sporadic_sky.cells(here, -2.93)
    assert cell % sporadic_sky.COLUMNS == 0
    assert cell // sporadic_sky.COLUMNS == sporadic_sky.ROWS // 2
