"""Distances, bearings and Earth-fixed positions on the WGS 84 ellipsoid."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from skyglint.path.constants import FloatArray

#: WGS 84 (NGA.STND.0036): semi-major axis and flattening.
WGS84_AXIS_M = 6_378_137.0
WGS84_FLATTENING = 1 / 298.257223563
_ECCENTRICITY_2 = WGS84_FLATTENING * (2 - WGS84_FLATTENING)


@dataclass(frozen=True, slots=True)
class Geodesic:
    """The shortest lines between pairs of places.

    Attributes
    ----------
    distance_m
        Length along the ellipsoid.
    azimuth_deg
        Bearing at the first place towards the second, 0 to 360.
    back_azimuth_deg
        Bearing at the second place towards the first, 0 to 360.
    """

    distance_m: FloatArray
    azimuth_deg: FloatArray
    back_azimuth_deg: FloatArray


@lru_cache(maxsize=1)
def _wgs84() -> Any:
    from pyproj import Geod

    return Geod(ellps="WGS84")


def geodesic(
    latitude1_deg: ArrayLike, longitude1_deg: ArrayLike, latitude2_deg: ArrayLike, longitude2_deg: ArrayLike
) -> Geodesic:
    """Return the shortest lines between places; arguments broadcast.

    Method: Karney, J. Geodesy 87, 43 (2013), as PROJ computes it.
    """
    latitude1, longitude1, latitude2, longitude2 = np.broadcast_arrays(
        *(np.asarray(x, dtype=np.float64) for x in (latitude1_deg, longitude1_deg, latitude2_deg, longitude2_deg))
    )
    azimuth, back, distance = _wgs84().inv(longitude1.copy(), latitude1.copy(), longitude2.copy(), latitude2.copy())
    return Geodesic(np.asarray(distance, dtype=np.float64), np.mod(azimuth, 360.0), np.mod(back, 360.0))


def destination(
    latitude_deg: ArrayLike, longitude_deg: ArrayLike, azimuth_deg: ArrayLike, distance_m: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Return latitude and longitude reached from a place on a bearing after a distance; arguments broadcast."""
    latitude, longitude, azimuth, distance = np.broadcast_arrays(
        *(np.asarray(x, dtype=np.float64) for x in (latitude_deg, longitude_deg, azimuth_deg, distance_m))
    )
    to_longitude, to_latitude, _ = _wgs84().fwd(longitude.copy(), latitude.copy(), azimuth.copy(), distance.copy())
    return np.asarray(to_latitude, dtype=np.float64), np.asarray(to_longitude, dtype=np.float64)


def earth_fixed_m(latitude_deg: ArrayLike, longitude_deg: ArrayLike, height_m: ArrayLike) -> FloatArray:
    """Return Earth-centred Earth-fixed coordinates, shape (..., 3), of geodetic places.

    Source: closed form on the ellipsoid, e.g. ITU-R BO.1443 and any geodesy text.
    """
    latitude, longitude = np.radians(latitude_deg), np.radians(longitude_deg)
    height = np.asarray(height_m, dtype=np.float64)
    normal = WGS84_AXIS_M / np.sqrt(1 - _ECCENTRICITY_2 * np.sin(latitude) ** 2)
    x = (normal + height) * np.cos(latitude) * np.cos(longitude)
    y = (normal + height) * np.cos(latitude) * np.sin(longitude)
    z = (normal * (1 - _ECCENTRICITY_2) + height) * np.sin(latitude) + 0.0 * longitude
    return np.stack(np.broadcast_arrays(x, y, z), axis=-1)


def local_axes(latitude_deg: ArrayLike, longitude_deg: ArrayLike) -> FloatArray:
    """Return the unit vectors east, north and up of places in Earth-fixed axes, shape (..., 3, 3), one a row."""
    latitude, longitude = np.broadcast_arrays(
        np.radians(np.asarray(latitude_deg, dtype=np.float64)), np.radians(np.asarray(longitude_deg, dtype=np.float64))
    )
    sin_lat, cos_lat, sin_lon, cos_lon = np.sin(latitude), np.cos(latitude), np.sin(longitude), np.cos(longitude)
    east = np.stack([-sin_lon, cos_lon, np.zeros_like(sin_lon)], axis=-1)
    north = np.stack([-sin_lat * cos_lon, -sin_lat * sin_lon, cos_lat], axis=-1)
    up = np.stack([cos_lat * cos_lon, cos_lat * sin_lon, sin_lat], axis=-1)
    return np.stack([east, north, up], axis=-2)
