"""The Sun: solar longitude, equation of time, local apparent solar time, altitude.

The ephemeris is ERFA's ``epv00`` (Earth to 5 km, the Sun's longitude to under 0.00001 deg). It is evaluated at nodes
six hours apart and interpolated linearly, so that a month of echoes costs 120 evaluations; interpolation adds less than
0.00001 deg to the longitude, 0.01 s to the equation of time and 0.0001 deg to the declination.
"""

from __future__ import annotations

import erfa  # type: ignore[import-untyped]
import numpy as np
from numpy.typing import ArrayLike

from skyglint.sky.earth import Array, celestial_to_terrestrial, julian_date_tt, rotate

#: Obliquity of the mean ecliptic of J2000 (IAU 1976, 84381.448 arcsec), as meteor astronomy uses it.
OBLIQUITY_J2000_DEG = 84381.448 / 3600.0
SPEED_OF_LIGHT_AU_PER_DAY = 173.14463267424034  # 299792.458 km/s over the IAU 2012 astronomical unit

_NODE_S = 6 * 3600.0


def signed_deg(angle_deg: ArrayLike) -> Array:
    """Return angles, such as differences of longitudes, brought to -180 (included) to 180 degrees."""
    return (np.asarray(angle_deg, dtype=np.float64) + 180.0) % 360.0 - 180.0


def solar_longitude_deg(unix: ArrayLike) -> Array:
    """Return the solar longitude, 0 to 360: geocentric, geometric, mean ecliptic and equinox of J2000.

    Within 0.0001 deg of a full ephemeris (an hour is about 0.04 deg).

    Examples
    --------
    >>> round(float(solar_longitude_deg(1786586400.0)), 3)  # 2026-08-13T02:00:00Z, the Perseids' maximum
    140.0
    """
    return _interpolate(unix, 0) % 360.0


def unix_at_solar_longitude(longitude_deg: float, near_unix: float) -> float:
    """Return the instant nearest to ``near_unix`` at which the Sun reaches a longitude, to a second."""
    unix = near_unix
    for _ in range(5):  # Newton; the speed varies by 3 %, so each step wins a factor of 30 or more
        behind = signed_deg(longitude_deg - solar_longitude_deg(unix))
        unix += float(behind) / 360.0 * 365.2564 * 86400.0
    return unix


def equation_of_time_min(unix: ArrayLike) -> Array:
    """Return apparent minus mean solar time in minutes, within 0.02."""
    return _interpolate(unix, 1)


def local_apparent_solar_hour(unix: ArrayLike, longitude_deg: ArrayLike) -> Array:
    """Return the local apparent solar time in hours, 0 to 24: the clock that the daily course of the meteors keeps.

    Within 1 s (UT1 - UTC) of a full ephemeris; noon is the Sun's upper transit.
    """
    universal_h = np.asarray(unix, dtype=np.float64) % 86400.0 / 3600.0
    return (universal_h + np.asarray(longitude_deg) / 15.0 + equation_of_time_min(unix) / 60.0) % 24.0


def sun_altitude_deg(unix: ArrayLike, latitude_deg: ArrayLike, longitude_deg: ArrayLike) -> Array:
    """Return the altitude of the Sun's centre without refraction, within 0.01 deg (parallax and UT1 - UTC left out)."""
    hour_angle = np.radians((local_apparent_solar_hour(unix, longitude_deg) - 12.0) * 15.0)
    latitude, declination = np.radians(latitude_deg), np.radians(_interpolate(unix, 2))
    sine = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.cos(hour_angle)
    altitude: Array = np.degrees(np.arcsin(np.clip(sine, -1.0, 1.0)))
    return altitude


def _interpolate(unix: ArrayLike, column: int) -> Array:
    position = np.asarray(unix, dtype=np.float64) / _NODE_S
    left = np.floor(position)
    nodes, index = np.unique(np.concatenate([left.ravel(), left.ravel() + 1.0]), return_inverse=True)
    values = _ephemeris(nodes * _NODE_S)[column][index].reshape((2, *left.shape))
    interpolated: Array = values[0] + (position - left) * signed_deg(values[1] - values[0])
    return interpolated


def _ephemeris(unix: Array) -> tuple[Array, Array, Array]:
    """Return the solar longitude (deg), the equation of time (min) and the apparent declination of date (deg)."""
    heliocentric, barycentric = erfa.epv00(*julian_date_tt(unix))
    sun = -heliocentric["p"]
    tilt = np.radians(OBLIQUITY_J2000_DEG)
    toward_pole = sun[:, 1] * np.cos(tilt) + sun[:, 2] * np.sin(tilt)
    longitude = np.degrees(np.arctan2(toward_pole, sun[:, 0]))

    direction = sun / np.linalg.norm(sun, axis=-1, keepdims=True)
    seen = rotate(celestial_to_terrestrial(unix), direction + barycentric["v"] / SPEED_OF_LIGHT_AU_PER_DAY)
    subsolar_deg = np.degrees(np.arctan2(seen[:, 1], seen[:, 0]))
    apparent_min = 4.0 * (180.0 - subsolar_deg)
    equation_min = (apparent_min - unix % 86400.0 / 60.0 + 720.0) % 1440.0 - 720.0
    declination = np.degrees(np.arctan2(seen[:, 2], np.hypot(seen[:, 0], seen[:, 1])))
    return longitude, equation_min, declination
