"""All transmitters at once: how far, how deep behind the horizon, how loud directly.

The ground is a smooth sphere; its surface lies at ``surface_height_m`` above sea level, and antenna heights count from
there. Direct levels are those of an isotropic antenna; each receiving antenna adds its own gain.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from skyglint.path import diffraction, free_space, horizon, troposcatter
from skyglint.path.constants import EARTH_RADIUS_M, EFFECTIVE_RADIUS_M, FloatArray
from skyglint.path.geodesy import geodesic
from skyglint.plan.settings import PlanSettings
from skyglint.site import Site
from skyglint.transmitters.transmitter import Transmitter, columns

#: Beyond this no point of the layer is seen from both ends (95 km, horizon to horizon).
FARTHEST_KM: Final = 2200.0

#: Where a list gives no height at all: an ordinary mast's (common practice); the plan says so.
ASSUMED_HEIGHT_M: Final = 150.0

#: Parts of the time for which direct levels are given, percent.
TIME_PERCENTS: Final = (50.0, 10.0, 1.0)


@dataclass(frozen=True, slots=True)
class Survey:
    """Transmitters within reach, as arrays in one order.

    Attributes
    ----------
    transmitters
        The records.
    distance_m, azimuth_deg, back_azimuth_deg
        Geodesic from the site, and the bearing back.
    height_m
        Radiation centre above sea level as used; ``height_known`` says whether the list gave it.
    hidden_m, hidden_geometric_m
        Top below the site's horizon, with 4/3 and with the true radius; negative above it.
    free_space_loss_db, diffraction_loss_db, troposcatter_loss_db
        The losses; diffraction comes on top of free space, troposcatter holds everything (NaN within sight).
    direct_dbm
        Power at an isotropic antenna, median and exceeded 10 and 1 % of the time, shape (3, n).
    """

    transmitters: tuple[Transmitter, ...]
    frequency_hz: FloatArray
    erp_horizontal_w: FloatArray
    erp_vertical_w: FloatArray
    is_fm: NDArray[np.bool_]
    distance_m: FloatArray
    azimuth_deg: FloatArray
    back_azimuth_deg: FloatArray
    height_m: FloatArray
    height_known: NDArray[np.bool_]
    hidden_m: FloatArray
    hidden_geometric_m: FloatArray
    free_space_loss_db: FloatArray
    diffraction_loss_db: FloatArray
    troposcatter_loss_db: FloatArray
    direct_dbm: FloatArray


def survey(site: Site, transmitters: list[Transmitter], settings: PlanSettings) -> Survey:
    """Return the numbers of all transmitters on the air within reach of the site."""
    licensed = [one for one in transmitters if one.status == "licensed"]
    table = columns(licensed)
    place = site.site
    lines = geodesic(place.latitude_deg, place.longitude_deg, table.latitude_deg, table.longitude_deg)
    keep = np.flatnonzero(lines.distance_m <= FARTHEST_KM * 1e3)
    kept = tuple(licensed[k] for k in keep)
    distance, azimuth, back = (
        np.atleast_1d(x)[keep] for x in (lines.distance_m, lines.azimuth_deg, lines.back_azimuth_deg)
    )
    frequency = table.frequency_hz[keep]
    height, known = _heights(table.height_m[keep], table.antenna_height_m[keep], settings.surface_height_m)
    own = place.height_m + site.antenna.height_above_ground_m - settings.surface_height_m
    theirs = height - settings.surface_height_m
    terrain = settings.terrain.at(azimuth)
    power = _towards_site(kept, table.erp_horizontal_w[keep], table.erp_vertical_w[keep], back)
    # A transmitter on the spot still has an antenna's length between it and the site.
    apart = np.maximum(distance, 10.0)
    vertical = power[1] > power[0]
    free = free_space.free_space_loss_db(apart, frequency)
    around = diffraction.diffraction_loss_db(apart, theirs, max(own, 0.0), frequency, vertical=vertical)
    angle = troposcatter.scatter_angle_mrad(apart, theirs, own)
    scatter = troposcatter.troposcatter_loss_db(angle, apart, frequency)
    eirp_dbm = 10 * np.log10(free_space.eirp_w(power.sum(axis=0))) + 30
    return Survey(
        transmitters=kept,
        frequency_hz=frequency,
        erp_horizontal_w=power[0],
        erp_vertical_w=power[1],
        is_fm=table.is_fm[keep],
        distance_m=distance,
        azimuth_deg=azimuth,
        back_azimuth_deg=back,
        height_m=height,
        height_known=known,
        hidden_m=horizon.hidden_m(distance, theirs, own, 4 / 3 * EARTH_RADIUS_M, terrain),
        hidden_geometric_m=horizon.hidden_m(distance, theirs, own, EARTH_RADIUS_M, terrain),
        free_space_loss_db=free,
        diffraction_loss_db=around,
        troposcatter_loss_db=scatter,
        direct_dbm=eirp_dbm - _losses_db(free, around + _terrain_loss_db(terrain, own), scatter),
    )


def _heights(
    above_sea_m: FloatArray, above_ground_m: FloatArray, surface_height_m: float
) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Return heights above sea level: as listed, else above the smooth ground, else assumed."""
    height = np.where(np.isnan(above_sea_m), above_ground_m + surface_height_m, above_sea_m)
    known = ~np.isnan(height)
    return np.where(known, height, ASSUMED_HEIGHT_M + surface_height_m), known


def _towards_site(
    transmitters: tuple[Transmitter, ...], horizontal_w: FloatArray, vertical_w: FloatArray, bearing_deg: FloatArray
) -> FloatArray:
    """Return the powers towards the site, shape (2, n), by the pattern where one is known."""
    power = np.stack([horizontal_w, vertical_w])
    for k, one in enumerate(transmitters):
        if one.pattern is not None:
            # A null on paper still leaks (common practice: 20 dB).
            power[:, k] *= max(float(one.pattern.relative_power(bearing_deg[k])), 0.01)
    return power


def _terrain_loss_db(elevation_deg: FloatArray, own_height_m: float) -> FloatArray:
    """Return the extra loss of a horizon that stands above the smooth Earth's: 6 dB as it is grazed, then more.

    A knife edge (ITU-R P.526 sec. 4.1) a kilometre away at 98 MHz, v = elevation sqrt(2 d / lambda).
    """
    dip = -np.degrees(np.sqrt(2 * max(own_height_m, 0.0) / EFFECTIVE_RADIUS_M))
    above = np.maximum(elevation_deg - dip, 0.0)
    v = np.radians(above) * np.sqrt(2 * 1000.0 / 3.06)
    edge = 6.9 + 20 * np.log10(np.sqrt((v - 0.1) ** 2 + 1) + v - 0.1)
    return np.where(elevation_deg > np.maximum(dip, 0.0), edge, 0.0)


def _losses_db(free: FloatArray, around: FloatArray, scatter: FloatArray) -> FloatArray:
    """Return the loss of both mechanisms together for each part of the time, never below that of free space."""
    rows = []
    for percent in TIME_PERCENTS:
        rays = 10 ** (-(free + around) / 10)
        air = 10 ** (-(scatter - troposcatter.enhancement_db(percent)) / 10)
        rows.append(-10 * np.log10(np.maximum(rays + np.nan_to_num(air, nan=0.0), 1e-40)))
    return np.asarray(np.maximum(np.stack(rows), free))
