"""Satellites: where SGP4 puts them, and how a place on the Earth sees them.

SGP4 (WGS72 constants) gives positions in TEME; turned by Greenwich mean sidereal time (IAU 1982) they are Earth-fixed.
Polar motion (10 m) is left out, and UT1 is taken as UTC (46 m for each 0.1 s between them; 10 m in 2026).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import erfa  # type: ignore[import-untyped]
import numpy as np
from numpy.typing import ArrayLike
from sgp4.api import WGS72, Satrec

from skyglint.sky.earth import (
    EQUATORIAL_RADIUS_KM,
    FLATTENING,
    Array,
    azimuth_altitude_deg,
    celestial_to_terrestrial,
    geodetic_to_ecef_km,
    julian_date,
    julian_date_tt,
    rotate,
)
from skyglint.sky.orbits.elements import Elements

#: Exact, definition of the metre (SI).
SPEED_OF_LIGHT_KM_S = 299_792.458
_SGP4_EPOCH_UNIX = -631_238_400.0  # 1949-12-31T00:00:00Z, from which sgp4 counts days
_ASTRONOMICAL_UNIT_KM = 149_597_870.7
_STEP_S = 2.0


@dataclass(frozen=True, slots=True)
class Place:
    """A place on or above the ground, geodetic (WGS84)."""

    latitude_deg: float
    longitude_deg: float
    height_m: float

    @property
    def position_km(self) -> Array:
        """Earth-fixed position, shape (3,)."""
        return geodetic_to_ecef_km(self.latitude_deg, self.longitude_deg, self.height_m / 1000.0)


@dataclass(frozen=True, slots=True)
class Motion:
    """Earth-fixed position and velocity at times, each shape (..., 3); NaN where SGP4 gives none (decayed)."""

    position_km: Array
    velocity_km_s: Array


@dataclass(frozen=True, slots=True)
class Look:
    """How a place sees a satellite; each of the shape of the times."""

    azimuth_deg: Array
    elevation_deg: Array
    range_km: Array
    range_rate_km_s: Array


@dataclass(frozen=True, slots=True)
class Satellite:
    """Elements and the SGP4 model made of them; make one with :func:`satellite`."""

    elements: Elements
    model: Satrec

    def teme(self, unix: ArrayLike) -> tuple[Array, Array]:
        """Return position (km) and velocity (km/s) in TEME, each shape (..., 3)."""
        times = np.asarray(unix, dtype=np.float64)
        days = (times.ravel() - self.elements.epoch_unix) / 86_400.0
        whole = np.full(days.shape, self.model.jdsatepoch)
        errors, positions, velocities = self.model.sgp4_array(whole, self.model.jdsatepochF + days)
        bad = errors[:, None] != 0
        shape = (*times.shape, 3)
        return np.where(bad, np.nan, positions).reshape(shape), np.where(bad, np.nan, velocities).reshape(shape)

    def earth_fixed_km(self, unix: ArrayLike) -> Array:
        """Return Earth-fixed positions, shape (..., 3)."""
        positions, _ = self.teme(unix)
        angle = np.asarray(erfa.gmst82(*julian_date(unix)))
        sine, cosine = np.sin(angle), np.cos(angle)
        x, y = positions[..., 0], positions[..., 1]
        return np.stack([cosine * x + sine * y, cosine * y - sine * x, positions[..., 2]], axis=-1)

    def motion(self, unix: ArrayLike) -> Motion:
        """Return Earth-fixed position and velocity.

        The velocity is the five-point derivative of the position: the velocities that SGP4 itself gives differ from
        it by up to 2 cm/s for low orbits (a few millihertz of a VHF Doppler shift) and 1 m/s for eccentric ones.
        """
        times = np.asarray(unix, dtype=np.float64)
        near = self.earth_fixed_km(times[..., None] + _STEP_S * np.array([-2.0, -1.0, 0.0, 1.0, 2.0]))
        slope = (near[..., 0, :] - 8 * near[..., 1, :] + 8 * near[..., 3, :] - near[..., 4, :]) / (12 * _STEP_S)
        return Motion(near[..., 2, :], slope)

    def look(self, place: Place, unix: ArrayLike) -> Look:
        """Return where a place sees the satellite, geometrically: light time and refraction left out."""
        motion = self.motion(unix)
        line = motion.position_km - place.position_km
        ranges = np.linalg.norm(line, axis=-1)
        azimuth, elevation = azimuth_altitude_deg(line, place.latitude_deg, place.longitude_deg)
        return Look(azimuth, elevation, ranges, np.sum(line * motion.velocity_km_s, axis=-1) / ranges)


def satellite(elements: Elements) -> Satellite:
    """Make the SGP4 model of elements.

    The model gets a stand-in catalogue number: sgp4 refuses those above 339999, and the motion does not depend on it.
    """
    model = Satrec()
    turns = 2 * math.pi / 1440.0
    degrees = math.pi / 180.0
    model.sgp4init(
        WGS72,
        "i",
        0,
        (elements.epoch_unix - _SGP4_EPOCH_UNIX) / 86_400.0,
        elements.bstar_per_radius,
        0.0,  # the derivatives of the mean motion are not used by SGP4
        0.0,
        elements.eccentricity,
        elements.perigee_deg * degrees,
        elements.inclination_deg * degrees,
        elements.mean_anomaly_deg * degrees,
        elements.mean_motion_rev_day * turns,
        elements.node_deg * degrees,
    )
    return Satellite(elements, model)


def path_rate_km_s(motion: Motion, site: Place, transmitter: Place | None = None) -> Array:
    """Return how fast the way of the signal that arrives now grows; of shape (...).

    The way is satellite to site, or transmitter to satellite to site. The satellite's motion is that at the instant
    when the signal left it (see :func:`emission_unix`); the time that light takes is in the rate. Both ends stand
    still in the Earth-fixed frame, in which light is taken as straight: the Earth's turning meanwhile changes the
    rate by less than 0.02 m/s (0.01 Hz at 100 MHz) for low orbits.
    """
    towards_site = _rate(motion, site)
    # The satellite is seen where it was; each second here is that many of its own.
    pace = 1.0 / (1.0 + towards_site / SPEED_OF_LIGHT_KM_S)
    total = towards_site if transmitter is None else towards_site + _rate(motion, transmitter)
    rate: Array = total * pace
    return rate


def path_km(motion: Motion, site: Place, transmitter: Place | None = None) -> Array:
    """Return the length of the same way."""
    length: Array = np.linalg.norm(motion.position_km - site.position_km, axis=-1)
    if transmitter is not None:
        length = length + np.linalg.norm(motion.position_km - transmitter.position_km, axis=-1)
    return length


def emission_unix(body: Satellite, site: Place, unix: ArrayLike) -> Array:
    """Return when the signal that arrives at the site at given times left the satellite."""
    arrival = np.asarray(unix, dtype=np.float64)
    left = arrival
    for _ in range(3):  # each round gains a factor of c / v = 40,000
        distance = np.linalg.norm(body.earth_fixed_km(left) - site.position_km, axis=-1)
        left = arrival - distance / SPEED_OF_LIGHT_KM_S
    return left


def doppler_hz(rate_km_s: Array, frequency_hz: float) -> Array:
    """Return the shift for a rate of the way, positive when it shortens."""
    return -rate_km_s / SPEED_OF_LIGHT_KM_S * frequency_hz


def sunlit(motion: Motion, unix: ArrayLike) -> np.ndarray:
    """Tell where a satellite sees at least half of the Sun, the Earth taken as an ellipsoid without air."""
    times = np.asarray(unix, dtype=np.float64)
    earth, _ = erfa.epv00(*julian_date_tt(times))
    towards = rotate(celestial_to_terrestrial(times), -np.asarray(earth["p"]) * _ASTRONOMICAL_UNIT_KM)
    # Stretching the polar axis makes the Earth a sphere, and rays stay straight.
    stretch = np.array([1.0, 1.0, 1.0 / (1.0 - FLATTENING)])
    position = motion.position_km * stretch
    ray = towards * stretch - position
    ray /= np.linalg.norm(ray, axis=-1, keepdims=True)
    along = np.sum(position * ray, axis=-1)
    beside = np.linalg.norm(position - along[..., None] * ray, axis=-1)
    return np.asarray((along > 0) | (beside > EQUATORIAL_RADIUS_KM))


def _rate(motion: Motion, place: Place) -> Array:
    line = motion.position_km - place.position_km
    rate: Array = np.sum(line * motion.velocity_km_s, axis=-1) / np.linalg.norm(line, axis=-1)
    return rate
