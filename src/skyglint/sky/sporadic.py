"""The sporadic background: six broad sources that stay fixed relative to the Sun and the Earth's motion.

The positions are those commonly given after Jones & Brown (1993, MNRAS 265, 524) and Campbell-Brown (2008, Icarus 196,
144), from memory. The weights are **a working assumption of ours, not a published figure**: relative strengths depend
on the limiting mass and on how ionisation grows with speed. Both are data: pass other sources where better are known.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from skyglint.sky.earth import Array, celestial_to_terrestrial, rotate
from skyglint.sky.radiants import unit_vector
from skyglint.sky.sun import OBLIQUITY_J2000_DEG, solar_longitude_deg


@dataclass(frozen=True, slots=True)
class SporadicSource:
    """One source in the Sun-centred ecliptic frame, in which the Earth's apex is at longitude 270.

    Attributes
    ----------
    name
        Short name, such as ``HE`` for the helion source.
    longitude_deg, latitude_deg
        Ecliptic longitude minus the Sun's, and ecliptic latitude.
    width_deg, height_deg
        Full width at half maximum along and across the ecliptic.
    speed_km_s
        Typical speed at the top of the atmosphere.
    weight
        Share of the flux.
    """

    name: str
    longitude_deg: float
    latitude_deg: float
    width_deg: float
    height_deg: float
    speed_km_s: float
    weight: float

    def parts(self) -> tuple[SporadicSource, ...]:
        """Return the source as seven points that stand for a Gaussian of its width: one sharp point sees too little.

        Degree-5 rule for the plane with a Gaussian weight (Stroud 1971, formula E2 r2 5-1): half the weight in the
        centre, the rest in a hexagon two standard deviations away.
        """
        sd_lon, sd_lat = (full / (2.0 * np.sqrt(2.0 * np.log(2.0))) for full in (self.width_deg, self.height_deg))
        points = [replace(self, weight=self.weight / 2.0)]
        for angle in np.radians(np.arange(0.0, 360.0, 60.0)):
            latitude = self.latitude_deg + 2.0 * sd_lat * float(np.sin(angle))
            longitude = self.longitude_deg + 2.0 * sd_lon * float(np.cos(angle)) / float(np.cos(np.radians(latitude)))
            points.append(
                replace(self, longitude_deg=longitude % 360.0, latitude_deg=latitude, weight=self.weight / 12.0)
            )
        return tuple(points)


#: Working assumption (see the module's text). Speeds: typical V_g raised by the Earth's attraction.
SOURCES = (
    SporadicSource("HE", 342.0, 1.0, 32.0, 20.0, 34.0, 0.30),
    SporadicSource("AH", 198.0, 0.0, 32.0, 22.0, 34.0, 0.30),
    SporadicSource("NA", 271.0, 19.0, 40.0, 30.0, 59.0, 0.15),
    SporadicSource("SA", 273.0, -11.0, 42.0, 30.0, 59.0, 0.10),
    SporadicSource("NT", 271.0, 58.0, 38.0, 24.0, 39.0, 0.10),
    SporadicSource("ST", 274.0, -60.0, 38.0, 24.0, 39.0, 0.05),
)


def spread(sources: Iterable[SporadicSource] = SOURCES) -> tuple[SporadicSource, ...]:
    """Return every source as its seven points."""
    return tuple(part for source in sources for part in source.parts())


def source_vectors_j2000(solar_longitude_deg: ArrayLike, sources: Sequence[SporadicSource] = SOURCES) -> Array:
    """Return J2000 equatorial unit vectors towards sources, shape (n_sources, ..., 3), at solar longitudes (...)."""
    sun = np.asarray(solar_longitude_deg, dtype=np.float64)
    ecliptic = np.stack([unit_vector(sun + source.longitude_deg, source.latitude_deg) for source in sources])
    tilt = np.radians(OBLIQUITY_J2000_DEG)
    x, y, z = np.moveaxis(ecliptic, -1, 0)
    return np.stack([x, y * np.cos(tilt) - z * np.sin(tilt), y * np.sin(tilt) + z * np.cos(tilt)], axis=-1)


def source_directions_ecef(unix: ArrayLike, sources: Sequence[SporadicSource] = SOURCES) -> Array:
    """Return ECEF unit vectors towards sources, shape (n_sources, ..., 3), at instants of shape (...)."""
    return rotate(celestial_to_terrestrial(unix), source_vectors_j2000(solar_longitude_deg(unix), sources))
