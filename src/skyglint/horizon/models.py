"""The level of a direct signal over a round Earth of any effective radius, and over a plane."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from skyglint.horizon.links import Links
from skyglint.horizon.two_ray import two_ray_loss_db
from skyglint.path.constants import FloatArray
from skyglint.path.diffraction import diffraction_loss_db
from skyglint.path.free_space import free_space_loss_db
from skyglint.path.geometry import wavelength_m
from skyglint.path.troposcatter import enhancement_db, scatter_angle_mrad, troposcatter_loss_db

_LEAST_ANGLE_MRAD = 0.01


@dataclass(frozen=True, slots=True)
class RoundLevels:
    """Median levels over round Earths; both fields have the shape (*links, radii).

    Attributes
    ----------
    rays_dbm
        What comes around the bulge or past it (free space and diffraction, ITU-R P.525 and P.526-15 sec. 3).
    scatter_dbm
        What the lower air scatters over it (the shape of ITU-R P.617-5 with P.452-16 at small angles); within line of
        sight as at the horizon's edge, so that it ends without a step, drowned by the rays.
    """

    rays_dbm: FloatArray
    scatter_dbm: FloatArray

    def total_dbm(self, strength_db: float = 0.0, time_percent: float = 50.0) -> FloatArray:
        """Return both together, as powers.

        Parameters
        ----------
        strength_db
            Of the scatter, over its formula; ``-inf`` for none. The Recommendations differ by some 10 dB.
        time_percent
            Part of the time, 1 to 50 %, in which the level is at least this.
        """
        if np.isneginf(strength_db):
            return self.rays_dbm
        raised = self.scatter_dbm + strength_db + enhancement_db(time_percent)
        return np.asarray(10 * np.log10(10 ** (self.rays_dbm / 10) + 10 ** (raised / 10)))


def free_levels_dbm(links: Links) -> FloatArray:
    """Return the levels in free space (ITU-R P.525), the antenna's gain included."""
    loss = free_space_loss_db(links.distance_m, links.frequency_hz)
    return np.asarray(links.eirp_dbm + links.gain_dbi - loss)


def round_levels(links: Links, radii_m: ArrayLike) -> RoundLevels:
    """Return the levels over smooth round Earths of several effective radii, shape (k,)."""
    radii = np.atleast_1d(np.asarray(radii_m, dtype=np.float64))
    free, strong = free_levels_dbm(links), links.eirp_dbm + links.gain_dbi
    # Diffraction and scatter take one radius at a time; links are many, radii are few.
    rays = [free - _diffraction_db(links, float(radius)) for radius in radii]
    scatter = [_scatter_dbm(links, strong, free, float(radius)) for radius in radii]
    return RoundLevels(np.stack(rays, axis=-1), np.stack(scatter, axis=-1))


def plane_levels_dbm(links: Links) -> FloatArray:
    """Return the levels over a smooth plane (two rays), free space nearer than where the lobes begin.

    There the two rays are more than 60 degrees apart in phase, and real ground blurs the lobes. P.526 takes free space
    on clear paths as well: near by the models agree, and only what a curve changes is left to tell them apart.
    """
    loss = two_ray_loss_db(
        links.distance_m,
        links.transmitter_height_m,
        links.site_height_m,
        links.frequency_hz,
        vertical=links.vertical,
    )
    free = free_levels_dbm(links)
    heights = links.transmitter_height_m * links.site_height_m
    lag = 4 * np.pi * heights / (wavelength_m(links.frequency_hz) * links.distance_m)
    return np.where(lag > np.pi / 3, free, np.minimum(links.eirp_dbm + links.gain_dbi - loss, free))


def _diffraction_db(links: Links, radius_m: float) -> FloatArray:
    return diffraction_loss_db(
        links.distance_m,
        links.transmitter_height_m,
        links.site_height_m,
        links.frequency_hz,
        vertical=links.vertical,
        effective_radius_m=radius_m,
    )


def _scatter_dbm(links: Links, strong_dbm: FloatArray, free_dbm: FloatArray, radius_m: float) -> FloatArray:
    angle = scatter_angle_mrad(links.distance_m, links.transmitter_height_m, links.site_height_m, radius_m)
    loss = troposcatter_loss_db(np.maximum(angle, _LEAST_ANGLE_MRAD), links.distance_m, links.frequency_hz)
    return np.asarray(np.minimum(strong_dbm - loss, free_dbm))
