"""Trail scattering against McKinley (1961), CCIR Report 251-5, Greenhow and Neufeld (1955) and derived values."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.path import trails
from skyglint.path.geometry import TrailGeometry, midpoint_geometry

# A path of 1200 km with the trail at 95 km above its middle, on a sphere of 6371 km: plane trigonometry by hand.
R = 611_656.0
PHI = 78.3769


def geometry(beta_deg: float, phi_deg: float = PHI, range_m: float = R) -> TrailGeometry:
    return TrailGeometry(*(np.float64(x) for x in (range_m, range_m, phi_deg, beta_deg)))


def dbm(power_w):
    return 10 * np.log10(power_w * 1e3)


# Evaluated from the formula with NumPy by hand: 100 MHz, 100 kW EIRP, isotropic receiver.
@pytest.mark.parametrize(
    ("density", "across", "along"),
    [(1e12, -155.286, -141.371), (1e13, -135.286, -121.371), (7.5e13, -117.785, -103.870), (1e14, -115.286, -101.371)],
)
def test_underdense_power(density, across, along):
    assert dbm(trails.underdense_power_w(1e5, 1, 100e6, geometry(90), density)) == pytest.approx(across, abs=0.01)
    assert dbm(trails.underdense_power_w(1e5, 1, 100e6, geometry(0), density)) == pytest.approx(along, abs=0.01)


def test_backscatter_limits_are_mckinleys_constants():
    # McKinley, Meteor Science and Engineering (1961): 2.5e-32 and 1.6e-11 P G G (lambda/R)^3 times q^2 and q^0.5.
    back = geometry(90, phi_deg=0.0, range_m=299_792.458)
    assert trails.underdense_power_w(1, 1, 1e6, back, 1.0) * 1e9 == pytest.approx(2.5e-32, rel=0.01)
    assert trails.overdense_power_w(1, 1, 1e6, back, 1.0) * 1e9 == pytest.approx(1.6e-11, rel=0.02)


@pytest.mark.parametrize(("density", "expected"), [(1e14, -117.189), (1e15, -112.189), (1e16, -107.189)])
def test_overdense_power(density, expected):
    assert dbm(trails.overdense_power_w(1e5, 1, 100e6, geometry(90), density)) == pytest.approx(expected, abs=0.01)


def test_powers_meet_at_the_transition_density():
    # McKinley 1961: 7.5e13 per metre.
    assert pytest.approx(7.5e13, rel=0.01) == trails.TRANSITION_PER_M
    under = trails.underdense_power_w(1, 1, 50e6, geometry(30), trails.TRANSITION_PER_M)
    over = trails.overdense_power_w(1, 1, 50e6, geometry(30), trails.TRANSITION_PER_M)
    assert under == pytest.approx(over, rel=1e-9)


# Amplitude decay times (s) of the diffusing Gaussian column, evaluated by hand: height, 50 MHz back and forward,
# 100 MHz back and forward (1200 km path).
@pytest.mark.parametrize(
    ("height", "back50", "forward50", "back100", "forward100"),
    [
        (85, 0.18293, 4.50659, 0.04573, 1.12665),
        (90, 0.08458, 2.08376, 0.02115, 0.52094),
        (95, 0.03911, 0.96349, 0.00978, 0.24087),
        (100, 0.01808, 0.44550, 0.00452, 0.11138),
        (105, 0.00836, 0.20599, 0.00209, 0.05150),
    ],
)
def test_decay_time(height, back50, forward50, back100, forward100):
    diffusion = trails.diffusion_m2_s(height)
    phi = midpoint_geometry(1.2e6, 95e3)[2]
    found = trails.decay_time_s(diffusion, [50e6, 50e6, 100e6, 100e6], [0, phi, 0, phi])
    assert found == pytest.approx([back50, forward50, back100, forward100], abs=1e-5)


@pytest.mark.parametrize(
    ("height", "expected"), [(80, 0.57544), (85, 1.24451), (95, 5.82103), (105, 27.22701), (110, 58.88437)]
)
def test_diffusion_coefficient(height, expected):
    # log10 D = 0.067 h - 5.6 (Greenhow and Neufeld 1955), evaluated by hand.
    assert trails.diffusion_m2_s(height) == pytest.approx(expected, rel=1e-4)


def test_diffusion_agrees_with_a_model_atmosphere_within_its_stated_error():
    # D = 6.3932e-2 K0 T^2/p with K0 = 2.4e-4 m^2/(V s) and NRLMSISE-00 at 45 N, day 80: 1.525, 3.230, 6.734 m^2/s.
    ratio = trails.diffusion_m2_s([85, 90, 95]) / [1.525, 3.230, 6.734]
    assert np.all((ratio < trails.DIFFUSION_FACTOR_SD) & (ratio > 1 / trails.DIFFUSION_FACTOR_SD))


@given(st.floats(80, 110), st.floats(30e6, 150e6), st.floats(0, 80))
def test_height_from_decay_undoes_decay_from_height(height, frequency, phi):
    decay = trails.decay_time_s(trails.diffusion_m2_s(height), frequency, phi)
    found, sd = trails.height_from_decay_km(decay, frequency, phi)
    assert found == pytest.approx(height, abs=1e-6)
    # A factor of 1.5 in D is log10(1.5)/0.067 = 2.628 km.
    assert sd == pytest.approx(2.628, abs=0.001)


def test_height_error_holds_the_measurement_and_blanks_stay_blank():
    # 10 % in the decay time alone is 0.1/ln(10)/0.067 = 0.648 km; with 2.628 km: 2.707 km.
    _, sd = trails.height_from_decay_km(0.2, 100e6, PHI, 0.02)
    assert sd == pytest.approx(2.707, abs=0.001)
    height, sd = trails.height_from_decay_km([np.nan, 0.0, -1.0], 100e6, PHI, 0.02)
    assert np.isnan(height).all()
    assert np.isnan(sd).all()


@pytest.mark.parametrize(
    ("height", "radius", "back", "forward"),
    [
        (85, 0.3350, 4.2809, 0.1738),
        (90, 0.5012, 9.5837, 0.3890),
        (95, 0.7499, 21.4552, 0.8709),
        (100, 1.1220, 48.0322, 1.9497),
        (105, 1.6788, 107.5307, 4.3648),
    ],
)
def test_initial_radius_and_its_loss(height, radius, back, forward):
    # log10 r0 = 0.035 h - 3.45 (CCIR Report 251-5) and the loss of a Gaussian column at 100 MHz, evaluated by hand.
    found = trails.initial_radius_m(height)
    assert found == pytest.approx(radius, abs=1e-4)
    phi = midpoint_geometry(1.2e6, 95e3)[2]
    assert trails.initial_radius_loss_db(found, 100e6, [0, phi]) == pytest.approx([back, forward], abs=1e-3)


@pytest.mark.parametrize(
    ("density", "back", "forward"),
    [(1e14, 0.011021, 0.271506), (1e15, 0.110208, 2.715063), (1e16, 1.102081, 27.150633)],
)
def test_overdense_duration(density, back, forward):
    # McKinley 1961 ch. 8: r_e lambda^2 q / (4 pi^2 D), D = 5.82103 m^2/s at 95 km, 100 MHz.
    phi = midpoint_geometry(1.2e6, 95e3)[2]
    found = trails.overdense_duration_s(density, trails.diffusion_m2_s(95), 100e6, [0, phi])
    assert found == pytest.approx([back, forward], rel=1e-4)


def test_radius_shortens_an_overdense_echo_but_never_below_zero():
    # r0^2/(4 D) with r0 = 1 m, D = 5 m^2/s is 0.05 s.
    whole, shorter = (trails.overdense_duration_s(1e15, 5.0, 100e6, 0.0, r) for r in (0.0, 1.0))
    assert whole - shorter == pytest.approx(0.05)
    assert trails.overdense_duration_s(1e13, 5.0, 100e6, 0.0, 1.0) == 0.0


def test_fresnel_zone():
    # CCIR Report 251-5's definition at lambda 2.99792 m, 1200 km midpoint: 957.52 m across, 4752.61 m along the plane.
    assert trails.fresnel_half_zone_m(geometry(90), 100e6) == pytest.approx(957.52, abs=0.01)
    assert trails.fresnel_half_zone_m(geometry(0), 100e6) == pytest.approx(4752.61, abs=0.1)
    assert trails.formation_time_s(geometry(90), 100e6, 40e3) == pytest.approx(2 * 957.52 / 40e3, rel=1e-5)


def test_formation_loss_vanishes_for_a_quick_zone_and_grows():
    # (1 - e^-1)/1 = 0.6321: 3.98 dB of power.
    assert trails.formation_loss_db([0.0, 1.0], 1.0) == pytest.approx([0.0, 3.984], abs=1e-3)
    assert trails.formation_loss_db(10.0, 1.0) == pytest.approx(20.0, abs=0.01)
