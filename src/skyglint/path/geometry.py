"""The triangle of transmitter, trail and site: angles, ranges and Doppler shifts.

Positions are Earth-fixed vectors in metres, shape (..., 3) (see :func:`skyglint.path.geodesy.earth_fixed_m`). Rays are
straight: at the few degrees of elevation and more that matter here, refraction bends them by tenths of a degree.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from skyglint.path.constants import EARTH_RADIUS_M, SPEED_OF_LIGHT_M_S, FloatArray
from skyglint.path.geodesy import earth_fixed_m, local_axes


@dataclass(frozen=True, slots=True)
class TrailGeometry:
    """How one trail (or an array of trails) stands between transmitter and site.

    Attributes
    ----------
    transmitter_range_m, receiver_range_m
        Straight distances from the trail to the two ends.
    phi_deg
        Half the angle at the trail between the rays from the two ends (0: echo straight back).
    beta_deg
        Angle between the trail and the plane through transmitter, trail and site.
    """

    transmitter_range_m: FloatArray
    receiver_range_m: FloatArray
    phi_deg: FloatArray
    beta_deg: FloatArray

    @property
    def obliquity(self) -> FloatArray:
        """The factor 1 - sin^2 phi cos^2 beta of the Fresnel zone and the received power."""
        phi, beta = np.radians(self.phi_deg), np.radians(self.beta_deg)
        return np.asarray(1.0 - np.sin(phi) ** 2 * np.cos(beta) ** 2)


@dataclass(frozen=True, slots=True)
class Look:
    """The direction and distance in which a place sees a point."""

    azimuth_deg: FloatArray
    elevation_deg: FloatArray
    range_m: FloatArray


def wavelength_m(frequency_hz: ArrayLike) -> FloatArray:
    """Return the wavelength in vacuum."""
    return SPEED_OF_LIGHT_M_S / np.asarray(frequency_hz, dtype=np.float64)


def unit(vector: FloatArray) -> FloatArray:
    """Return vectors, shape (..., 3), scaled to length one."""
    return np.asarray(vector / np.linalg.norm(vector, axis=-1, keepdims=True))


def dot(first: FloatArray, second: FloatArray) -> FloatArray:
    """Return scalar products along the last axis."""
    return np.asarray(np.einsum("...i,...i->...", first, second))


def look(latitude_deg: ArrayLike, longitude_deg: ArrayLike, height_m: ArrayLike, point_m: FloatArray) -> Look:
    """Return azimuth, elevation and range from geodetic places to Earth-fixed points."""
    offset = point_m - earth_fixed_m(latitude_deg, longitude_deg, height_m)
    east, north, up = np.moveaxis(np.einsum("...ij,...j->...i", local_axes(latitude_deg, longitude_deg), offset), -1, 0)
    azimuth = np.mod(np.degrees(np.arctan2(east, north)), 360.0)
    elevation = np.degrees(np.arctan2(up, np.hypot(east, north)))
    return Look(np.asarray(azimuth), np.asarray(elevation), np.linalg.norm(offset, axis=-1))


def direction(
    latitude_deg: ArrayLike, longitude_deg: ArrayLike, azimuth_deg: ArrayLike, elevation_deg: ArrayLike
) -> FloatArray:
    """Return Earth-fixed unit vectors, shape (..., 3), of directions given in local azimuth and elevation."""
    azimuth, elevation = np.radians(azimuth_deg), np.radians(elevation_deg)
    local = np.stack(
        np.broadcast_arrays(
            np.sin(azimuth) * np.cos(elevation), np.cos(azimuth) * np.cos(elevation), np.sin(elevation)
        ),
        axis=-1,
    )
    return np.asarray(np.einsum("...ij,...i->...j", local_axes(latitude_deg, longitude_deg), local))


def trail_geometry(
    transmitter_m: FloatArray, receiver_m: FloatArray, point_m: FloatArray, trail: FloatArray
) -> TrailGeometry:
    """Return the geometry of trails at points along unit vectors ``trail`` (either sense).

    Where the two rays lie in one line (echo straight back) every plane holds them, and beta is given as 90 degrees:
    the received power does not depend on it there.
    """
    to_transmitter, to_receiver = transmitter_m - point_m, receiver_m - point_m
    ranges_t, ranges_r = np.linalg.norm(to_transmitter, axis=-1), np.linalg.norm(to_receiver, axis=-1)
    a, b = to_transmitter / ranges_t[..., None], to_receiver / ranges_r[..., None]
    # The chord between unit vectors keeps its precision where the arc cosine of their product loses it.
    phi = np.degrees(np.arcsin(np.clip(np.linalg.norm(a - b, axis=-1) / 2, 0, 1)))
    normal = np.cross(a, b)
    length = np.linalg.norm(normal, axis=-1)
    sine = np.abs(dot(normal, trail)) / np.where(length > 0, length, 1.0)
    beta = np.where(length > 1e-9, np.degrees(np.arcsin(np.clip(sine, 0, 1))), 90.0)
    return TrailGeometry(ranges_t, ranges_r, phi, beta)


def doppler_hz(
    transmitter_m: FloatArray,
    receiver_m: FloatArray,
    point_m: FloatArray,
    velocity_m_s: FloatArray,
    frequency_hz: ArrayLike,
) -> FloatArray:
    """Return the Doppler shift of a scatterer moving with an Earth-fixed velocity; both ends stand still.

    It is -(1/lambda) d(R1 + R2)/dt, positive when the path shortens (bistatic radar, first order in v/c).
    """
    towards = unit(transmitter_m - point_m) + unit(receiver_m - point_m)
    return dot(towards, velocity_m_s) / wavelength_m(frequency_hz)


def midpoint_geometry(distance_m: ArrayLike, height_m: ArrayLike) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return range (m), elevation (deg) and phi (deg) of a point above the middle of a path on a spherical Earth.

    Plane trigonometry in the triangle of site, Earth's centre and point; radius 6371 km, straight rays.
    """
    angle = np.asarray(distance_m, dtype=np.float64) / (2 * EARTH_RADIUS_M)
    shell = EARTH_RADIUS_M + np.asarray(height_m, dtype=np.float64)
    ranges = np.sqrt(EARTH_RADIUS_M**2 + shell**2 - 2 * EARTH_RADIUS_M * shell * np.cos(angle))
    elevation = np.degrees(np.arcsin((shell * np.cos(angle) - EARTH_RADIUS_M) / ranges))
    phi = np.degrees(np.arcsin(EARTH_RADIUS_M * np.sin(angle) / ranges))
    return ranges, elevation, phi
