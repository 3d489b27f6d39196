"""The plan: survey all, rank all roughly, work out the best in full."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from skyglint.path import free_space
from skyglint.path.antenna import angle_between_deg, beam_gain_dbi
from skyglint.path.constants import FloatArray
from skyglint.path.diffuse import SiteLayer, site_layer
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
from skyglint.plan.candidate import Candidate, CommonLayer, Verdict, verdict
from skyglint.plan.cleanliness import Neighbour, beside, binned, leak_db
from skyglint.plan.expected import EchoField, Illumination, echo_field, sky_response
from skyglint.plan.reach import Reach, reach
from skyglint.plan.reasons import reasons
from skyglint.plan.sensitivity import noise_density_w_hz
from skyglint.plan.settings import PlanSettings
from skyglint.plan.survey import Survey, survey
from skyglint.site import DEFAULT_BANDWIDTH_HZ, Antenna, Site
from skyglint.transmitters.protection import asked_db
from skyglint.transmitters.raster import RASTERS, Raster, raster_of
from skyglint.transmitters.transmitter import Transmitter

#: How far from the tuned frequency the antenna's stated gain is trusted (common practice: simple beams hold over some
#: 10 to 15 %).
ANTENNA_BAND: Final = 0.15

#: What a beam loses outside its band (working assumption).
_OFF_BAND_DB: Final = 10.0

#: How much of the night a direct signal leaves to the echoes (working assumption of this program).
_QUIET: Final[dict[Verdict, float]] = {"silent": 1.0, "rustles": 0.85, "heard": 0.2}

#: How counts go with received power between underdense (1/2) and overdense trails (1), for neighbours.
_COUNT_POWER: Final = 0.75

#: Ground reflection and beam together, averaged over the sky, against the antenna's stated gain (working assumption).
_MEAN_GROUND_DB: Final = 2.0

#: What an antenna takes of the other polarisation's echoes, as a mean over the layer: trails turn it (geometry, here
#: evaluated for paths of 300 to 700 km).
_CROSSED: Final = 0.25

_NEIGHBOURS_NAMED: Final = 5


@dataclass(frozen=True, slots=True)
class Plan:
    """What the planner found.

    Attributes
    ----------
    candidates
        Ranked, the best first.
    survey
        Every transmitter within reach, for guards, references and the map.
    layer
        The layer above the site.
    raster
        The channels of the region.
    """

    site: Site
    settings: PlanSettings
    candidates: tuple[Candidate, ...]
    survey: Survey
    layer: SiteLayer
    raster: Raster


@dataclass(frozen=True, slots=True)
class _Ground:
    """What all candidates share while a plan is made."""

    site: Site
    settings: PlanSettings
    survey: Survey
    layer: SiteLayer
    raster: Raster
    noise_w_hz: FloatArray
    received_w: FloatArray
    reaches: dict[tuple[str, int], Reach]


def make_plan(site: Site, transmitters: list[Transmitter], settings: PlanSettings) -> Plan:
    """Rank the transmitters for a site.

    Parameters
    ----------
    transmitters
        From the lists, duplicates merged; only those that are on the air count.

    Returns
    -------
    Plan
        With at most ``settings.best`` candidates, none if nothing is within reach.
    """
    ground = _ground(site, transmitters, settings)
    order = _rough_order(ground)
    found = [_candidate(ground, int(index)) for index in order[: settings.best]]
    ranked = sorted(found, key=lambda one: (-one.score, one.distance_km))
    explained = tuple(replace(one, reasons=reasons(one)) for one in ranked)
    return Plan(site, settings, explained, ground.survey, ground.layer, ground.raster)


def _ground(site: Site, transmitters: list[Transmitter], settings: PlanSettings) -> _Ground:
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
        _group(fm, frequency): reach(site, settings, "fm" if fm else "carrier", _center(frequency), float(floor))
        for fm, frequency, floor in _groups(around, noise)
    }
    raster = raster_of(around.frequency_hz[around.is_fm])
    return _Ground(site, settings, around, layer, raster, noise, received, reaches)


def _group(fm: bool, frequency_hz: float) -> tuple[str, int]:
    """Return the table that serves a frequency: one for each 30 % of frequency and kind."""
    return ("fm" if fm else "carrier"), round(math.log(frequency_hz / 98e6) / 0.26)


def _center(frequency_hz: float) -> float:
    return 98e6 * math.exp(0.26 * round(math.log(frequency_hz / 98e6) / 0.26))


def _groups(around: Survey, noise_w_hz: FloatArray) -> list[tuple[bool, float, float]]:
    seen: dict[tuple[str, int], tuple[bool, float, float]] = {}
    for fm, frequency, floor in zip(around.is_fm, around.frequency_hz, noise_w_hz, strict=True):
        seen.setdefault(_group(bool(fm), float(frequency)), (bool(fm), float(frequency), float(floor)))
    return list(seen.values())


def _rates(ground: _Ground, index: NDArray[np.intp], gain_db: FloatArray, floor_w_hz: FloatArray) -> FloatArray:
    """Return expected echoes per hour from the tables for transmitters with a gain towards their echoes."""
    around = ground.survey
    rates = np.zeros(index.size)
    groups = [_group(bool(around.is_fm[k]), float(around.frequency_hz[k])) for k in index]
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


def _rough_order(ground: _Ground) -> NDArray[np.intp]:
    """Return the indices of the candidates within the radius, by a score that is cheap for all of them."""
    around, antenna = ground.survey, ground.site.antenna
    everyone = np.arange(around.frequency_hz.size)
    if everyone.size == 0:
        return everyone
    width = np.where(around.is_fm, DEFAULT_BANDWIDTH_HZ["fm"], DEFAULT_BANDWIDTH_HZ["carrier"])
    direct = 10 ** (around.direct_dbm[0] / 10 - 3)
    floor = ground.noise_w_hz + (direct + binned(around, direct, 1.0)) / width * around.is_fm
    own = _rates(ground, everyone, np.full(everyone.size, antenna.gain_dbi + _MEAN_GROUND_DB), floor)
    others = _rates(ground, everyone, np.full(everyone.size, _MEAN_GROUND_DB), floor)
    share = own / np.maximum(own + binned(around, others, _COUNT_POWER), 1e-12)
    noise_dbm = 10 * np.log10(ground.noise_w_hz * width) + 30
    median = around.direct_dbm[0] - noise_dbm + antenna.gain_dbi
    quiet = np.where(median >= 0, _QUIET["heard"], 1.0)
    within = around.distance_m <= ground.settings.radius_km * 1e3
    score = np.where(within, own * share * quiet, -1.0)
    order = np.argsort(-score, kind="stable")
    return np.asarray(order[: int(within.sum())])


def _candidate(ground: _Ground, index: int) -> Candidate:
    around, site, settings = ground.survey, ground.site, ground.settings
    one = around.transmitters[index]
    antenna, lacking_db = site.antenna, _off_band_db(site, one.frequency_hz)
    width = DEFAULT_BANDWIDTH_HZ[one.kind]
    near = beside(around, one.frequency_hz, ground.raster.step_hz, fm=one.kind == "fm", width_hz=width)
    bearing = float(around.azimuth_deg[index])
    first = Aim(bearing, antenna.elevation_deg)
    source = _illumination(ground, index, _floor_w_hz(ground, index, near, first))
    terrain = settings.terrain.at(ground.layer.azimuth_deg)
    rough = echo_field(ground.layer, source, antenna.polarization, settings.mask_deg, terrain, directions=6)
    path = rate_by_gain(rough)
    aim = best_aim([path], ground.layer, antenna, one.frequency_hz, [bearing]) if path.cell.size else first
    floor = _floor_w_hz(ground, index, near, aim)
    field = echo_field(
        ground.layer, replace(source, floor_w_hz=floor), antenna.polarization, settings.mask_deg, terrain
    )
    gain_dbi = layer_gain_dbi(ground.layer, antenna, one.frequency_hz, aim) - lacking_db
    response = sky_response(field, 10 ** (gain_dbi[field.found.cell] / 10), site.site.longitude_deg)
    by_month = sporadic_sky.hourly_rates(response)
    hourly = by_month.mean(axis=0) if settings.month is None else by_month[settings.month - 1]
    share, neighbours = _sharing(ground, index, near, aim)
    noise_dbm = 10 * math.log10(ground.noise_w_hz[index] * width) + 30
    direct = around.direct_dbm[:, index] + float(horizon_gain_dbi(antenna, aim, bearing)) - lacking_db - noise_dbm
    judged = verdict(float(direct[0]), float(direct[2]))
    return Candidate(
        transmitter=one,
        height_m=float(around.height_m[index]),
        height_known=bool(around.height_known[index]),
        antenna_fits=lacking_db == 0,
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
        score=float(hourly.sum() * share * _QUIET[judged]),
        path=path,
    )


def _off_band_db(site: Site, frequency_hz: float) -> float:
    """Return the gain that the antenna lacks at a frequency: none near the tuned one."""
    return 0.0 if abs(frequency_hz / site.receiver.center_frequency_hz - 1) <= ANTENNA_BAND else _OFF_BAND_DB


def _illumination(ground: _Ground, index: int, floor_w_hz: float) -> Illumination:
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


def _floor_w_hz(ground: _Ground, index: int, near: NDArray[np.intp], aim: Aim) -> float:
    """Return what stands beside the echoes in a channel: noise, and in an FM channel the median direct signals."""
    around = ground.survey
    one = around.transmitters[index]
    if one.kind == "carrier":
        return float(ground.noise_w_hz[index])
    gain = horizon_gain_dbi(ground.site.antenna, aim, around.azimuth_deg[near])
    level_dbm = around.direct_dbm[0, near] + gain + leak_db(around.frequency_hz[near] - one.frequency_hz)
    return float(ground.noise_w_hz[index] + np.sum(10 ** (level_dbm / 10 - 3)) / DEFAULT_BANDWIDTH_HZ["fm"])


def _sharing(ground: _Ground, index: int, near: NDArray[np.intp], aim: Aim) -> tuple[float, tuple[Neighbour, ...]]:
    """Return the candidate's share of the echoes on its frequency, and the neighbours that matter most."""
    around, antenna = ground.survey, ground.site.antenna
    table = ground.reaches[_group(bool(around.is_fm[index]), float(around.frequency_hz[index]))]
    elevation = table.elevation_at(around.distance_m[near], around.azimuth_deg[near])
    gain = _towards_echoes_dbi(antenna, aim, around.azimuth_deg[near], elevation)
    rates = _rates(ground, near, gain, ground.noise_w_hz[near])
    spacing = around.frequency_hz[near] - around.frequency_hz[index]
    leak = leak_db(spacing) if around.is_fm[index] else np.zeros(near.size)
    rates = rates * 10 ** (_COUNT_POWER * leak / 10)
    own = near == index
    share = float(rates[own].sum() / max(rates.sum(), 1e-12))
    noise_dbm = 10 * np.log10(ground.noise_w_hz[near] * DEFAULT_BANDWIDTH_HZ["fm"]) + 30
    direct = around.direct_dbm[0, near] + horizon_gain_dbi(antenna, aim, around.azimuth_deg[near]) + leak - noise_dbm
    weight = rates + np.maximum(direct, 0.0) * rates.max(initial=0.0)
    ranked = [k for k in np.argsort(-weight, kind="stable") if not own[k]][:_NEIGHBOURS_NAMED]
    return share, tuple(
        Neighbour(
            name=around.transmitters[near[k]].name,
            offset_hz=float(spacing[k]),
            distance_km=float(around.distance_m[near[k]]) / 1e3,
            bearing_deg=float(around.azimuth_deg[near[k]]),
            direct_snr_db=float(direct[k]),
            asked_db=asked_db(float(spacing[k]), american=ground.raster == RASTERS["americas"]),
            echoes_per_h=float(rates[k]),
        )
        for k in ranked
    )


def _towards_echoes_dbi(antenna: Antenna, aim: Aim, azimuth_deg: FloatArray, elevation_deg: FloatArray) -> FloatArray:
    off = angle_between_deg(azimuth_deg, elevation_deg, aim.azimuth_deg, aim.elevation_deg)
    return beam_gain_dbi(off, antenna.gain_dbi, antenna.beamwidth_deg) + _MEAN_GROUND_DB


def _common_layer(
    ground: _Ground, field: EchoField, path: RateByGain, gain_dbi: FloatArray, bearing_deg: float
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
