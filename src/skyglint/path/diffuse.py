"""What a path collects from a whole sky of radiants at once: the specular condition seen from the layer.

At a point of the layer, with a and b the unit vectors to the two ends, trails echo strongly if they lie across a + b
(f = (a + b) . u = 0): from each point the usable radiants form a great circle of the sky. The collecting area of one
radiant, dh * integral over the layer of delta(f) |grad f . u| dS, summed over the radiants of a sky that sends
phi(u) trails per steradian, is the same integral in the other order:

    rate = dh * sum over points dS * integral along the circle dpsi phi(u) K / (2 cos phi),
    K = (1 - (a.u)^2)/R1 + (1 - (b.u)^2)/R2 = (1/R1 + 1/R2) (1 - sin^2 phi cos^2 beta)

(derived here; the area of single radiants is in :mod:`skyglint.path.specular`). For broad sources it needs no search
and no fine grid, and a site's grid serves every transmitter.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.path.constants import EARTH_RADIUS_M, FloatArray
from skyglint.path.geodesy import destination, earth_fixed_m, local_axes
from skyglint.path.geometry import TrailGeometry, look, unit


@dataclass(frozen=True, slots=True)
class SiteLayer:
    """The layer as one site sees it, in cells: what does not depend on the transmitter.

    Attributes
    ----------
    receiver_m, receiver_up
        The site, Earth-fixed, and its vertical, shape (3,).
    points_m, ups
        Centres of the cells and their verticals, shape (n, 3).
    area_m2
        Area of the cells on the layer.
    azimuth_deg, elevation_deg, range_m
        From the site to the cells.
    distance_m
        Along the ground from the site to below the cells.
    """

    receiver_m: FloatArray
    receiver_up: FloatArray
    points_m: FloatArray
    ups: FloatArray
    area_m2: FloatArray
    azimuth_deg: FloatArray
    elevation_deg: FloatArray
    range_m: FloatArray
    distance_m: FloatArray


@dataclass(frozen=True, slots=True)
class Collecting:
    """Where trails of which direction echo from one transmitter: n cells of the layer times m directions.

    Attributes
    ----------
    cell
        Indices into the site's layer, shape (n,): those that the transmitter sees too.
    radiant
        Earth-fixed unit vectors towards the radiants, above the horizon, shape (n, m, 3).
    area_m2_per_sr
        What a sky of one trail per steradian and square metre would count, per metre of height band, times metres:
        shape (n, m); multiply by the depth of the band in metres to get square metres steradian.
    rising
        Sine of the radiant's altitude at the cell, shape (n, m).
    geometry
        Ranges, phi and beta, shape (n, m).
    """

    cell: NDArray[np.intp]
    radiant: FloatArray
    area_m2_per_sr: FloatArray
    rising: FloatArray
    geometry: TrailGeometry


def site_layer(
    latitude_deg: float,
    longitude_deg: float,
    height_m: float,
    *,
    layer_m: float = 95_000.0,
    mask_deg: float = 3.0,
    step_m: float = 40_000.0,
    azimuths: int = 36,
) -> SiteLayer:
    """Divide the layer above a site's elevation mask into cells, rings of equal width around the site."""
    mask = np.radians(mask_deg)
    shell = EARTH_RADIUS_M + layer_m
    reach = EARTH_RADIUS_M * (np.arccos(EARTH_RADIUS_M * np.cos(mask) / shell) - mask)
    rings = max(round(reach / step_m), 4)
    edges = np.linspace(0, reach, rings + 1) / EARTH_RADIUS_M
    middle = (edges[1:] + edges[:-1]) / 2
    distance, azimuth = np.meshgrid(middle * EARTH_RADIUS_M, (np.arange(azimuths) + 0.5) * 360 / azimuths)
    area = shell**2 * (np.cos(edges[:-1]) - np.cos(edges[1:])) * 2 * np.pi / azimuths
    latitude, longitude = destination(latitude_deg, longitude_deg, azimuth.ravel(), distance.ravel())
    points = earth_fixed_m(latitude, longitude, layer_m)
    seen = look(latitude_deg, longitude_deg, height_m, points)
    return SiteLayer(
        receiver_m=earth_fixed_m(latitude_deg, longitude_deg, height_m),
        receiver_up=local_axes(latitude_deg, longitude_deg)[2],
        points_m=points,
        ups=local_axes(latitude, longitude)[:, 2],
        area_m2=np.tile(area, azimuths),
        azimuth_deg=seen.azimuth_deg,
        elevation_deg=seen.elevation_deg,
        range_m=seen.range_m,
        distance_m=distance.ravel(),
    )


def collecting(
    layer: SiteLayer,
    transmitter_m: FloatArray,
    transmitter_up: FloatArray,
    *,
    mask_deg: float = 3.0,
    site_mask_deg: FloatArray | float = -90.0,
    directions: int = 12,
) -> Collecting:
    """Return the cells that both ends see, the radiants that each can use and what they collect.

    Parameters
    ----------
    mask_deg
        Lowest usable elevation at the transmitter.
    site_mask_deg
        Lowest usable elevation at the site for each cell, where terrain stands higher than the layer's own mask.
    directions
        Radiants along the half circle above the horizon.
    """
    lines = transmitter_m - layer.points_m
    ranges_t = np.linalg.norm(lines, axis=-1)
    sine = -(lines @ transmitter_up) / ranges_t
    cell = np.flatnonzero((sine > np.sin(np.radians(mask_deg))) & (layer.elevation_deg > site_mask_deg))
    a = lines[cell] / ranges_t[cell, None]
    b = (layer.receiver_m - layer.points_m[cell]) / layer.range_m[cell, None]
    towards = unit(a + b)
    cos_phi = np.linalg.norm(a + b, axis=-1) / 2
    # Two unit vectors across the bisector: one level, one as steep as it can be.
    level = _across(towards, layer.ups[cell])
    steep = np.cross(towards, level)
    psi = (np.arange(directions) + 0.5) * np.pi / directions
    radiant = np.cos(psi)[:, None] * level[:, None, :] + np.sin(psi)[:, None] * steep[:, None, :]
    rising = np.einsum("nmi,ni->nm", radiant, layer.ups[cell])
    radiant, rising = radiant * np.sign(rising)[..., None], np.abs(rising)
    # sin phi cos beta is the trail's part along the difference of the rays.
    along = np.einsum("nmi,ni->nm", radiant, a - b) / 2
    obliquity = 1 - along**2
    r1, r2 = ranges_t[cell, None], layer.range_m[cell, None]
    curvature = (1 / r1 + 1 / r2) * obliquity
    area = layer.area_m2[cell, None] * (np.pi / directions) * curvature / (2 * cos_phi[:, None])
    phi = np.degrees(np.arccos(np.clip(cos_phi, 0, 1)))[:, None]
    sin_phi = np.maximum(np.sin(np.radians(phi)), 1e-12)
    beta = np.degrees(np.arccos(np.clip(np.abs(along) / sin_phi, 0, 1)))
    geometry = TrailGeometry(r1 + 0 * along, r2 + 0 * along, phi + 0 * along, beta)
    return Collecting(cell, radiant, area, rising, geometry)


def _across(axis: FloatArray, up: FloatArray) -> FloatArray:
    """Return unit vectors across axes, level where that is defined."""
    level = np.cross(axis, up)
    vertical = np.linalg.norm(level, axis=-1) < 1e-9
    level[vertical] = np.cross(axis[vertical], np.roll(up[vertical], 1, axis=-1))
    return unit(level)
