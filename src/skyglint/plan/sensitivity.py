"""The faintest trail that counts: how strong an echo must be to be found, and the line density that gives it."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from skyglint.path import trails
from skyglint.path.constants import BOLTZMANN_J_K, REFERENCE_TEMPERATURE_K, FloatArray
from skyglint.path.geometry import TrailGeometry
from skyglint.path.noise import Environment, system_noise_db
from skyglint.site import Kind

#: Heights of trails and how many fall there: around 95 km, five kilometres to either side (common practice: meteors
#: are at 60 to 110 km, most echoes at 85 to 105).
HEIGHTS_KM: Final = np.array([85.0, 90.0, 95.0, 100.0, 105.0])
_SHARES = np.exp(-0.5 * ((HEIGHTS_KM - 95.0) / 5.0) ** 2)
SHARES: Final = _SHARES / _SHARES.sum()

#: Depth of the band of heights over which one meteor ionises enough to count (common practice: some 10 km).
DEPTH_M: Final = 10_000.0

#: A typical sporadic meteor's speed, for the time in which it draws its Fresnel zone.
SPEED_M_S: Final = 40e3

#: Power detector: SNR sqrt(B T) at which half the bursts are found, false alarms 1e-6: 0.110 sqrt(2000)
#: (Urkowitz, Proc. IEEE 55, 523 (1967), evaluated with the chi-square distribution).
_ENERGY_DETECTOR: Final = 4.9
#: Matched filter for a tone of unknown phase: energy over noise density at the same probabilities, 11.24 dB.
_MATCHED_FILTER: Final = 13.3
_LONGEST_LOOK_S: Final = 10.0
_SHORTEST_LOOK_S: Final = 0.01


def noise_density_w_hz(frequency_hz: ArrayLike, environment: Environment, noise_figure_db: float) -> FloatArray:
    """Return the noise power in one hertz: galaxy, mankind and receiver (ITU-R P.372)."""
    figure = system_noise_db(frequency_hz, environment, noise_figure_db)
    return np.asarray(BOLTZMANN_J_K * REFERENCE_TEMPERATURE_K * 10 ** (figure / 10))


def least_power_w(kind: Kind, floor_w_hz: ArrayLike, bandwidth_hz: float, decay_s: ArrayLike) -> FloatArray:
    """Return the peak power at which half the echoes with an amplitude decay time are found.

    In a channel of noise-like modulation by its mean power over the decay time, of which an exponential echo leaves
    (1 - e^-2)/2 of its peak; of a carrier by its energy, which is the peak power times half the decay time.
    """
    look = np.clip(np.asarray(decay_s, dtype=np.float64), _SHORTEST_LOOK_S, _LONGEST_LOOK_S)
    floor = np.asarray(floor_w_hz, dtype=np.float64)
    if kind == "carrier":
        return np.asarray(_MATCHED_FILTER * floor * 2 / look)
    snr = _ENERGY_DETECTOR / np.sqrt(bandwidth_hz * look)
    return np.asarray(snr * floor * bandwidth_hz * 2 / (1 - np.exp(-2)))


def trails_counted(
    strength_w: FloatArray,
    frequency_hz: float,
    geometry: TrailGeometry,
    kind: Kind,
    bandwidth_hz: float,
    floor_w_hz: float,
) -> FloatArray:
    """Return the number of trails above the limiting line density, relative to all above one electron per metre.

    It is the mean over the heights of 1/q with q the limiting density (mass index 2): an underdense trail whose power
    after radius and formation losses reaches :func:`least_power_w`, or where that would take more than the transition
    density an overdense one, which lasts longer and is found at less power.

    Parameters
    ----------
    strength_w
        EIRP times the receiving gain times the polarisation factor, shape of the geometry.
    """
    phi = geometry.phi_deg[..., :1, None]
    decay = trails.decay_time_s(trails.diffusion_m2_s(HEIGHTS_KM), frequency_hz, phi)
    formation = trails.formation_time_s(geometry, frequency_hz, SPEED_M_S)[..., None]
    loss_db = trails.formation_loss_db(formation, decay)
    loss_db += trails.initial_radius_loss_db(trails.initial_radius_m(HEIGHTS_KM), frequency_hz, phi)
    needed = least_power_w(kind, floor_w_hz, bandwidth_hz, decay)
    with np.errstate(divide="ignore"):
        weak = trails.underdense_power_w(strength_w, 1.0, frequency_hz, geometry, 1.0)[..., None]
        strong = trails.overdense_power_w(strength_w, 1.0, frequency_hz, geometry, 1.0)[..., None]
        underdense = np.sqrt(needed * 10 ** (loss_db / 10) / weak)
        overdense = _overdense_limit(needed / strong, decay, frequency_hz, phi, kind)
    limit = np.where(underdense <= trails.TRANSITION_PER_M, underdense, overdense)
    return np.asarray((SHARES / limit).sum(axis=-1))


def _overdense_limit(
    needed: FloatArray, decay_s: FloatArray, frequency_hz: float, phi_deg: FloatArray, kind: Kind
) -> FloatArray:
    """Return the limiting line density of overdense trails.

    Their power goes as sqrt(q): it is enough at q = ``needed``^2 if the detector looks for the decay time only. Over a
    duration per_q * q the power needed falls as 1/sqrt(T) for a power detector and as 1/T for a matched filter.
    """
    per_q = trails.overdense_duration_s(1.0, trails.diffusion_m2_s(HEIGHTS_KM), frequency_hz, phi_deg)
    lasting = (needed * decay_s / per_q) ** (2 / 3) if kind == "carrier" else needed * np.sqrt(decay_s / per_q)
    return np.asarray(np.maximum(np.minimum(needed**2, lasting), trails.TRANSITION_PER_M))
