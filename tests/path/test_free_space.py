"""Free space against ITU-R P.525 and P.1546."""

import pytest

from skyglint.path.free_space import eirp_w, field_from_power_dbuv_m, free_space_loss_db, power_from_field_dbm


# 20 log10(4 pi d f / c) by hand; P.525 prints 32.4 + 20 log f + 20 log d.
@pytest.mark.parametrize(
    ("megahertz", "kilometres", "loss"),
    [(100, 100, 112.4478), (50, 1000, 126.4272), (98, 1200, 133.8559), (143.05, 1200, 137.1412), (1090, 10, 113.1963)],
)
def test_loss(megahertz, kilometres, loss):
    assert free_space_loss_db(kilometres * 1e3, megahertz * 1e6) == pytest.approx(loss, abs=1e-3)


def test_field_and_power():
    # P.1546: the largest field of 1 kW is 106.9 - 20 log d; 20 dBuV/m at 100 MHz gives -97.216 dBm.
    assert field_from_power_dbuv_m(1e3, 100e3) == pytest.approx(66.9, abs=0.05)
    assert power_from_field_dbm(20.0, 100e6) == pytest.approx(-97.216, abs=0.001)


def test_field_route_and_loss_route_meet():
    # 1 kW ERP is 60 dBm + 2.15 dB; both ways to the power of an isotropic antenna 80 km away.
    by_field = power_from_field_dbm(field_from_power_dbuv_m(1e3, 80e3), 98e6)
    assert by_field == pytest.approx(60 + 2.15 - free_space_loss_db(80e3, 98e6), abs=0.02)
    assert eirp_w(1e3) == pytest.approx(1640.6, abs=0.1)
