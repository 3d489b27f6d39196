import numpy as np
import pytest

from skyglint.activity.flux import (
    flux_of_zhr,
    line_density_of_magnitude,
    magnitude_of_line_density,
    mass_g,
    population_index,
    shower_flux,
    zhr_of_flux,
)


@pytest.mark.parametrize(
    ("r", "zhr", "flux"),
    # Koschack & Rendtel 1990 with A_red = 178700 r^-1.82 and c = 10.65 r - 12.15, worked by hand calculator.
    [(2.2, 100, 0.02651), (2.6, 150, 0.07425), (2.1, 18, 0.003970), (2.1, 80, 0.01765), (2.5, 20, 0.008586)],
)
def test_flux_of_visual_rates(r, zhr, flux):
    assert flux_of_zhr(zhr, r) == pytest.approx(flux, rel=1e-3)
    assert zhr_of_flux(flux, r) == pytest.approx(zhr, rel=1e-3)


def test_the_visual_relation_ends_where_it_was_measured():
    assert np.isnan(zhr_of_flux(0.01, 1.7))
    assert np.isnan(zhr_of_flux(0.01, 3.6))


@pytest.mark.parametrize(("mass_index", "r"), [(1.60, 1.73780), (1.75, 1.99526), (2.00, 2.51189), (2.20, 3.01995)])
def test_population_index(mass_index, r):
    # s = 1 + 2.5 log10 r (Koschack & Rendtel 1990).
    assert population_index(mass_index) == pytest.approx(r, abs=1e-5)


@pytest.mark.parametrize(("magnitude", "log_density"), [(-2, 16.8), (0, 16.0), (2, 15.2), (5, 14.0), (6.5, 13.4)])
def test_line_density_and_magnitude(magnitude, log_density):
    # McKinley 1961: log q = 16 - 0.4 M, from memory.
    assert np.log10(line_density_of_magnitude(magnitude)) == pytest.approx(log_density)
    assert magnitude_of_line_density(10.0**log_density) == pytest.approx(magnitude)


def test_mass():
    # log m = 14.7 - 4 log V - 0.4 M, and log 40 = 1.60206 (Jacchia et al. 1967, from memory).
    assert np.log10(mass_g(0.0, 40.0)) == pytest.approx(14.7 - 4 * 1.602059991)
    assert mass_g(5.0, 40.0) / mass_g(0.0, 40.0) == pytest.approx(0.01)


def test_a_known_shower_comes_back():
    # Perseids of ZHR 100 (r 2.2): 0.02651 per km2 and hour to magnitude 6.5, that is a line density of 10^13.4.
    result = shower_flux(0.02651, 0.020, 0.033, 10.0**13.4, 1.85606, 59.0)
    assert result.limiting_magnitude == pytest.approx(6.5)
    assert (result.zhr, result.zhr_low) == pytest.approx((100, 75.4), rel=2e-3)
    # Counting ten times thinner trails gives 10^(s - 1) as many, and the same visual rate.
    fainter = shower_flux(0.02651 * 10**0.85606, 0.1, 0.2, 10.0**12.4, 1.85606, 59.0)
    assert fainter.zhr == pytest.approx(100, rel=2e-3)
    assert fainter.limiting_magnitude == pytest.approx(9.0)


def test_calibration_and_assumptions_are_stated():
    plain = shower_flux(0.02, 0.01, 0.03, 1e13, 2.0, 35.0)
    assert any("factor of about three" in line for line in plain.assumptions)
    calibrated = shower_flux(0.02, 0.01, 0.03, 1e13, 2.0, 35.0, calibration=2.0)
    assert calibrated.flux_per_km2_h == pytest.approx(plain.flux_per_km2_h / 2)
    assert not any("about three" in line for line in calibrated.assumptions)
