"""How well a path sees a radiant through the day: where its trails are specular, and how faint they may be there.

The response is the number of trails that would be counted, for one flux of trails above a line density, whatever the
direction; 1 is the best hour of a reference radiant, so that radiants and hours compare and the unknown absolute level
drops out. What it holds: the specular condition and the collecting area; ranges, obliquity and Fresnel zone; the
antenna over its ground; initial radius, and decay while the trail forms; thinner ionisation of slanting trails. Numbers
above a limiting line density are taken to go as its inverse (mass index 2). It does not hold the transmitting antenna's
pattern and the polarisation.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from skyglint.path import trails
from skyglint.path.antenna import gain_over_ground_dbi
from skyglint.path.geodesy import local_axes
from skyglint.path.geometry import look, trail_geometry
from skyglint.path.specular import Layer, common_layer, usable_curves
from skyglint.site import Channel, Site

Array = NDArray[np.float64]

LAYER_M = 95_000.0

#: Lowest usable elevation at both ends: working meteor circuits reach to 1800 km, which is about two degrees (ITU-R
#: P.843-1 (1997)).
MASK_DEG = 2.0

#: The reference radiant passes through the zenith of the path's middle; its meteors have this speed.
REFERENCE_SPEED_KM_S = 40.0


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
    reference
        What the reference radiant's best hour counts, on the path's own scale; 0 where the ends share no layer.
    """

    site: Site
    channel: Channel
    layer: Layer
    reference: float


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
    path = ChannelPath(site, channel, layer, 1.0)
    counted = _counted(path, reference_radiants(layer), np.full(24, REFERENCE_SPEED_KM_S))
    return replace(path, reference=float(counted.max()))


def path_response(path: ChannelPath, radiants: ArrayLike, speed_km_s: ArrayLike) -> Array:
    """Return the response of a path to radiants, shape (...), 0 where nothing is usable.

    Parameters
    ----------
    path
        From :func:`channel_path`.
    radiants
        Earth-fixed unit vectors, shape (..., 3).
    speed_km_s
        Speed at the top of the atmosphere, broadcast to shape (...); NaN is taken as the reference's.
    """
    vectors = np.asarray(radiants, dtype=np.float64)
    speed = np.broadcast_to(np.asarray(speed_km_s, dtype=np.float64), vectors.shape[:-1])
    counted = _counted(path, vectors.reshape(-1, 3), speed.ravel()).reshape(vectors.shape[:-1])
    return counted / path.reference if path.reference > 0 else counted


def reference_radiants(layer: Layer) -> Array:
    """Return the reference radiant at 24 equal steps of a day, Earth-fixed, shape (24, 3)."""
    x, y, z = local_axes(*layer.center_deg)[2]
    angle = np.radians(15.0 * np.arange(24))
    turned = [x * np.cos(angle) - y * np.sin(angle), x * np.sin(angle) + y * np.cos(angle), np.full(24, z)]
    return np.stack(turned, axis=-1)


def _counted(path: ChannelPath, radiants: Array, speed_km_s: Array) -> Array:
    """Return areas weighted by the inverse of the limiting line density, shape (n,), on a scale of the path's own."""
    channel, layer = path.channel, path.layer
    curves = usable_curves(layer, radiants)
    speed_m_s = 1e3 * np.where(np.isnan(speed_km_s), REFERENCE_SPEED_KM_S, speed_km_s)[curves.radiant]
    geometry = trail_geometry(layer.transmitter_m, layer.receiver_m, curves.points_m, radiants[curves.radiant])
    strength = trails.underdense_power_w(
        1.0, _gain(path.site, channel, curves.points_m), channel.frequency_hz, geometry, 1.0
    )

    height_km = LAYER_M / 1e3
    decay_s = trails.decay_time_s(trails.diffusion_m2_s(height_km), channel.frequency_hz, geometry.phi_deg)
    formation_s = trails.formation_time_s(geometry, channel.frequency_hz, speed_m_s)
    loss_db = trails.formation_loss_db(formation_s, decay_s)
    loss_db += trails.initial_radius_loss_db(trails.initial_radius_m(height_km), channel.frequency_hz, geometry.phi_deg)
    # A longer echo is found at less power: a detector of power needs 1/sqrt(T), one of a tone's energy 1/T.
    gathered = decay_s if channel.kind == "carrier" else np.sqrt(decay_s)
    limiting_density = np.sqrt(10 ** (loss_db / 10) / (strength * gathered))
    counted = curves.area_m2 * curves.rising / limiting_density
    return np.bincount(curves.radiant, counted, curves.n_radiants).astype(np.float64)


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
