"""One candidate worked out in full."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

import numpy as np

from skyglint.path import free_space
from skyglint.path.constants import FloatArray
from skyglint.plan import sporadic_sky
from skyglint.plan.aiming import (
    Aim,
    RateByGain,
    best_aim,
    horizon_gain_dbi,
    layer_gain_dbi,
    mean_gain_dbi,
    rate_by_gain,
)
from skyglint.plan.candidate import QUIET, Candidate, CommonLayer, verdict
from skyglint.plan.cleanliness import beside
from skyglint.plan.expected import EchoField, Illumination, echo_field, sky_response
from skyglint.plan.ground import Ground
from skyglint.plan.sharing import floor_w_hz, sharing
from skyglint.site import DEFAULT_BANDWIDTH_HZ, Site

#: How far from the tuned frequency the antenna's stated gain is trusted (common practice: simple beams hold over some
#: 10 to 15 %).
ANTENNA_BAND: Final = 0.15

#: What a beam loses outside its band (working assumption).
_OFF_BAND_DB: Final = 10.0


def judge(ground: Ground, index: int) -> Candidate:
    """Return a transmitter of the survey with everything but its reasons."""
    around, site, settings = ground.survey, ground.site, ground.settings
    one = around.transmitters[index]
    antenna, lacking_db = site.antenna, _off_band_db(site, one.frequency_hz)
    width = DEFAULT_BANDWIDTH_HZ[one.kind]
    near = beside(around, one.frequency_hz, ground.raster.step_hz, fm=one.kind == "fm", width_hz=width)
    bearing = float(around.azimuth_deg[index])
    first = Aim(bearing, antenna.elevation_deg)
    source = _illumination(ground, index, floor_w_hz(ground, index, near, first))
    terrain = settings.terrain.at(ground.layer.azimuth_deg)
    rough = echo_field(ground.layer, source, antenna.polarization, settings.mask_deg, terrain, directions=6)
    path = rate_by_gain(rough)
    aim = best_aim([path], ground.layer, antenna, one.frequency_hz, [bearing]) if path.cell.size else first
    floor = floor_w_hz(ground, index, near, aim)
    field = echo_field(
        ground.layer, replace(source, floor_w_hz=floor), antenna.polarization, settings.mask_deg, terrain
    )
    gain_dbi = layer_gain_dbi(ground.layer, antenna, one.frequency_hz, aim) - lacking_db
    response = sky_response(field, 10 ** (gain_dbi[field.found.cell] / 10), site.site.longitude_deg)
    by_month = sporadic_sky.hourly_rates(response)
    hourly = by_month.mean(axis=0) if settings.month is None else by_month[settings.month - 1]
    share, neighbours = sharing(ground, index, near, aim)
    noise_dbm = 10 * math.log10(ground.noise_w_hz[index] * width) + 30
    direct = around.direct_dbm[:, index] + float(horizon_gain_dbi(antenna, aim, bearing)) - lacking_db - noise_dbm
    judged = verdict(float(direct[0]), float(direct[2]))
    return Candidate(
        transmitter=one,
        height_m=float(around.height_m[index]),
        height_known=bool(around.height_known[index]),
        off_band_db=lacking_db,
        distance_km=float(around.distance_m[index]) / 1e3,
        bearing_deg=bearing,
        back_bearing_deg=float(around.back_azimuth_deg[index]),
        hidden_m=float(around.hidden_m[index]),
        hidden_geometric_m=float(around.hidden_geometric_m[index]),
        free_space_loss_db=float(around.free_space_loss_db[index]),
        diffraction_loss_db=float(around.diffraction_loss_db[index]),
        troposcatter_loss_db=float(around.troposcatter_loss_db[index]),
        direct_snr_db=float(direct[0]),
        direct_snr_10_db=float(direct[1]),
        direct_snr_1_db=float(direct[2]),
        verdict=judged,
        aim=aim,
        layer=_common_layer(ground, field, path, gain_dbi, bearing),
        neighbours=neighbours,
        share_of_echoes=share,
        floor_rise_db=10 * math.log10(floor / ground.noise_w_hz[index]),
        echoes_per_h=hourly,
        by_month=by_month,
        score=float(hourly.sum() * share * QUIET[judged]),
        path=path,
    )


def _off_band_db(site: Site, frequency_hz: float) -> float:
    """Return the gain that the antenna lacks at a frequency: none near the tuned one."""
    return 0.0 if abs(frequency_hz / site.receiver.center_frequency_hz - 1) <= ANTENNA_BAND else _OFF_BAND_DB


def _illumination(ground: Ground, index: int, floor_w_hz: float) -> Illumination:
    around = ground.survey
    one = around.transmitters[index]
    return Illumination(
        latitude_deg=one.latitude_deg,
        longitude_deg=one.longitude_deg,
        height_m=float(around.height_m[index]),
        frequency_hz=one.frequency_hz,
        kind=one.kind,
        bandwidth_hz=DEFAULT_BANDWIDTH_HZ[one.kind],
        erp_horizontal_w=float(around.erp_horizontal_w[index]),
        erp_vertical_w=float(around.erp_vertical_w[index]),
        floor_w_hz=floor_w_hz,
    )


def _common_layer(
    ground: Ground, field: EchoField, path: RateByGain, gain_dbi: FloatArray, bearing_deg: float
) -> CommonLayer:
    layer, cell = ground.layer, field.found.cell
    if cell.size == 0:
        return CommonLayer(0.0, *([math.nan] * 7))
    counts = path.at(gain_dbi)
    aside = (layer.azimuth_deg[cell] - bearing_deg + 180) % 360 - 180
    frequency = field.source.frequency_hz
    loss = free_space.free_space_loss_db(field.found.geometry.transmitter_range_m[:, 0], frequency)
    loss = loss + free_space.free_space_loss_db(layer.range_m[cell], frequency)
    low_a, high_a = _middle_eighty(aside, counts)
    low_e, high_e = _middle_eighty(layer.elevation_deg[cell], counts)
    return CommonLayer(
        area_km2=float(layer.area_m2[cell].sum()) / 1e6,
        azimuth_low_deg=low_a,
        azimuth_high_deg=high_a,
        elevation_low_deg=low_e,
        elevation_high_deg=high_e,
        range_km=float(np.average(layer.range_m[cell], weights=counts)) / 1e3,
        gain_dbi=mean_gain_dbi(path, gain_dbi),
        scatter_loss_db=float(np.average(loss, weights=counts)),
    )


def _middle_eighty(values: FloatArray, weights: FloatArray) -> tuple[float, float]:
    order = np.argsort(values)
    summed = np.cumsum(weights[order]) / weights.sum()
    low, high = np.searchsorted(summed, [0.1, 0.9])
    return float(values[order[low]]), float(values[order[min(high, values.size - 1)]])
