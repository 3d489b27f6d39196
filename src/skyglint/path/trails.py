"""What a meteor trail scatters: power, decay, height from decay, radius, duration.

Symbols of the formulas: q line density (electrons per metre), R1 and R2 the ranges to the two ends, phi half the angle
between the rays at the trail, beta the angle of the trail out of their plane, D the ambipolar diffusion coefficient,
r0 the initial radius. The forms are those of Eshleman and Manning (Proc. IRE 42, 1954) and McKinley, Meteor Science
and Engineering (1961) ch. 8 and 9, as ITU-R P.843 uses them; their backscatter limits give McKinley's two constants
2.5e-32 and 1.6e-11.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from skyglint.path.constants import ELECTRON_RADIUS_M, FloatArray
from skyglint.path.geometry import TrailGeometry, wavelength_m

#: Line density at which the underdense and the overdense peak power are equal, (2 pi sqrt(e))^(-2/3) / r_e =
#: 7.47e13 per metre (McKinley 1961: 7.5e13). Others put the boundary at 1e14 or 2.4e14: it is not sharp.
TRANSITION_PER_M: Final = float((2 * np.pi * np.sqrt(np.e)) ** (-2 / 3) / ELECTRON_RADIUS_M)

#: Ambipolar diffusion, log10 D = 0.067 h - 5.6 (m^2/s, km): Greenhow and Neufeld, J. Atmos. Terr. Phys. 6, 133 (1955).
_DIFFUSION_SLOPE_PER_KM: Final = 0.067
_DIFFUSION_OFFSET: Final = -5.6

#: How far D at a given height may be from that relation: a factor of 1.5 (against model atmospheres at 85 to 105 km).
DIFFUSION_FACTOR_SD: Final = 1.5

#: Decay is faster than diffusion alone below this height, so that it is no gauge of height there (Lee et al., J.
#: Geophys. Res. Atmos. 118, 3037 (2013)).
DIFFUSION_FLOOR_KM: Final = 85.0


def diffusion_m2_s(height_km: ArrayLike) -> FloatArray:
    """Return the ambipolar diffusion coefficient at a height: log10 D = 0.067 h - 5.6.

    Source: Greenhow and Neufeld, J. Atmos. Terr. Phys. 6, 133 (1955); good to a factor of about 1.5.

    Examples
    --------
    >>> float(diffusion_m2_s(95.0).round(3))
    5.821
    """
    height = np.asarray(height_km, dtype=np.float64)
    return np.power(10.0, _DIFFUSION_SLOPE_PER_KM * height + _DIFFUSION_OFFSET)


def initial_radius_m(height_km: ArrayLike) -> FloatArray:
    """Return the radius at which a trail starts to diffuse: log10 r0 = 0.035 h - 3.45 (m, km), CCIR Report 251-5."""
    return np.power(10.0, 0.035 * np.asarray(height_km, dtype=np.float64) - 3.45)


def decay_time_s(diffusion_coefficient_m2_s: ArrayLike, frequency_hz: ArrayLike, phi_deg: ArrayLike) -> FloatArray:
    """Return the time in which an underdense echo's amplitude falls to 1/e: lambda^2 sec^2 phi / (16 pi^2 D).

    Power falls by e^-2 in that time. Source: a Gaussian column that diffuses (McKinley 1961 ch. 8).
    """
    cosine = np.cos(np.radians(phi_deg))
    diffusion = np.asarray(diffusion_coefficient_m2_s, dtype=np.float64)
    return np.asarray(wavelength_m(frequency_hz) ** 2 / (16 * np.pi**2 * diffusion * cosine**2))


def height_from_decay_km(
    decay_s: ArrayLike, frequency_hz: ArrayLike, phi_deg: ArrayLike, decay_sd_s: ArrayLike = 0.0
) -> tuple[FloatArray, FloatArray]:
    """Return the height at which diffusion gives this amplitude decay time, and its standard deviation, in km.

    The deviation holds the measurement's own and the relation's scatter (a factor of 1.5 in D is 2.6 km); it does not
    hold an unknown place along the path, which changes phi. NaN or a decay time of zero and less gives NaN. A height
    below :data:`DIFFUSION_FLOOR_KM` is to be distrusted.
    """
    decay = np.asarray(decay_s, dtype=np.float64)
    known = np.where(decay > 0, decay, np.nan)
    diffusion = wavelength_m(frequency_hz) ** 2 / (16 * np.pi**2 * known * np.cos(np.radians(phi_deg)) ** 2)
    height = (np.log10(diffusion) - _DIFFUSION_OFFSET) / _DIFFUSION_SLOPE_PER_KM
    measured = np.asarray(decay_sd_s, dtype=np.float64) / known / np.log(10)
    relation = np.log10(DIFFUSION_FACTOR_SD)
    return height, np.hypot(measured, relation) / _DIFFUSION_SLOPE_PER_KM + 0.0 * height


def underdense_power_w(
    eirp_w: ArrayLike,
    receive_gain: ArrayLike,
    frequency_hz: ArrayLike,
    geometry: TrailGeometry,
    line_density_per_m: ArrayLike,
    polarization_factor: ArrayLike = 1.0,
) -> FloatArray:
    """Return the peak power of an underdense echo before radius, formation and decay losses.

    P = EIRP G_R lambda^3 r_e^2 q^2 sin^2 gamma / [16 pi^2 R1 R2 (R1 + R2) (1 - sin^2 phi cos^2 beta)]
    (Eshleman and Manning 1954; McKinley 1961 ch. 9). ``receive_gain`` is a plain ratio over isotropic, and
    ``polarization_factor`` is sin^2 gamma times the match of the receiving antenna.
    """
    r1, r2 = geometry.transmitter_range_m, geometry.receiver_range_m
    density = np.asarray(line_density_per_m, dtype=np.float64)
    spread = 16 * np.pi**2 * r1 * r2 * (r1 + r2) * geometry.obliquity
    strength = np.asarray(eirp_w) * np.asarray(receive_gain) * np.asarray(polarization_factor)
    return np.asarray(strength * wavelength_m(frequency_hz) ** 3 * (ELECTRON_RADIUS_M * density) ** 2 / spread)


def overdense_power_w(
    eirp_w: ArrayLike,
    receive_gain: ArrayLike,
    frequency_hz: ArrayLike,
    geometry: TrailGeometry,
    line_density_per_m: ArrayLike,
    polarization_factor: ArrayLike = 1.0,
) -> FloatArray:
    """Return the peak power of an overdense echo: a metallic cylinder of the largest critical radius.

    P = EIRP G_R lambda^3 sqrt(q r_e / e) sin^2 gamma / [32 pi^3 R1 R2 (R1 + R2) (1 - sin^2 phi cos^2 beta)]
    (McKinley 1961 ch. 8 and 9). Arguments as :func:`underdense_power_w`.
    """
    r1, r2 = geometry.transmitter_range_m, geometry.receiver_range_m
    density = np.asarray(line_density_per_m, dtype=np.float64)
    spread = 32 * np.pi**3 * r1 * r2 * (r1 + r2) * geometry.obliquity
    strength = np.asarray(eirp_w) * np.asarray(receive_gain) * np.asarray(polarization_factor)
    column = np.sqrt(density * ELECTRON_RADIUS_M / np.e)
    return np.asarray(strength * wavelength_m(frequency_hz) ** 3 * column / spread)


def overdense_duration_s(
    line_density_per_m: ArrayLike,
    diffusion_coefficient_m2_s: ArrayLike,
    frequency_hz: ArrayLike,
    phi_deg: ArrayLike,
    radius_m: ArrayLike = 0.0,
) -> FloatArray:
    """Return how long a trail stays overdense: q r_e lambda^2 sec^2 phi / (4 pi^2 D) - r0^2 / (4 D), at least 0.

    Source: McKinley 1961 ch. 8. An upper bound beyond some 10 s: chemistry and wind shear end long echoes earlier.
    """
    density, diffusion = np.asarray(line_density_per_m), np.asarray(diffusion_coefficient_m2_s)
    oblique = wavelength_m(frequency_hz) ** 2 / np.cos(np.radians(phi_deg)) ** 2
    whole = density * ELECTRON_RADIUS_M * oblique / (4 * np.pi**2 * diffusion)
    return np.asarray(np.maximum(whole - np.asarray(radius_m) ** 2 / (4 * diffusion), 0.0))


def initial_radius_loss_db(radius_m: ArrayLike, frequency_hz: ArrayLike, phi_deg: ArrayLike) -> FloatArray:
    """Return the power loss of a trail of finite radius: 8 pi^2 r0^2 cos^2 phi / lambda^2 in nepers of power.

    Source: a Gaussian column (McKinley 1961 ch. 8).
    """
    ratio = np.asarray(radius_m) * np.cos(np.radians(phi_deg)) / wavelength_m(frequency_hz)
    return np.asarray(10 / np.log(10) * 8 * np.pi**2 * ratio**2)


def fresnel_half_zone_m(geometry: TrailGeometry, frequency_hz: ArrayLike) -> FloatArray:
    """Return half the length of the first Fresnel zone along a trail, where the path is half a wavelength longer.

    L = sqrt(lambda R1 R2 / [(R1 + R2) (1 - sin^2 phi cos^2 beta)]), CCIR Report 251-5.
    """
    r1, r2 = geometry.transmitter_range_m, geometry.receiver_range_m
    return np.asarray(np.sqrt(wavelength_m(frequency_hz) * r1 * r2 / ((r1 + r2) * geometry.obliquity)))


def formation_time_s(geometry: TrailGeometry, frequency_hz: ArrayLike, speed_m_s: ArrayLike) -> FloatArray:
    """Return how long a meteoroid takes through the first Fresnel zone, end to end: the rise time of its echo."""
    return np.asarray(2 * fresnel_half_zone_m(geometry, frequency_hz) / np.asarray(speed_m_s, dtype=np.float64))


def formation_loss_db(formation_s: ArrayLike, decay_s: ArrayLike) -> FloatArray:
    """Return the power loss of an echo that decays while its zone is still being drawn.

    The amplitude is multiplied by (1 - exp(-x)) / x with x = formation time over amplitude decay time: the mean of the
    decay over the zone. A simplification of this program; published versions differ in the numeric factor.
    """
    ratio = np.asarray(formation_s, dtype=np.float64) / np.asarray(decay_s, dtype=np.float64)
    safe = np.maximum(ratio, 1e-12)
    return np.asarray(-20 * np.log10(-np.expm1(-safe) / safe))
