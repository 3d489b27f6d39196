"""Troposcatter against hand-evaluated Recommendations, pycraf's P.452-16 and the measured curves of P.1546."""

import numpy as np
import pytest

from skyglint.path import troposcatter
from skyglint.path.diffraction import diffraction_loss_db
from skyglint.path.free_space import free_space_loss_db


def angle(kilometres):
    return troposcatter.scatter_angle_mrad(kilometres * 1e3, 150.0, 10.0)


# 100 MHz, 150 and 10 m, a_e 8500 km, N0 320, 39 N-units/km: angle, P.452-18 eq. (45) by hand, pycraf 2.1's P.452-16
# (its effective radius is 8476.67 km and it holds a few hundredths of gas absorption).
@pytest.mark.parametrize(
    ("kilometres", "mrad", "newer", "older"),
    [(150, 10.1722, 164.953, 162.222), (200, 16.0546, 174.013, 168.111), (300, 27.8193, 185.363, 178.413)],
)
def test_both_forms(kilometres, mrad, newer, older):
    assert angle(kilometres) == pytest.approx(mrad, abs=1e-3)
    assert troposcatter.scatter_loss_db(mrad, kilometres * 1e3, 100e6) == pytest.approx(newer, abs=0.01)
    theirs = troposcatter.scatter_angle_mrad(kilometres * 1e3, 150.0, 10.0, 8_476_669.0)
    assert troposcatter.scatter_loss_2015_db(theirs, kilometres * 1e3, 100e6) == pytest.approx(older, abs=0.06)


# ITU-R P.1546-6 Figs. 1 to 3, 100 MHz, land, 1 kW from 150 m to 10 m, dBuV/m at 50, 10 and 1 % of time; loss is
# 139.3 - E + 20 log f(MHz). What arrives is the sum of diffraction and scatter.
@pytest.mark.parametrize(
    ("kilometres", "half", "tenth", "hundredth"),
    [
        (100, 23.2014, 30.3366, 35.1380),
        (150, 12.0024, None, None),
        (200, 4.7814, 15.0982, 23.0078),
        (300, -6.5478, 2.9388, 12.4686),
        (500, -24.5028, -16.2977, -5.9699),
    ],
)
def test_guarded_loss_follows_the_measured_curves(kilometres, half, tenth, hundredth):
    around = diffraction_loss_db(kilometres * 1e3, 150.0, 10.0, 100e6) + free_space_loss_db(kilometres * 1e3, 100e6)
    for percent, field in ((50, half), (10, tenth), (1, hundredth)):
        if field is None:
            continue
        scatter = troposcatter.troposcatter_loss_db(angle(kilometres), kilometres * 1e3, 100e6, time_percent=percent)
        both = -10 * np.log10(10 ** (-around / 10) + 10 ** (-scatter / 10))
        assert both == pytest.approx(139.3 - field + 40, abs=6)


def test_guard_keeps_small_angles_from_beating_diffraction():
    # At 100 km the newer form alone gives 148.8 dB, where P.1546 has 156.1 and P.452-16 155.3.
    assert troposcatter.scatter_loss_db(angle(100), 100e3, 100e6) == pytest.approx(148.8, abs=0.1)
    assert troposcatter.troposcatter_loss_db(angle(100), 100e3, 100e6) == pytest.approx(155.3, abs=0.1)


def test_within_sight_there_is_no_scatter_path():
    assert np.isnan(troposcatter.troposcatter_loss_db(angle(40), 40e3, 100e6))


def test_loss_never_falls_with_distance():
    kilometres = np.linspace(70, 1500, 500)
    assert np.all(np.diff(troposcatter.troposcatter_loss_db(angle(kilometres), kilometres * 1e3, 98e6)) > 0)


def test_coupling_loss_and_time():
    # 0.07 exp(0.055 x 20) = 0.210 dB against 0.07 at no gain.
    plain, coupled = (troposcatter.scatter_loss_db(20.0, 250e3, 98e6, gains_dbi=g) for g in (0.0, 20.0))
    assert coupled - plain == pytest.approx(0.1403, abs=1e-3)
    with pytest.raises(ValueError, match="time_percent"):
        troposcatter.enhancement_db(60.0)
