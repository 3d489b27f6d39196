"""One channel's month or year: what its rates say, and how well it was watched."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from skyglint.activity.coverage import intersection, livetime_s, segments_of
from skyglint.activity.daily import compare_course, fit_daily_cycle, morning_test
from skyglint.activity.nights import combined_rate
from skyglint.activity.rates import Rate
from skyglint.activity.study import Hours
from skyglint.activity.wind import HourlyDoppler, doppler_by_hour, shifts_of
from skyglint.report.lanes import NOT_RECORDED, lost_spans, way_to
from skyglint.report.season import Array, ChannelSeason
from skyglint.site import Channel, SitePlace
from skyglint.sky.radiants import unit_vector
from skyglint.sky.sun import signed_deg
from skyglint.store.records import CoverageSpan, FloorHistory, StoredEcho


@dataclass(frozen=True, slots=True)
class Quality:
    """How well a channel was watched in a month.

    Attributes
    ----------
    watched_s, lost_s
        Time watched, and time lost by reason.
    floor_db
        Readings of the floor, shape (n,), dB.
    bursts
        Bursts of any class.
    shifts
        Local solar hour, Doppler shift and its error of the meteors that have one, shape (n, 3).
    """

    watched_s: float
    lost_s: dict[str, float]
    floor_db: Array
    bursts: int
    shifts: Array


def quality_of(
    floors: Sequence[FloorHistory],
    channels: Sequence[Channel],
    coverage: Sequence[CoverageSpan],
    echoes: Sequence[StoredEcho],
    longitude_deg: float,
    span: tuple[float, float],
) -> dict[str, Quality]:
    """Return how well each channel was watched within a span; shifts stand against local solar time."""
    levels = {floor.channel: np.asarray(floor.floor_db[np.isfinite(floor.floor_db)], np.float64) for floor in floors}
    bursts = Counter(stored.echo.channel for stored in echoes)
    moving: dict[str, list[StoredEcho]] = {channel.name: [] for channel in channels}
    for stored in echoes:
        if math.isfinite(stored.echo.doppler_hz):
            moving[stored.echo.channel].append(stored)
    found = {}
    for channel in channels:
        watched = intersection(segments_of(coverage, channel.name), [span])
        lost: dict[str, float] = {}
        for entry in lost_spans(channel.name, coverage, watched, span):
            lost[entry.reason] = lost.get(entry.reason, 0.0) + entry.end_unix - entry.start_unix
        shifts = shifts_of(moving[channel.name], longitude_deg)
        found[channel.name] = Quality(
            livetime_s(watched), lost, levels.get(channel.name, np.empty(0)), bursts[channel.name], shifts
        )
    return found


def channel_season(
    place: SitePlace,
    channel: Channel,
    hours: Hours,
    night_rows: Sequence[Rate],
    courses: Sequence[Array],
    scale: Sequence[float],
    quality: Sequence[Quality],
    length_s: float,
) -> ChannelSeason:
    """Return a channel's season.

    Parameters
    ----------
    hours, night_rows
        Its solar hours without those that showers rule, and its rates by night.
    courses
        Expected courses of the months at the middles of the 24 solar hours; empty where no path is known.
    scale
        Sensitivity and its limits.
    quality
        Of the months of which anything is known.
    length_s
        Of the season: the months of which nothing is known were not recorded.
    """
    day = (hours.solar_hour, hours.counts, hours.exposure_h)
    expected = np.mean(courses, axis=0) if courses and np.any(courses) else None
    comparison = None
    if expected is not None and len(hours.counts):
        course = np.interp(hours.solar_hour, np.arange(24) + 0.5, expected, period=24.0)
        comparison = compare_course(hours.counts, hours.exposure_h, course)
    levels = np.concatenate([part.floor_db for part in quality])
    median = float(np.median(levels)) if levels.size else np.nan
    lost: dict[str, float] = {}
    for reason, seconds in (item for part in quality for item in part.lost_s.items()):
        lost[reason] = lost.get(reason, 0.0) + seconds
    watched_s = sum(part.watched_s for part in quality)
    unknown_s = length_s - watched_s - sum(lost.values())
    if unknown_s > 1.0:
        lost[NOT_RECORDED] = lost.get(NOT_RECORDED, 0.0) + unknown_s
    distance_km, bearing_deg = way_to(place, channel)
    live_h = [max(row.coverage_s - row.busy_s, 0.0) / 3600.0 for row in night_rows]
    return ChannelSeason(
        channel=channel,
        distance_km=distance_km,
        bearing_deg=bearing_deg,
        middle_ahead_h=_middle_ahead_h(place, channel),
        echoes=sum(row.echoes for row in night_rows),
        bursts=sum(part.bursts for part in quality),
        nights=combined_rate([row.echoes for row in night_rows], live_h),
        cycle=fit_daily_cycle(*day, bin_h=1.0, night=hours.night),
        morning=morning_test(*day),
        expected=expected,
        comparison=comparison,
        scale=scale[0],
        scale_low=scale[1],
        scale_high=scale[2],
        watched_s=watched_s,
        lost_s=dict(sorted(lost.items(), key=lambda item: -item[1])),
        floor_db=median,
        floor_reach_db=float(np.percentile(np.abs(levels - median), 95.0)) if levels.size else np.nan,
        doppler=_doppler(quality),
    )


def _middle_ahead_h(place: SitePlace, channel: Channel) -> float:
    """Return how far the solar clock at the path's middle is ahead of that at the rounded place."""
    if channel.latitude_deg is None or channel.longitude_deg is None:
        return float("nan")
    here = unit_vector(round(place.longitude_deg, 1), round(place.latitude_deg, 1))
    middle = here + unit_vector(channel.longitude_deg, channel.latitude_deg)
    longitude_deg = float(np.degrees(np.arctan2(middle[1], middle[0])))
    return float(signed_deg(longitude_deg - round(place.longitude_deg, 1))) / 15.0


def _doppler(quality: Sequence[Quality]) -> HourlyDoppler:
    shifts = np.concatenate([part.shifts for part in quality])
    return doppler_by_hour(shifts[:, 0], shifts[:, 1], shifts[:, 2])
