"""The answer to "where do I point?" for one transmitter or a set, with what it costs to do otherwise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from skyglint.errors import RequestError
from skyglint.path.antenna import lobe_elevations_deg
from skyglint.path.constants import FloatArray
from skyglint.path.diffuse import SiteLayer, site_layer
from skyglint.path.geodesy import geodesic
from skyglint.plan.aiming import (
    HEIGHTS_M,
    Aim,
    RateByGain,
    best_aim,
    best_height_m,
    flattened,
    layer_gain_dbi,
    mean_gain_dbi,
    rate_by_gain,
)
from skyglint.plan.expected import Illumination, echo_field
from skyglint.plan.sensitivity import noise_density_w_hz
from skyglint.plan.settings import PlanSettings
from skyglint.plan.survey import ASSUMED_HEIGHT_M
from skyglint.site import Channel, Site


@dataclass(frozen=True, slots=True)
class AimReport:
    """Where to point the antenna for some channels.

    Attributes
    ----------
    channels, bearings_deg, distances_km
        For whom, and where their transmitters are.
    aim
        The best one; ``magnetic_azimuth_deg`` is its compass bearing, None without a declination.
    gain_dbi, flat_gain_dbi
        Mean gain over the part of the layer that counts, at the aim and with the elevation left at 0.
    flat_keeps, present_keeps
        Part of the echoes at the aim that is left at elevation 0, and with the antenna as the site file has it.
    best_height_m
        Lowest height above ground that collects 95 % of what the best one does.
    heights_m, height_merit
        Heights looked at and the part of the best that each collects.
    lobes_deg, nulls_deg
        Elevations that the ground strengthens and cancels at the antenna's present height.
    layer, echoes_per_h
        The cells of the layer and the echoes per hour that each offers to an antenna of 0 dBi.
    echoes_total_per_h
        Expected at the aim, all channels together, the mean of day and year.
    """

    site: Site
    channels: tuple[str, ...]
    frequency_hz: float
    bearings_deg: tuple[float, ...]
    distances_km: tuple[float, ...]
    aim: Aim
    declination_deg: float | None
    gain_dbi: float
    flat_gain_dbi: float
    flat_keeps: float
    present_keeps: float
    best_height_m: float
    heights_m: FloatArray
    height_merit: FloatArray
    lobes_deg: NDArray[np.float64]
    nulls_deg: NDArray[np.float64]
    layer: SiteLayer
    echoes_per_h: FloatArray
    echoes_total_per_h: float

    @property
    def magnetic_azimuth_deg(self) -> float | None:
        """Compass bearing of the aim: true azimuth minus the declination, east positive."""
        return None if self.declination_deg is None else (self.aim.azimuth_deg - self.declination_deg) % 360.0


def aim_report(
    site: Site, names: Sequence[str], settings: PlanSettings, declination_deg: float | None = None
) -> AimReport:
    """Return where to point for the named channels, or for all targets with a known transmitter.

    Parameters
    ----------
    declination_deg
        Magnetic declination at the site, east positive, if the observer looked it up.

    Raises
    ------
    RequestError
        If a channel does not exist, its transmitter's place or power is not stated, or no part of the layer is seen
        from both ends.
    """
    channels = _chosen(site, names)
    place, antenna = site.site, site.antenna
    height = place.height_m + antenna.height_above_ground_m
    layer = site_layer(place.latitude_deg, place.longitude_deg, height, mask_deg=settings.mask_deg)
    paths = [_path(site, channel, layer, settings) for channel in channels]
    for channel, path in zip(channels, paths, strict=True):
        if path.cell.size == 0:
            raise RequestError(
                f'channel "{channel.name}": no part of the layer at 95 km is seen from both ends: the transmitter is '
                "too far away"
            )
    lines = [geodesic(place.latitude_deg, place.longitude_deg, c.latitude_deg or 0.0, c.longitude_deg or 0.0)
             for c in channels]  # fmt: skip
    bearings = tuple(float(line.azimuth_deg) for line in lines)
    frequency = float(np.mean([channel.frequency_hz for channel in channels]))
    aim = best_aim(paths, layer, antenna, frequency, bearings)
    gain, flat = (layer_gain_dbi(layer, antenna, frequency, a) for a in (aim, flattened(aim)))
    present = layer_gain_dbi(layer, antenna, frequency, Aim(antenna.azimuth_deg, antenna.elevation_deg))
    total = sum(float(path.total(gain)) for path in paths)
    best_height, merit = best_height_m(paths, layer, antenna, frequency, aim)
    lobes, nulls = lobe_elevations_deg(antenna.height_above_ground_m, frequency)
    density = np.zeros(layer.range_m.size)
    for path in paths:
        density[path.cell] += path.at(np.zeros(layer.range_m.size))
    return AimReport(
        site=site,
        channels=tuple(channel.name for channel in channels),
        frequency_hz=frequency,
        bearings_deg=bearings,
        distances_km=tuple(float(line.distance_m) / 1e3 for line in lines),
        aim=aim,
        declination_deg=declination_deg,
        gain_dbi=float(np.mean([mean_gain_dbi(path, gain) for path in paths])),
        flat_gain_dbi=float(np.mean([mean_gain_dbi(path, flat) for path in paths])),
        flat_keeps=sum(float(path.total(flat)) for path in paths) / total,
        present_keeps=sum(float(path.total(present)) for path in paths) / total,
        best_height_m=best_height,
        heights_m=HEIGHTS_M,
        height_merit=merit,
        lobes_deg=lobes,
        nulls_deg=nulls,
        layer=layer,
        echoes_per_h=density,
        echoes_total_per_h=total,
    )


def _chosen(site: Site, names: Sequence[str]) -> list[Channel]:
    by_name = {channel.name: channel for channel in site.channel}
    unknown = [name for name in names if name not in by_name]
    if unknown:
        known = ", ".join(by_name)
        raise RequestError(f'no channel "{unknown[0]}" in the site file: expected one of {known}')
    chosen = [by_name[name] for name in names]
    if not names:
        chosen = [c for c in site.channel if c.role == "target" and c.latitude_deg is not None and c.power_w]
        if not chosen:
            raise RequestError(
                "no target in the site file states its transmitter's latitude_deg, longitude_deg and power_w: "
                "there is nothing to point at"
            )
    for channel in chosen:
        missing = [key for key in ("latitude_deg", "longitude_deg", "power_w") if getattr(channel, key) is None]
        if missing:
            raise RequestError(f'channel "{channel.name}" does not state {", ".join(missing)}: needed to point at it')
    return chosen


def _path(site: Site, channel: Channel, layer: SiteLayer, settings: PlanSettings) -> RateByGain:
    # A site file does not say how a transmitter is polarised: both polarisations share its power.
    half = (channel.power_w or 0.0) / 2
    source = Illumination(
        latitude_deg=channel.latitude_deg or 0.0,
        longitude_deg=channel.longitude_deg or 0.0,
        height_m=ASSUMED_HEIGHT_M if channel.height_m is None else channel.height_m,
        frequency_hz=channel.frequency_hz,
        kind=channel.kind,
        bandwidth_hz=channel.bandwidth_hz,
        erp_horizontal_w=half,
        erp_vertical_w=half,
        floor_w_hz=float(noise_density_w_hz(channel.frequency_hz, settings.environment, settings.noise_figure_db)),
    )
    terrain = settings.terrain.at(layer.azimuth_deg)
    return rate_by_gain(echo_field(layer, source, site.antenna.polarization, settings.mask_deg, terrain))


def aim_document(report: AimReport) -> dict[str, Any]:
    """Return the report as plain values."""
    magnetic = report.magnetic_azimuth_deg
    return {
        "channels": list(report.channels),
        "azimuth_deg": round(report.aim.azimuth_deg, 1),
        "elevation_deg": round(report.aim.elevation_deg, 1),
        "declination_deg": report.declination_deg,
        "magnetic_azimuth_deg": None if magnetic is None else round(magnetic, 1),
        "gain_dbi": round(report.gain_dbi, 2),
        "gain_lost_at_elevation_0_db": round(report.gain_dbi - report.flat_gain_dbi, 2),
        "echoes_kept_at_elevation_0": round(report.flat_keeps, 3),
        "echoes_kept_as_declared": round(report.present_keeps, 3),
        "echoes_per_h": round(report.echoes_total_per_h, 2),
        "best_height_above_ground_m": report.best_height_m,
        "lobes_deg": [round(float(angle), 1) for angle in report.lobes_deg],
        "nulls_deg": [round(float(angle), 1) for angle in report.nulls_deg],
        "transmitters": [
            {"channel": name, "distance_km": round(distance, 3), "bearing_deg": round(bearing, 3)}
            for name, distance, bearing in zip(report.channels, report.distances_km, report.bearings_deg, strict=True)
        ],
    }
