"""External noise against ITU-R P.372-16."""

import pytest

from skyglint.path.noise import THERMAL_DBM_HZ, galactic_noise_db, man_made_noise_db, noise_power_dbm, system_noise_db


# c - d log f of P.372-16 Part 4 eq. (13) and Part 6, by hand.
@pytest.mark.parametrize(
    ("megahertz", "city", "residential", "rural", "quiet", "galactic"),
    [
        (50, 29.739, 25.439, 20.139, 5.009, 12.924),
        (98, 21.643, 17.343, 12.043, -3.349, 6.202),
        (143, 17.097, 12.797, 7.497, -8.043, 2.427),
    ],
)
def test_noise_figures(megahertz, city, residential, rural, quiet, galactic):
    frequency = megahertz * 1e6
    found = [float(man_made_noise_db(frequency, e)) for e in ("city", "residential", "rural", "quiet rural")]
    assert found == pytest.approx([city, residential, rural, quiet], abs=1e-3)
    assert galactic_noise_db(frequency) == pytest.approx(galactic, abs=1e-3)


def test_thermal_noise():
    assert pytest.approx(-173.9752, abs=1e-3) == THERMAL_DBM_HZ


def test_a_quiet_place_hears_the_galaxy():
    # 6.202 dB of galaxy, -3.349 of quiet rural, a noiseless receiver: 10 log10(4.1706 + 0.4625) = 6.659 dB.
    assert system_noise_db(98e6, "quiet rural", 0.0) == pytest.approx(6.659, abs=1e-3)


def test_noise_power_in_a_channel():
    # 17.343 (residential) with 6.202 (galaxy) and a 6 dB receiver: 10 log10(54.24 + 4.171 + 2.981) = 17.882 dB.
    assert noise_power_dbm(98e6, 200e3, "residential", 6.0) == pytest.approx(-173.975 + 17.882 + 53.010, abs=2e-3)
