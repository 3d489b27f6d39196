"""Free space against ITU-R P.525."""

import pytest

from skyglint.path.free_space import eirp_w, free_space_loss_db


# 20 log10(4 pi d f / c) by hand; P.525 prints 32.4 + 20 log f + 20 log d.
@pytest.mark.parametrize(
    ("megahertz", "kilometres", "loss"),
    [(100, 100, 112.4478), (50, 1000, 126.4272), (98, 1200, 133.8559), (143.05, 1200, 137.1412), (1090, 10, 113.1963)],
)
def test_loss(megahertz, kilometres, loss):
    assert free_space_loss_db(kilometres * 1e3, megahertz * 1e6) == pytest.approx(loss, abs=1e-3)


def test_dipole_power():
    # 1 kW over a half-wave dipole is 2.15 dB more over an isotropic antenna: 1640.6 W.
    assert eirp_w(1e3) == pytest.approx(1640.6, abs=0.1)
