"""What all candidates of a plan share: the survey, the layer, the noise, the tables of expected echoes."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.path.constants import FloatArray
from skyglint.path.diffuse import SiteLayer, site_layer
from skyglint.plan.reach import Reach, reach
from skyglint.plan.sensitivity import noise_density_w_hz
from skyglint.plan.settings import PlanSettings
from skyglint.plan.survey import Survey, survey
from skyglint.site import Site
from skyglint.transmitters.raster import Raster, raster_of
from skyglint.transmitters.transmitter import Transmitter

#: What an antenna takes of the other polarisation's echoes, as a mean over the layer: trails turn it (geometry, here
#: evaluated for paths of 300 to 700 km).
_CROSSED = 0.25


@dataclass(frozen=True, slots=True)
class Ground:
    """What all candidates share while a plan is made.

    Attributes
    ----------
    noise_w_hz
        Noise density at each transmitter's frequency.
    received_w
        Each transmitter's power as far as the site's antenna takes its polarisation.
    reaches
        Tables of expected echoes by :func:`table_key`.
    """

    site: Site
    settings: PlanSettings
    survey: Survey
    layer: SiteLayer
    raster: Raster
    noise_w_hz: FloatArray
    received_w: FloatArray
    reaches: dict[tuple[str, int], Reach]


def survey_ground(site: Site, transmitters: list[Transmitter], settings: PlanSettings) -> Ground:
    """Return what a plan stands on; costs some tenths of a second for each kind and band of transmitters."""
    around = survey(site, transmitters, settings)
    antenna = site.antenna
    layer = site_layer(
        site.site.latitude_deg,
        site.site.longitude_deg,
        site.site.height_m + antenna.height_above_ground_m,
        mask_deg=settings.mask_deg,
    )
    received = {
        "horizontal": around.erp_horizontal_w + _CROSSED * around.erp_vertical_w,
        "vertical": around.erp_vertical_w + _CROSSED * around.erp_horizontal_w,
        "circular": around.erp_horizontal_w + around.erp_vertical_w,
    }[antenna.polarization]
    noise = noise_density_w_hz(around.frequency_hz, settings.environment, settings.noise_figure_db)
    reaches = {
        table_key(fm, frequency): reach(site, settings, "fm" if fm else "carrier", _center(frequency), float(floor))
        for fm, frequency, floor in _groups(around, noise)
    }
    raster = raster_of(around.frequency_hz[around.is_fm])
    return Ground(site, settings, around, layer, raster, noise, received, reaches)


def table_key(fm: bool, frequency_hz: float) -> tuple[str, int]:
    """Return the table that serves a frequency: one for each 30 % of frequency and kind."""
    return ("fm" if fm else "carrier"), round(math.log(frequency_hz / 98e6) / 0.26)


def _center(frequency_hz: float) -> float:
    return 98e6 * math.exp(0.26 * round(math.log(frequency_hz / 98e6) / 0.26))


def _groups(around: Survey, noise_w_hz: FloatArray) -> list[tuple[bool, float, float]]:
    seen: dict[tuple[str, int], tuple[bool, float, float]] = {}
    for fm, frequency, floor in zip(around.is_fm, around.frequency_hz, noise_w_hz, strict=True):
        seen.setdefault(table_key(bool(fm), float(frequency)), (bool(fm), float(frequency), float(floor)))
    return list(seen.values())


def rates_per_h(ground: Ground, index: NDArray[np.intp], gain_db: FloatArray, floor_w_hz: FloatArray) -> FloatArray:
    """Return expected echoes per hour from the tables for transmitters with a gain towards their echoes."""
    around = ground.survey
    rates = np.zeros(index.size)
    groups = [table_key(bool(around.is_fm[k]), float(around.frequency_hz[k])) for k in index]
    for group in set(groups):
        here = np.array([g == group for g in groups])
        k = index[here]
        rates[here] = ground.reaches[group].rate_per_h(
            around.distance_m[k],
            around.azimuth_deg[k],
            around.frequency_hz[k],
            ground.received_w[k] * 10 ** (gain_db[here] / 10),
            floor_w_hz[here],
        )
    return rates
