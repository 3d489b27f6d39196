"""Radiants: where a stream of meteors comes from, as directions fixed to the turning Earth and as seen from places.

A radiant is a direction of motion and not a light ray, so neither refraction nor stellar aberration applies. Published
radiants are geocentric and on J2000 axes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from skyglint.sky.earth import (
    Array,
    azimuth_altitude_deg,
    celestial_to_terrestrial,
    direction_to_ecef,
    enu_axes,
    rotate,
)

#: Square of the escape speed at 95 km height: 2 x 398600.4418 km3/s2 over 6466 km.
ESCAPE_SPEED2_KM2_S2 = 2.0 * 398600.4418 / 6466.0

#: Speed of the turning Earth's equator: 2 pi x 6378.137 km in a sidereal day of 86164.0905 s.
EQUATOR_SPEED_KM_S = 2.0 * np.pi * 6378.137 / 86164.0905


def unit_vector(right_ascension_deg: ArrayLike, declination_deg: ArrayLike) -> Array:
    """Return unit vectors, shape (..., 3), of directions in any equatorial or ecliptic frame."""
    longitude, latitude = np.broadcast_arrays(np.radians(right_ascension_deg), np.radians(declination_deg))
    across = np.cos(latitude)
    return np.stack([across * np.cos(longitude), across * np.sin(longitude), np.sin(latitude)], axis=-1)


def radiant_direction_ecef(right_ascension_deg: ArrayLike, declination_deg: ArrayLike, unix: ArrayLike) -> Array:
    """Return ECEF unit vectors, shape (..., 3), towards J2000 radiants on the turning Earth."""
    return rotate(celestial_to_terrestrial(unix), unit_vector(right_ascension_deg, declination_deg))


def radiant_azimuth_altitude_deg(
    right_ascension_deg: ArrayLike,
    declination_deg: ArrayLike,
    unix: ArrayLike,
    latitude_deg: ArrayLike,
    longitude_deg: ArrayLike,
) -> tuple[Array, Array]:
    """Return azimuth and altitude in degrees of J2000 radiants, without the Earth's attraction; within 0.01 deg."""
    direction = radiant_direction_ecef(right_ascension_deg, declination_deg, unix)
    return azimuth_altitude_deg(direction, latitude_deg, longitude_deg)


def apparent_zenith_distance_deg(
    true_zenith_distance_deg: ArrayLike, speed_km_s: ArrayLike, escape_speed2_km2_s2: float = ESCAPE_SPEED2_KM2_S2
) -> Array:
    """Return the zenith distance at which the Earth's attraction makes a radiant appear.

    Parameters
    ----------
    true_zenith_distance_deg
        Of the geocentric radiant, 0 to 180.
    speed_km_s
        Speed at the top of the atmosphere (V_inf), above the escape speed.

    Notes
    -----
    Schiaparelli's formula, tan(dz/2) = k tan(z/2) with the *apparent* z, k = (V_inf - V_g) / (V_inf + V_g) and
    V_g**2 = V_inf**2 - V_esc**2, solved for z in closed form.
    """
    speed = np.asarray(speed_km_s, dtype=np.float64)
    geocentric = np.sqrt(np.maximum(speed**2 - escape_speed2_km2_s2, 0.0))
    k = (speed - geocentric) / (speed + geocentric)
    true = np.tan(np.radians(true_zenith_distance_deg) / 2.0)
    apparent = 2.0 * true / (1.0 + k + np.sqrt((1.0 + k) ** 2 + 4.0 * k * true**2))
    distance: Array = np.degrees(2.0 * np.arctan(apparent))
    return distance


def apparent_direction_ecef(
    direction_ecef: ArrayLike, speed_km_s: ArrayLike, latitude_deg: ArrayLike, longitude_deg: ArrayLike
) -> Array:
    """Return the directions in which a place sees geocentric radiants: attracted to its zenith, moved to its east.

    ``speed_km_s`` is V_inf; the Earth's own turning moves the radiant by ``v_site / speed`` (diurnal aberration).
    """
    azimuth, altitude = azimuth_altitude_deg(direction_ecef, latitude_deg, longitude_deg)
    attracted = 90.0 - apparent_zenith_distance_deg(90.0 - altitude, speed_km_s)
    direction = direction_to_ecef(azimuth, attracted, latitude_deg, longitude_deg)
    east = enu_axes(latitude_deg, longitude_deg)[..., 0, :]
    drift = EQUATOR_SPEED_KM_S * np.cos(np.radians(latitude_deg)) / np.asarray(speed_km_s, dtype=np.float64)
    moved = direction + np.asarray(drift)[..., None] * east
    unit: Array = moved / np.linalg.norm(moved, axis=-1, keepdims=True)
    return unit
