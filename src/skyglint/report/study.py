"""What one night's rates and echoes say beyond their number."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from skyglint.activity.almanac import ShowerDay, showers_in, target_paths
from skyglint.activity.daily import (
    Comparison,
    DailyCycle,
    MorningTest,
    compare_course,
    fit_daily_cycle,
    morning_test,
)
from skyglint.activity.mass_index import MassIndex, mass_index_from_durations
from skyglint.activity.month import Pair, Verdicts, channel_pairs, verdicts_of
from skyglint.activity.populations import amplitudes_of, durations_of, mass_index_of_all
from skyglint.activity.response import ChannelPath
from skyglint.activity.sporadic_course import expected_course
from skyglint.activity.wind import HourlyDoppler, shifts_by_hour
from skyglint.report.together import Together
from skyglint.site import Channel, parse_site
from skyglint.sky.sun import solar_longitude_deg
from skyglint.store.records import CoverageSpan, StoredEcho

Array = NDArray[np.float64]

#: Less than this of an hour is no hour that was watched.
_LEAST_HOUR_S = 600.0


@dataclass(frozen=True, slots=True)
class NightStudy:
    """What a night says; all target channels together.

    Attributes
    ----------
    hours_seen
        Local solar hours that were watched for ten minutes or more.
    cycle, morning
        Course of the day, and the morning against the evening.
    expected_per_h
        Course that the sporadic sources should give on these paths at the middles of the 24 local solar hours, on the
        level of the counts; ``None`` where no target's place is known or nothing was counted.
    comparison
        How the hours stand to it.
    underdense, overdense
        Mass index.
    heights
        Heights of underdense echoes, kilometres.
    doppler
        Shifts of the carriers' echoes by local solar hour, by channel.
    pairs
        Channels compared for coincidences.
    verdicts
        Operator and machine.
    showers
        Those active, by the UTC hours that ``shower_hours_unix`` gives, the strongest first.
    shower_hours_unix
        Whole UTC hours of the night.
    """

    hours_seen: int
    cycle: DailyCycle
    morning: MorningTest
    expected_per_h: tuple[float, ...] | None
    comparison: Comparison | None
    underdense: MassIndex
    overdense: MassIndex
    heights: Array
    doppler: dict[str, HourlyDoppler]
    pairs: tuple[Pair, ...]
    verdicts: Verdicts
    showers: tuple[ShowerDay, ...]
    shower_hours_unix: tuple[float, ...]


def study_night(
    site_file: str,
    channels: Sequence[Channel],
    coverage: Sequence[CoverageSpan],
    solar_hours: Sequence[Together],
    echoes: Sequence[StoredEcho],
    span: tuple[float, float],
) -> NightStudy:
    """Study a night.

    Parameters
    ----------
    site_file
        Text of the site file; the response is worked out from the exact place, which is shown nowhere.
    channels, coverage, echoes
        Of the night; channels as last declared.
    solar_hours
        Rate of all targets by local solar hour.
    span
        First to last known moment, POSIX seconds.
    """
    by_channel: dict[str, list[StoredEcho]] = {c.name: [] for c in channels if c.role == "target"}
    for stored in echoes:
        if stored.meteoric and stored.echo.channel in by_channel:
            by_channel[stored.echo.channel].append(stored)
    hour = np.array([row.solar_hour + 0.5 for row in solar_hours], dtype=np.float64)
    counts = np.array([row.echoes for row in solar_hours], dtype=np.float64)
    live_h = np.array([row.live_s / 3600.0 for row in solar_hours], dtype=np.float64)
    declared = tuple(channel.model_dump_json() for channel in channels)
    names, courses, showers, hours_unix = _of_paths(site_file, declared, *(3600.0 * (t // 3600.0) for t in span))
    expected = comparison = None
    weights = [len(by_channel[name]) for name in names]
    if sum(weights):
        course = np.average(courses, axis=0, weights=weights)
        on_hours = np.interp(hour, np.arange(24) + 0.5, course, period=24.0)
        if on_hours @ live_h > 0:
            comparison = compare_course(counts, live_h, on_hours)
            expected = tuple(float(value) for value in course * comparison.factor)
    longitude_deg = round(parse_site(site_file, "site file of the last run").site.longitude_deg, 1)
    carriers = [channel for channel in channels if channel.role == "target" and channel.kind == "carrier"]
    heights = [s.echo.height_km for own in by_channel.values() for s in own if s.echo_class == "underdense"]
    return NightStudy(
        hours_seen=len({row.solar_hour for row in solar_hours if row.live_s >= _LEAST_HOUR_S}),
        cycle=fit_daily_cycle(hour, counts, live_h, bin_h=1.0),
        morning=morning_test(hour, counts, live_h),
        expected_per_h=expected,
        comparison=comparison,
        underdense=mass_index_of_all(amplitudes_of(name, own) for name, own in by_channel.items()),
        overdense=mass_index_of_all(durations_of(by_channel).values(), mass_index_from_durations),
        heights=np.array([height for height in heights if height == height], dtype=np.float64),
        doppler={c.name: shifts_by_hour(by_channel[c.name], longitude_deg) for c in carriers},
        pairs=channel_pairs(by_channel, coverage),
        verdicts=verdicts_of(echoes),
        showers=showers,
        shower_hours_unix=hours_unix,
    )


@lru_cache(maxsize=8)
def _of_paths(
    site_file: str, declared: tuple[str, ...], first_unix: float, last_unix: float
) -> tuple[tuple[str, ...], Array, tuple[ShowerDay, ...], tuple[float, ...]]:
    """Return what depends on the paths and the hours only, which a live page asks for again and again.

    Names of the paths that share a layer, their expected courses of shape (paths, 24), the active showers, and the
    hours that these are given for.
    """
    channels = [Channel.model_validate_json(text) for text in declared]
    site = parse_site(site_file, "site file of the last run").model_copy(update={"channel": channels})
    paths = target_paths(site)
    hours = np.arange(first_unix, last_unix + 1.0, 3600.0)
    middle = np.arange(24, dtype=np.float64) + 0.5
    known = [(path, course) for path in paths if (course := _course(path, hours, middle)).any()]
    showers = [day for day in showers_in(site, paths, hours) if day.shower.kind != "sporadic"]
    ranked = sorted(showers, key=lambda day: -np.nan_to_num(float(day.shower.zhr(_longitude(hours)))))
    courses = np.array([course for _, course in known]).reshape(-1, 24)
    return tuple(path.channel.name for path, _ in known), courses, tuple(ranked), tuple(hours.tolist())


def _course(path: ChannelPath, hours: Array, middle: Array) -> Array:
    return expected_course(path, float(hours.mean()), middle)


def _longitude(hours: Array) -> float:
    return float(solar_longitude_deg(float(hours.mean())))
