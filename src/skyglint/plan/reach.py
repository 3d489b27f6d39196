"""Expected echoes of every place around a site, from a table: for ranking thousands and for sharing a frequency.

Transmitters of several powers stand at nodes of distance and bearing; in between the logarithm is interpolated. A
receiving gain or a higher floor counts like more or less power; near the table's frequency, the wavelength's cube does.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from skyglint.path.constants import FloatArray
from skyglint.path.diffuse import site_layer
from skyglint.path.geodesy import destination
from skyglint.plan.expected import Illumination, echo_field, mean_rate_by_cell
from skyglint.plan.settings import PlanSettings
from skyglint.site import DEFAULT_BANDWIDTH_HZ, Kind, Site

_DISTANCES_KM: Final = np.array([20.0, 100, 200, 300, 450, 600, 800, 1000, 1200, 1400, 1600, 1800, 2000, 2200])
_BEARINGS_DEG: Final = np.arange(0.0, 360.0, 30.0)
_POWERS_W: Final = 10.0 ** np.arange(0.0, 8.0)
_REFERENCE_HEIGHT_M: Final = 300.0
_LEAST: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Reach:
    """Echoes per hour of a reference transmitter around a site, and from what elevation they come.

    Attributes
    ----------
    log_rate
        Natural logarithm of the echoes per hour with an isotropic antenna, by distance, bearing and power.
    elevation_deg
        Mean elevation of the echoes, weighted by their number.
    frequency_hz, floor_w_hz
        What the table was made for.
    """

    log_rate: FloatArray
    elevation_deg: FloatArray
    frequency_hz: float
    floor_w_hz: float

    def rate_per_h(
        self,
        distance_m: ArrayLike,
        bearing_deg: ArrayLike,
        frequency_hz: ArrayLike,
        erp_w: ArrayLike,
        floor_w_hz: ArrayLike,
    ) -> FloatArray:
        """Return the expected echoes per hour, the mean of day and year.

        ``erp_w`` is the power in the antenna's polarisation (both together for a circular antenna), times the
        antenna's gain over isotropic towards the echoes.
        """
        like = np.asarray(erp_w) * self.floor_w_hz / np.asarray(floor_w_hz)
        like = like * (self.frequency_hz / np.asarray(frequency_hz)) ** 3
        at = np.clip(np.log10(np.maximum(like, _POWERS_W[0])), 0.0, _POWERS_W.size - 1.0)
        low = np.minimum(at.astype(np.intp), _POWERS_W.size - 2)
        tables = np.stack(
            [_interpolated(self.log_rate[..., k], distance_m, bearing_deg) for k in range(_POWERS_W.size)], axis=-1
        )
        below, above = (np.take_along_axis(tables, (low + n)[..., None], axis=-1)[..., 0] for n in (0, 1))
        return np.asarray(np.exp(below + (above - below) * (at - low)))

    def elevation_at(self, distance_m: ArrayLike, bearing_deg: ArrayLike) -> FloatArray:
        """Return the elevation that the echoes of a transmitter come from."""
        return _interpolated(self.elevation_deg, distance_m, bearing_deg)


@lru_cache(maxsize=16)
def reach(site: Site, settings: PlanSettings, kind: Kind, frequency_hz: float, floor_w_hz: float) -> Reach:
    """Return the table for a kind of transmitter near a frequency."""
    place, antenna = site.site, site.antenna
    height = place.height_m + antenna.height_above_ground_m
    layer = site_layer(
        place.latitude_deg, place.longitude_deg, height, mask_deg=settings.mask_deg, step_m=80e3, azimuths=24
    )
    distance, bearing = np.meshgrid(_DISTANCES_KM * 1e3, _BEARINGS_DEG, indexing="ij")
    latitude, longitude = destination(place.latitude_deg, place.longitude_deg, bearing, distance)
    rate, elevation = np.full((*distance.shape, _POWERS_W.size), _LEAST), np.zeros(distance.shape)
    terrain = settings.terrain.at(layer.azimuth_deg)
    for index in np.ndindex(*distance.shape):
        source = Illumination(
            float(latitude[index]), float(longitude[index]), _REFERENCE_HEIGHT_M, frequency_hz, kind,
            DEFAULT_BANDWIDTH_HZ[kind], float(antenna.polarization != "vertical"),
            float(antenna.polarization != "horizontal"), floor_w_hz,
        )  # fmt: skip
        field = echo_field(layer, source, antenna.polarization, settings.mask_deg, terrain, directions=6)
        for k, power in enumerate(_POWERS_W):
            by_cell = mean_rate_by_cell(field, np.full(field.found.cell.size, power))
            rate[index][k] += by_cell.sum()
        if by_cell.sum() > 0:
            elevation[index] = np.average(layer.elevation_deg[field.found.cell], weights=by_cell)
    return Reach(np.log(rate), elevation, frequency_hz, floor_w_hz)


def _interpolated(table: FloatArray, distance_m: ArrayLike, bearing_deg: ArrayLike) -> FloatArray:
    kilometres = np.clip(np.asarray(distance_m, dtype=np.float64) / 1e3, _DISTANCES_KM[0], _DISTANCES_KM[-1])
    row = np.interp(kilometres, _DISTANCES_KM, np.arange(_DISTANCES_KM.size))
    column = np.mod(np.asarray(bearing_deg, dtype=np.float64), 360.0) / 360.0 * _BEARINGS_DEG.size
    i = np.minimum(row.astype(np.intp), _DISTANCES_KM.size - 2)
    j = column.astype(np.intp) % _BEARINGS_DEG.size
    v, w = row - i, column - np.floor(column)
    k = (j + 1) % _BEARINGS_DEG.size
    near, far = (table[i + n, j] * (1 - w) + table[i + n, k] * w for n in (0, 1))
    return np.asarray(near * (1 - v) + far * v)
