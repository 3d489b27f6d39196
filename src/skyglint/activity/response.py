"""How well a path sees a radiant through the day: where its trails are specular, and how faint they may be there.

The counted area holds the specular condition and the collecting area; ranges, obliquity and Fresnel zone; the antenna
over its ground and the noise; initial radius, and decay while the trail forms; underdense and overdense trails; thinner
ionisation of slanting trails. It does not hold the transmitting antenna's pattern and the polarisation. As an absolute
figure it is good to a factor of about three; between radiants and hours of one path most of that cancels.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from skyglint.activity.flux import VISUAL_LIMIT_MAGNITUDE, line_density_of_magnitude
from skyglint.path import trails
from skyglint.path.antenna import gain_over_ground_dbi
from skyglint.path.constants import BOLTZMANN_J_K, REFERENCE_TEMPERATURE_K
from skyglint.path.free_space import eirp_w
from skyglint.path.geodesy import local_axes
from skyglint.path.geometry import TrailGeometry, look, trail_geometry
from skyglint.path.noise import system_noise_db
from skyglint.path.specular import Layer, common_layer, usable_curves
from skyglint.site import Channel, Site

Array = NDArray[np.float64]

LAYER_M = 95_000.0

#: Lowest usable elevation at both ends: working meteor circuits reach to 1800 km, which is about two degrees (ITU-R
#: P.843-1 (1997)).
MASK_DEG = 2.0

#: The reference radiant passes through the zenith of the path's middle; its meteors have this speed and mass index.
REFERENCE_SPEED_KM_S = 40.0
REFERENCE_MASS_INDEX = 2.0

#: Line density that fluxes are stated above: visual magnitude 6.5.
FLUX_DENSITY_PER_M = line_density_of_magnitude(VISUAL_LIMIT_MAGNITUDE)

#: What the site file does not tell: the receiver's part in the noise, and the power of a transmitter that states none.
NOISE_FIGURE_DB = 6.0
UNKNOWN_POWER_W = 10_000.0

#: Least signals that are found half the time at a false-alarm probability of 1e-6: for noise-like modulation power over
#: noise times the root of bandwidth x time (Urkowitz 1967, Proc. IEEE 55, 523; -9.58 dB at 2000), for a carrier energy
#: over noise density (11.24 dB, unknown phase).
_POWER_DETECTOR = 10**-0.958 * 2000**0.5
_TONE_DETECTOR = 10**1.124


def site_height_m(site: Site) -> float:
    """Return the height of the site's antenna above sea level."""
    return site.site.height_m + site.antenna.height_above_ground_m


@dataclass(frozen=True, slots=True)
class ChannelPath:
    """One channel's path, worked out once for any number of radiants.

    Attributes
    ----------
    site, channel
        The two ends.
    layer
        What both see.
    reference_km2
        Counted area of the reference radiant in its best hour; 0 where the ends share no layer.
    """

    site: Site
    channel: Channel
    layer: Layer
    reference_km2: float


def channel_path(site: Site, channel: Channel) -> ChannelPath:
    """Return the path from a channel's transmitter to the site.

    Raises
    ------
    ValueError
        If the channel has no position.
    """
    if channel.latitude_deg is None or channel.longitude_deg is None:
        raise ValueError(f"channel {channel.name} has no position")
    here = (site.site.latitude_deg, site.site.longitude_deg, site_height_m(site))
    there = (channel.latitude_deg, channel.longitude_deg, channel.height_m or 0.0)
    layer = common_layer(there, here, LAYER_M, (MASK_DEG, MASK_DEG))
    path = ChannelPath(site, channel, layer, 0.0)
    return replace(path, reference_km2=float(counted_area_km2(path, reference_radiants(layer), np.nan).max()))


def path_response(path: ChannelPath, radiants: ArrayLike, speed_km_s: ArrayLike) -> Array:
    """Return the response of a path to radiants: counted area over the reference's, shape (...), 0 for nothing usable.

    All are given the reference's mass index, so that only directions and speeds are compared. Arguments as
    :func:`counted_area_km2`.
    """
    area = counted_area_km2(path, radiants, speed_km_s)
    return area / path.reference_km2 if path.reference_km2 > 0 else area


def counted_area_km2(
    path: ChannelPath,
    radiants: ArrayLike,
    speed_km_s: ArrayLike,
    mass_index: float = REFERENCE_MASS_INDEX,
    limit_snr_db: float | None = None,
) -> Array:
    """Return the area by which a stream's flux of meteors brighter than 6.5 must be multiplied for the echoes counted.

    Parameters
    ----------
    path
        From :func:`channel_path`.
    radiants
        Earth-fixed unit vectors, shape (..., 3).
    speed_km_s
        Speed at the top of the atmosphere, broadcast to shape (...); NaN is taken as the reference's.
    mass_index
        Numbers above a line density q go as q^(1 - s).
    limit_snr_db
        Peak signal over noise from which on echoes are counted, as their ``peak_snr_db`` has it; left out, whatever a
        good detector finds half the time.
    """
    vectors = np.asarray(radiants, dtype=np.float64)
    speed = np.broadcast_to(np.asarray(speed_km_s, dtype=np.float64), vectors.shape[:-1]).ravel()
    curves = usable_curves(path.layer, vectors.reshape(-1, 3))
    trail = vectors.reshape(-1, 3)[curves.radiant]
    geometry = trail_geometry(path.layer.transmitter_m, path.layer.receiver_m, curves.points_m, trail)
    speed_m_s = 1e3 * np.where(np.isnan(speed), REFERENCE_SPEED_KM_S, speed)[curves.radiant]
    limit = _limiting_density_per_m(path, curves.points_m, geometry, speed_m_s, limit_snr_db)
    more = (curves.rising * FLUX_DENSITY_PER_M / limit) ** (mass_index - 1.0)
    area = np.bincount(curves.radiant, curves.area_m2 * more, curves.n_radiants) / 1e6
    return np.asarray(area.reshape(vectors.shape[:-1]))


def reference_radiants(layer: Layer) -> Array:
    """Return the reference radiant at 24 equal steps of a day, Earth-fixed, shape (24, 3)."""
    x, y, z = local_axes(*layer.center_deg)[2]
    angle = np.radians(15.0 * np.arange(24))
    turned = [x * np.cos(angle) - y * np.sin(angle), x * np.sin(angle) + y * np.cos(angle), np.full(24, z)]
    return np.stack(turned, axis=-1)


def _limiting_density_per_m(
    path: ChannelPath, points_m: Array, geometry: TrailGeometry, speed_m_s: Array, limit_snr_db: float | None
) -> Array:
    """Return the least line density at each point whose echo is counted."""
    channel, height_km = path.channel, LAYER_M / 1e3
    gain, eirp = _gain(path.site, channel, points_m), eirp_w(channel.power_w or UNKNOWN_POWER_W)
    weak = trails.underdense_power_w(eirp, gain, channel.frequency_hz, geometry, 1.0)
    strong = trails.overdense_power_w(eirp, gain, channel.frequency_hz, geometry, 1.0)

    decay_s = trails.decay_time_s(trails.diffusion_m2_s(height_km), channel.frequency_hz, geometry.phi_deg)
    formation_s = trails.formation_time_s(geometry, channel.frequency_hz, speed_m_s)
    loss_db = trails.formation_loss_db(formation_s, decay_s)
    loss_db += trails.initial_radius_loss_db(trails.initial_radius_m(height_km), channel.frequency_hz, geometry.phi_deg)
    needed = _needed_w(path.site, channel, decay_s, limit_snr_db)
    underdense = np.sqrt(needed * 10 ** (loss_db / 10) / weak)
    # Power grows as q^2 below the transition and as its root above (McKinley 1961 ch. 8).
    overdense = np.maximum((needed / strong) ** 2, trails.TRANSITION_PER_M)
    return np.where(underdense <= trails.TRANSITION_PER_M, underdense, overdense)


def _needed_w(site: Site, channel: Channel, decay_s: Array, limit_snr_db: float | None) -> Array:
    """Return the least peak power that is counted, shape of the decay times."""
    figure_db = system_noise_db(channel.frequency_hz, site.site.environment, NOISE_FIGURE_DB)
    density_w_hz = BOLTZMANN_J_K * REFERENCE_TEMPERATURE_K * 10 ** (figure_db / 10)
    if limit_snr_db is not None:
        # A carrier's signal over noise is referred to one hertz.
        width_hz = 1.0 if channel.kind == "carrier" else channel.bandwidth_hz
        return np.full_like(decay_s, 10 ** (limit_snr_db / 10) * density_w_hz * width_hz)
    if channel.kind == "carrier":
        return np.asarray(_TONE_DETECTOR * density_w_hz / decay_s)
    return np.asarray(_POWER_DETECTOR * density_w_hz * np.sqrt(channel.bandwidth_hz / decay_s))


def _gain(site: Site, channel: Channel, points_m: Array) -> Array:
    antenna = site.antenna
    seen = look(site.site.latitude_deg, site.site.longitude_deg, site_height_m(site), points_m)
    gain_dbi = gain_over_ground_dbi(
        seen.azimuth_deg,
        seen.elevation_deg,
        channel.frequency_hz,
        aim_azimuth_deg=antenna.azimuth_deg,
        aim_elevation_deg=antenna.elevation_deg,
        gain_dbi=antenna.gain_dbi,
        beamwidth_deg=antenna.beamwidth_deg,
        height_above_ground_m=antenna.height_above_ground_m,
        polarization=antenna.polarization,
    )
    return np.asarray(10 ** (gain_dbi / 10))
