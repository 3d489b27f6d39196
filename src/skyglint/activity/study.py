"""One channel over days to months: what its hours and echoes say of the sporadic meteors."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.activity.daily import DailyCycle, MorningTest, fit_daily_cycle, morning_test
from skyglint.activity.mass_index import (
    MassIndex,
    completeness_limit,
    mass_index_from_amplitudes,
    mass_index_from_durations,
)
from skyglint.activity.nights import CombinedRate, combined_rate
from skyglint.activity.rates import Rate
from skyglint.activity.wind import HourlyDoppler, doppler_by_hour
from skyglint.sky.sun import local_apparent_solar_hour
from skyglint.store import StoredEcho

Array = NDArray[np.float64]

#: Overdense durations beyond this are cut by chemistry and wind and not by diffusion (10 to 30 s; common practice).
LONGEST_DIFFUSION_S = 10.0

#: Echoes whose strength or length is not what it was.
_SPOILT = frozenset({"clipped", "gap", "merged", "edge", "guard"})


@dataclass(frozen=True, slots=True)
class Hours:
    """A channel's hours that were watched, shapes (n,).

    Attributes
    ----------
    start_unix, middle_unix
        Of each bin.
    counts
        Echoes that count as meteors.
    exposure_h
        Live hours: watched and not hidden by echoes.
    solar_hour, solar_longitude_deg
        Local apparent solar time at the site and solar longitude, at the middle.
    """

    start_unix: Array
    middle_unix: Array
    counts: Array
    exposure_h: Array
    solar_hour: Array
    solar_longitude_deg: Array


@dataclass(frozen=True, slots=True)
class ChannelStudy:
    """What one channel's hours and echoes say.

    Attributes
    ----------
    channel
        Its name.
    nights
        Mean rate over the nights, each from solar noon to noon.
    cycle, morning
        Course of the day at the site, and the morning against the evening.
    underdense, overdense
        Mass index from underdense amplitudes and from overdense durations.
    doppler
        Shifts by local solar hour.
    """

    channel: str
    nights: CombinedRate
    cycle: DailyCycle
    morning: MorningTest
    underdense: MassIndex
    overdense: MassIndex
    doppler: HourlyDoppler


def hours_of(rates: Sequence[Rate], channel: str) -> Hours:
    """Return one channel's hourly rates as arrays; hours without live time are left out."""
    rows = [rate for rate in rates if rate.channel == channel and rate.coverage_s > rate.busy_s]
    columns = np.array(
        [
            (r.start_unix, r.end_unix, r.echoes, r.coverage_s - r.busy_s, r.local_solar_hour, r.solar_longitude_deg)
            for r in rows
        ],
        dtype=np.float64,
    ).reshape(-1, 6)
    start, end, counts, live_s, solar_hour, longitude = columns.T
    return Hours(start, (start + end) / 2, counts, live_s / 3600.0, solar_hour, longitude)


def study_channel(
    channel: str, rates: Sequence[Rate], echoes: Sequence[StoredEcho], longitude_deg: float
) -> ChannelStudy:
    """Study one channel.

    Parameters
    ----------
    channel
        Its name.
    rates
        By the hour, of this and perhaps other channels.
    echoes
        Of the same span; those of other channels and those that are no meteors are left out.
    longitude_deg
        Of the site, for solar time.
    """
    hours = hours_of(rates, channel)
    night = np.floor((hours.middle_unix / 86_400.0 + longitude_deg / 360.0) - 0.5).astype(np.int64)
    _, index = np.unique(night, return_inverse=True)
    own = [stored for stored in echoes if stored.echo.channel == channel and stored.meteoric]
    clean = clean_echoes(channel, own)
    amplitudes = 10.0 ** (_values(clean, "underdense", "peak_snr_db") / 20.0)
    durations = _values(clean, "overdense", "duration_s")
    moving = np.array(
        [(s.echo.start_unix, s.echo.doppler_hz, s.echo.doppler_sd_hz) for s in own], dtype=np.float64
    ).reshape(-1, 3)
    return ChannelStudy(
        channel,
        combined_rate(np.bincount(index, hours.counts), np.bincount(index, hours.exposure_h)),
        fit_daily_cycle(hours.solar_hour, hours.counts, hours.exposure_h, bin_h=1.0),
        morning_test(hours.solar_hour, hours.counts, hours.exposure_h),
        mass_index_from_amplitudes(amplitudes, completeness_limit(amplitudes)),
        mass_index_from_durations(
            durations, completeness_limit(durations, highest=LONGEST_DIFFUSION_S), LONGEST_DIFFUSION_S
        ),
        doppler_by_hour(local_apparent_solar_hour(moving[:, 0], longitude_deg), moving[:, 1], moving[:, 2]),
    )


def clean_echoes(channel: str, echoes: Sequence[StoredEcho]) -> list[StoredEcho]:
    """Return a channel's meteors whose strength and length are what they were."""
    own = (stored for stored in echoes if stored.echo.channel == channel and stored.meteoric)
    return [stored for stored in own if not _SPOILT.intersection(stored.echo.flags)]


def _values(echoes: Sequence[StoredEcho], echo_class: str, field: str) -> Array:
    return np.array([getattr(s.echo, field) for s in echoes if s.echo_class == echo_class], dtype=np.float64)
