"""The passes of satellites over a site: where, when, with what Doppler shifts, and with what hope of a reflection."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from skyglint.path.antenna import angle_between_deg, beam_gain_dbi
from skyglint.path.free_space import eirp_w
from skyglint.plan.reflection import LARGE_SPACECRAFT_M2, Reflection, judge, reflected_power_dbm
from skyglint.plan.settings import PlanSettings
from skyglint.site import Channel, Site
from skyglint.sky.orbits.elements import Elements, position_error_km
from skyglint.sky.passes import Pass, find_passes
from skyglint.sky.satellites import (
    Look,
    Place,
    Satellite,
    doppler_hz,
    emission_unix,
    path_rate_km_s,
    satellite,
    sunlit,
)

FloatArray = NDArray[np.float64]

#: Elements of a low orbit older than this are a poor guide to seconds (the error grows by 1 to 3 km a day).
OLD_DAYS = 7.0


@dataclass(frozen=True, slots=True)
class Track:
    """A pass at evenly spaced times, each array of shape (n,).

    Attributes
    ----------
    unix, look, sunlit
        Times at the site, and how it sees the satellite then.
    doppler_hz
        Shift of the satellite's own beacon; NaN where no frequency was given.
    bistatic_doppler_hz
        By target channel with a known place: shift of its transmitter's reflection; NaN where the transmitter does
        not see the satellite.
    beacon_doppler_hz
        By channel that the site file declares to be this satellite's own: its shift there.
    """

    unix: FloatArray
    look: Look
    sunlit: NDArray[np.bool_]
    doppler_hz: FloatArray
    bistatic_doppler_hz: dict[str, FloatArray]
    beacon_doppler_hz: dict[str, FloatArray] = field(default_factory=dict)

    @property
    def channel_doppler_hz(self) -> dict[str, FloatArray]:
        """Shift in every channel in which the satellite may be heard."""
        return {**self.bistatic_doppler_hz, **self.beacon_doppler_hz}


@dataclass(frozen=True, slots=True)
class SatellitePass:
    """One pass of one satellite.

    Attributes
    ----------
    elements, when, track
        Of what, from when to when, and its way.
    reflections
        By target channel with a known place and power: its reflection at its best.
    snr_db
        By the same channels: ratio of the reflection to the noise in the channel's bandwidth (1 Hz for a carrier) at
        the track's times, dB; NaN where there is none.
    """

    elements: Elements
    when: Pass
    track: Track
    reflections: tuple[Reflection, ...]
    snr_db: dict[str, FloatArray] = field(default_factory=dict)

    @property
    def age_days(self) -> float:
        """Age of the elements at culmination."""
        return self.elements.age_days(self.when.culmination_unix)

    @property
    def warning(self) -> str:
        """What the age of the elements costs, or nothing while they are fresh."""
        if abs(self.age_days) <= OLD_DAYS:
            return ""
        error_km = position_error_km(self.age_days)
        before = "old" if self.age_days > 0 else "ahead"
        return (
            f"{self.elements.name}: elements {abs(self.age_days):.0f} days {before}: "
            f"expect errors of about {error_km:.0f} km, {error_km / 7.5:.0f} s for a low orbit"
        )


def site_place(site: Site) -> Place:
    """Return the site's antenna as a place."""
    height_m = site.site.height_m + site.antenna.height_above_ground_m
    return Place(site.site.latitude_deg, site.site.longitude_deg, height_m)


def transmitter_place(channel: Channel) -> Place | None:
    """Return where a channel's transmitter stands, if the site file says; without a height at sea level."""
    if channel.latitude_deg is None or channel.longitude_deg is None:
        return None
    return Place(channel.latitude_deg, channel.longitude_deg, channel.height_m or 0.0)


def predict(
    site: Site,
    elements: Sequence[Elements],
    start_unix: float,
    end_unix: float,
    *,
    least_elevation_deg: float = 0.0,
    beacon_hz: float = math.nan,
    step_s: float = 10.0,
    cross_section_m2: float = LARGE_SPACECRAFT_M2,
    settings: PlanSettings | None = None,
) -> list[SatellitePass]:
    """Return all passes that culminate above an elevation within a span, by time of rise.

    Parameters
    ----------
    beacon_hz
        Frequency of the satellite's own signal; NaN for none.
    step_s
        Time between the points of a track.
    cross_section_m2
        Assumed bistatic radar cross-section.
    """
    settings = settings or PlanSettings()
    place = site_place(site)
    found = []
    for one in elements:
        body = satellite(one)
        for when in find_passes(body, place, start_unix, end_unix):
            if when.max_elevation_deg > least_elevation_deg:
                line = track(site, body, when.start_unix, when.end_unix, step_s, beacon_hz)
                judged = list(_reflections(site, body, line, cross_section_m2, settings))
                strengths = {each.channel: power_dbm - (each.power_dbm - each.snr_db) for each, power_dbm in judged}
                found.append(SatellitePass(one, when, line, tuple(each for each, _ in judged), strengths))
    return sorted(found, key=lambda one: one.when.start_unix)


def track(
    site: Site, body: Satellite, start_unix: float, end_unix: float, step_s: float, beacon_hz: float = math.nan
) -> Track:
    """Return a satellite's track over the site, from start to end."""
    place = site_place(site)
    unix: FloatArray = start_unix + np.float64(step_s) * np.arange(int((end_unix - start_unix) / step_s) + 1)
    motion = body.motion(emission_unix(body, place, unix))
    towards_site = path_rate_km_s(motion, place)
    shifts = {}
    for channel, transmitter in _targets(site):
        shift = doppler_hz(path_rate_km_s(motion, place, transmitter), channel.frequency_hz)
        shifts[channel.name] = np.where(_seen_from(transmitter, body, unix), shift, np.nan)
    return Track(
        unix=unix,
        look=body.look(place, unix),
        sunlit=sunlit(body.motion(unix), unix),
        doppler_hz=doppler_hz(towards_site, beacon_hz),
        bistatic_doppler_hz=shifts,
        beacon_doppler_hz={
            channel.name: doppler_hz(towards_site, channel.frequency_hz)
            for channel in site.channel
            if channel.satellite == body.elements.catalog_number
        },
    )


def _targets(site: Site) -> Iterator[tuple[Channel, Place]]:
    for channel in site.channel:
        transmitter = transmitter_place(channel)
        if channel.role == "target" and transmitter is not None:
            yield channel, transmitter


def _seen_from(transmitter: Place, body: Satellite, unix: FloatArray) -> NDArray[np.bool_]:
    return body.look(transmitter, unix).elevation_deg > 0.0


def _reflections(
    site: Site, body: Satellite, line: Track, cross_section_m2: float, settings: PlanSettings
) -> Iterator[tuple[Reflection, FloatArray]]:
    """Yield the verdict on each channel's reflection, and its power along the track, dBm."""
    for channel, transmitter in _targets(site):
        if channel.power_w is None:
            continue
        power_dbm = reflection_dbm(site, body, line.unix, channel, transmitter, channel.power_w, cross_section_m2)
        kind, width_hz = channel.kind, channel.bandwidth_hz
        yield judge(channel.name, kind, channel.frequency_hz, width_hz, line.unix, power_dbm, settings), power_dbm


def reflection_dbm(
    site: Site,
    body: Satellite,
    unix: FloatArray,
    channel: Channel,
    transmitter: Place,
    power_w: float,
    cross_section_m2: float = LARGE_SPACECRAFT_M2,
) -> FloatArray:
    """Return the power of a reflection at times, dBm; NaN where either end does not see the satellite."""
    here, there = body.look(site_place(site), unix), body.look(transmitter, unix)
    antenna = site.antenna
    off_axis = angle_between_deg(here.azimuth_deg, here.elevation_deg, antenna.azimuth_deg, antenna.elevation_deg)
    gain_dbi = beam_gain_dbi(off_axis, antenna.gain_dbi, antenna.beamwidth_deg)
    power_dbm = reflected_power_dbm(
        eirp_w(power_w), gain_dbi, channel.frequency_hz, cross_section_m2, there.range_km, here.range_km
    )
    return np.where((here.elevation_deg > 0) & (there.elevation_deg > 0), power_dbm, np.nan)
