"""Diffraction against an independent implementation (pycraf), hand-evaluated P.526 and measured P.1546 curves."""

import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.path.diffraction import diffraction_loss_db
from skyglint.path.free_space import free_space_loss_db


# 100 MHz, antennas at 150 and 10 m, effective radius 8500 km, land: ITU-R P.526-15 sec. 3 evaluated by hand, and the
# classical residue series (which P.526 names as the rigorous method): distance, P.526 H and V, series H and V.
@pytest.mark.parametrize(
    ("kilometres", "horizontal", "vertical", "series_h", "series_v"),
    [
        (80, 34.916, 34.927, 34.923, 34.536),
        (100, 42.530, 42.532, 42.413, 41.928),
        (150, 62.227, 62.209, 61.868, 61.149),
        (200, 82.435, 82.396, 82.009, 81.056),
        (300, 123.589, 123.509, 123.116, 121.695),
    ],
)
def test_beyond_the_horizon(kilometres, horizontal, vertical, series_h, series_v):
    found = diffraction_loss_db(kilometres * 1e3, 150.0, 10.0, 100e6, vertical=[False, True])
    assert found == pytest.approx([horizontal, vertical], abs=0.01)
    assert found[0] == pytest.approx(series_h, abs=1.0)
    assert found[1] == pytest.approx(series_v, abs=2.0)


def test_within_the_horizon():
    # Sec. 3.2 at 50 km by hand: 23.0082 dB.
    assert diffraction_loss_db(50e3, 150.0, 10.0, 100e6) == pytest.approx(23.008, abs=0.01)


def test_agrees_with_the_independent_implementation():
    # pycraf's ITU-R P.452-16 over a flat profile of zero height, its effective radius for 39 N-units/km: 8476.669 km.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from astropy import units as u
        from pycraf import pathprof

        for kilometres in (50, 80, 150, 300):
            profile = np.linspace(0, kilometres, 2001)
            flat = np.zeros(2001)
            path = pathprof.PathProp(
                0.1 * u.GHz, 290 * u.K, 1013 * u.hPa, 0 * u.deg, 50 * u.deg, 1 * u.deg, 50 * u.deg,
                150 * u.m, 10 * u.m, 100 * u.m, 50 * u.percent, delta_N=39 / u.km, N0=320 * u.one, polarization=0,
                version=16, hprof_dists=profile * u.km, hprof_heights=flat * u.m,
                hprof_bearing=90 * u.deg, hprof_backbearing=-90 * u.deg,
            )  # fmt: skip
            expected = pathprof.loss_diffraction(path)[0].value
            found = diffraction_loss_db(kilometres * 1e3, 150.0, 10.0, 100e6, effective_radius_m=8_476_669.0)
            assert found == pytest.approx(float(expected), abs=0.01)


@pytest.mark.parametrize(("kilometres", "field"), [(50, 42.6853), (80, 29.9126), (100, 23.2014)])
def test_is_near_the_measured_broadcast_curves(kilometres, field):
    # ITU-R P.1546-6 Fig. 1 (100 MHz, land, 50 % of time, 1 kW, 150 m to 10 m): loss = 139.3 - E + 20 log f. Over real
    # land the median is a few decibels from that of a smooth sphere.
    loss = free_space_loss_db(kilometres * 1e3, 100e6) + diffraction_loss_db(kilometres * 1e3, 150.0, 10.0, 100e6)
    assert loss == pytest.approx(139.3 - field + 40, abs=10)


@given(st.floats(0, 3000), st.floats(0, 3000), st.floats(30e6, 150e6))
def test_never_negative_near_by_and_rises_with_distance(height1, height2, frequency):
    distances = np.linspace(1e3, 1500e3, 300)
    loss = diffraction_loss_db(distances, height1, height2, frequency)
    assert np.all(np.isfinite(loss))
    assert np.all(np.diff(loss) > -0.3)
    assert diffraction_loss_db(100e3, height1, height2, frequency) == pytest.approx(
        diffraction_loss_db(100e3, height2, height1, frequency)
    )


def test_the_sea_carries_vertical_waves_further():
    land, sea = (diffraction_loss_db(100e3, 10, 10, 50e6, vertical=True, surface=s) for s in ("land", "sea"))
    assert sea < land - 5
