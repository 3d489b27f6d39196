"""The Earth: its shape (WGS84), its rotation, and directions seen from places on it."""

from __future__ import annotations

from typing import Any

import erfa  # type: ignore[import-untyped]
import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

#: WGS84 semi-major axis and flattening, NGA.STND.0036 (2014) table 3.1.
EQUATORIAL_RADIUS_KM = 6378.137
FLATTENING = 1.0 / 298.257223563
_ECCENTRICITY2 = FLATTENING * (2.0 - FLATTENING)

#: Turns of the Earth relative to the stars in a UT1 day: the rate of the Earth rotation angle (IAU 2000 B1.8).
SIDEREAL_TURNS_PER_DAY = 1.00273781191135448

_UNIX_EPOCH_JD = 2440587.5
_TT_MINUS_TAI_S = 32.184


def geodetic_to_ecef_km(latitude_deg: ArrayLike, longitude_deg: ArrayLike, height_km: ArrayLike = 0.0) -> Array:
    """Return Earth-centred, Earth-fixed positions, shape (..., 3), km."""
    latitude, longitude = np.radians(latitude_deg), np.radians(longitude_deg)
    height = np.asarray(height_km, dtype=np.float64)
    normal = EQUATORIAL_RADIUS_KM / np.sqrt(1.0 - _ECCENTRICITY2 * np.sin(latitude) ** 2)
    across = (normal + height) * np.cos(latitude)
    along = (normal * (1.0 - _ECCENTRICITY2) + height) * np.sin(latitude)
    return _stack(across * np.cos(longitude), across * np.sin(longitude), along)


def ecef_to_geodetic(position_km: ArrayLike) -> tuple[Array, Array, Array]:
    """Return latitude, longitude (-180 to 180) in degrees and height in km of positions, shape (..., 3).

    ERFA's ``gc2gd`` (Fukushima 2006), exact to nanometres; longitude is 0 at the poles.
    """
    longitude, latitude, height_m = erfa.gc2gd(1, np.asarray(position_km, dtype=np.float64) * 1000.0)
    return np.degrees(latitude), np.degrees(longitude), np.asarray(height_m) / 1000.0


def enu_axes(latitude_deg: ArrayLike, longitude_deg: ArrayLike) -> Array:
    """Return the unit vectors east, north and up in ECEF, shape (..., 3, 3), one row each.

    Multiplying from the left turns ECEF directions into local ones: ``axes @ direction``.
    """
    latitude, longitude = np.broadcast_arrays(np.radians(latitude_deg), np.radians(longitude_deg))
    sin_lat, cos_lat, sin_lon, cos_lon = np.sin(latitude), np.cos(latitude), np.sin(longitude), np.cos(longitude)
    east = _stack(-sin_lon, cos_lon, np.zeros_like(sin_lon))
    north = _stack(-sin_lat * cos_lon, -sin_lat * sin_lon, cos_lat)
    up = _stack(cos_lat * cos_lon, cos_lat * sin_lon, sin_lat)
    return np.stack([east, north, up], axis=-2)


def azimuth_altitude_deg(
    direction_ecef: ArrayLike, latitude_deg: ArrayLike, longitude_deg: ArrayLike
) -> tuple[Array, Array]:
    """Return azimuth (0 to 360) and altitude of ECEF directions, shape (..., 3), seen from places, in degrees."""
    local = rotate(enu_axes(latitude_deg, longitude_deg), direction_ecef)
    east, north, up = local[..., 0], local[..., 1], local[..., 2]
    azimuth = np.degrees(np.arctan2(east, north)) % 360.0
    return azimuth, np.degrees(np.arctan2(up, np.hypot(east, north)))


def direction_to_ecef(
    azimuth_deg: ArrayLike, altitude_deg: ArrayLike, latitude_deg: ArrayLike, longitude_deg: ArrayLike
) -> Array:
    """Return ECEF unit vectors, shape (..., 3), of directions seen from places."""
    azimuth, altitude = np.broadcast_arrays(np.radians(azimuth_deg), np.radians(altitude_deg))
    local = _stack(np.sin(azimuth) * np.cos(altitude), np.cos(azimuth) * np.cos(altitude), np.sin(altitude))
    return rotate(np.swapaxes(enu_axes(latitude_deg, longitude_deg), -1, -2), local)


def azimuth_elevation_range(
    latitude_deg: ArrayLike, longitude_deg: ArrayLike, height_km: ArrayLike, target_ecef_km: ArrayLike
) -> tuple[Array, Array, Array]:
    """Return azimuth and elevation in degrees and range in km from places to targets, shape (..., 3)."""
    line = np.asarray(target_ecef_km) - geodetic_to_ecef_km(latitude_deg, longitude_deg, height_km)
    azimuth, elevation = azimuth_altitude_deg(line, latitude_deg, longitude_deg)
    return azimuth, elevation, np.linalg.norm(line, axis=-1)


def tt_minus_utc_s(unix: ArrayLike) -> Array:
    """Return TT - UTC in seconds: leap seconds (IERS Bulletin C, as ERFA carries them) plus 32.184.

    Instants after the table's end take its last value, instants before 1972 its value at the year's steps.
    """
    table = erfa.leap_seconds.get()
    months = (table["year"].astype(int) - 1970) * 12 + table["month"].astype(int) - 1
    starts_unix = months.astype("datetime64[M]").astype("datetime64[s]").astype(np.float64)
    index = np.searchsorted(starts_unix, np.asarray(unix, dtype=np.float64), side="right") - 1
    seconds: Array = np.asarray(table["tai_utc"])[np.maximum(index, 0)] + _TT_MINUS_TAI_S
    return seconds


def julian_date(unix: ArrayLike) -> tuple[float, Array]:
    """Return the Julian date as a whole and a part, in the two-part form that ERFA takes."""
    return _UNIX_EPOCH_JD, np.asarray(unix, dtype=np.float64) / 86400.0


def julian_date_tt(unix: ArrayLike) -> tuple[float, Array]:
    """Return the Julian date in Terrestrial Time as a whole and a part."""
    return _UNIX_EPOCH_JD, (np.asarray(unix, dtype=np.float64) + tt_minus_utc_s(unix)) / 86400.0


def gmst_deg(unix: ArrayLike) -> Array:
    """Return Greenwich mean sidereal time in degrees, 0 to 360 (IAU 2006)."""
    angle: Array = np.degrees(erfa.gmst06(*julian_date(unix), *julian_date_tt(unix)))
    return angle


def celestial_to_terrestrial(unix: ArrayLike) -> Array:
    """Return the matrices, shape (..., 3, 3), that turn J2000 (ICRS) directions into ECEF ones.

    Precession, nutation (IAU 2000B) and rotation; polar motion (under 0.0002 deg) is left out.
    """
    matrix: Array = erfa.c2t00b(*julian_date_tt(unix), *julian_date(unix), 0.0, 0.0)
    return matrix


def rotate(matrix: Array, vectors: ArrayLike) -> Array:
    """Apply matrices (..., 3, 3) to vectors (..., 3), broadcasting over the leading axes."""
    product: Array = np.einsum("...ij,...j->...i", matrix, np.asarray(vectors, dtype=np.float64))
    return product


def _stack(*parts: Any) -> Array:
    return np.stack(np.broadcast_arrays(*parts), axis=-1)
