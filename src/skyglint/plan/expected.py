"""Expected echoes of one transmitter at one site: where on the sky, and how many by month and local solar hour.

The absolute figure is good to a factor of about three: the flux, the noise and the heights are means of large spreads.
Comparisons between transmitters at one site are better, because most of that is common to them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from skyglint.path.antenna import Polarization, polarization_factor
from skyglint.path.constants import FloatArray
from skyglint.path.diffuse import Collecting, SiteLayer, collecting
from skyglint.path.free_space import eirp_w
from skyglint.path.geodesy import earth_fixed_m, local_axes
from skyglint.plan import sporadic_sky
from skyglint.plan.sensitivity import DEPTH_M, trails_counted
from skyglint.site import Kind


@dataclass(frozen=True, slots=True)
class Illumination:
    """A transmitter as the layer meets it.

    Attributes
    ----------
    latitude_deg, longitude_deg, height_m
        Where it stands.
    frequency_hz, kind, bandwidth_hz
        What it sends and the channel's width.
    erp_horizontal_w, erp_vertical_w
        Its power in both polarisations.
    floor_w_hz
        What stands in the receiver beside the echoes, per hertz: noise, and others' and its own direct signals.
    """

    latitude_deg: float
    longitude_deg: float
    height_m: float
    frequency_hz: float
    kind: Kind
    bandwidth_hz: float
    erp_horizontal_w: float
    erp_vertical_w: float
    floor_w_hz: float


@dataclass(frozen=True, slots=True)
class EchoField:
    """The cells of the layer that a path uses, before the receiving antenna.

    Attributes
    ----------
    found
        Geometry of the cells and their radiants.
    strength_w
        EIRP times polarisation factor at each cell, shape (n,).
    source
        The transmitter it belongs to.
    """

    found: Collecting
    strength_w: FloatArray
    source: Illumination


def echo_field(
    layer: SiteLayer,
    source: Illumination,
    receiving: Polarization,
    mask_deg: float,
    site_mask_deg: FloatArray | float = -90.0,
    directions: int = 12,
) -> EchoField:
    """Return the cells of the layer that a transmitter and the site share, and how strongly they are lit."""
    position = earth_fixed_m(source.latitude_deg, source.longitude_deg, source.height_m)
    up = local_axes(source.latitude_deg, source.longitude_deg)[2]
    found = collecting(layer, position, up, mask_deg=mask_deg, site_mask_deg=site_mask_deg, directions=directions)
    points = layer.points_m[found.cell]
    strength = np.zeros(found.cell.size)
    powers: dict[Polarization, float] = {"horizontal": source.erp_horizontal_w, "vertical": source.erp_vertical_w}
    for polarization, power in powers.items():
        if power > 0:
            factor = polarization_factor(
                position, up, polarization, layer.receiver_m, layer.receiver_up, receiving, points
            )
            strength += eirp_w(power) * factor
    return EchoField(found, strength, source)


def counted_m2_sr(field: EchoField, gain: FloatArray) -> FloatArray:
    """Return what each cell and radiant counts of a sky of one, shape (n, m), with a receiving gain at each cell."""
    source = field.source
    strength = np.maximum(field.strength_w * gain, 1e-30)[:, None]
    number = trails_counted(
        strength, source.frequency_hz, field.found.geometry, source.kind, source.bandwidth_hz, source.floor_w_hz
    )
    return np.asarray(field.found.area_m2_per_sr * DEPTH_M * field.found.rising * number)


def sky_response(field: EchoField, gain: FloatArray, site_longitude_deg: float) -> FloatArray:
    """Return the counts gathered over the cells of the sky's table, for :func:`sporadic_sky.hourly_rates`."""
    cells = sporadic_sky.cells(field.found.radiant, site_longitude_deg)
    size = sporadic_sky.ROWS * sporadic_sky.COLUMNS
    return np.asarray(np.bincount(cells.ravel(), counted_m2_sr(field, gain).ravel(), size), dtype=np.float64)


def mean_rate_by_cell(field: EchoField, gain: FloatArray) -> FloatArray:
    """Return the echoes per hour from each cell as the mean of the day and the year, shape (n,)."""
    declination = np.degrees(np.arcsin(np.clip(field.found.radiant[..., 2], -1, 1)))
    band = np.clip(((declination + 90.0) // sporadic_sky.BIN_DEG).astype(np.intp), 0, sporadic_sky.ROWS - 1)
    return np.asarray(np.sum(counted_m2_sr(field, gain) * sporadic_sky.mean_sky()[band], axis=1))
