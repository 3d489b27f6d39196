"""Everything that a month or year page shows, as one plain record.

Times are POSIX seconds, NaN means "not measured". The place is already rounded here, as on the night page.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from skyglint.activity.daily import Comparison, DailyCycle, MorningTest
from skyglint.activity.month import Month, SeasonShower
from skyglint.activity.nights import CombinedRate
from skyglint.activity.rates import Rate
from skyglint.activity.scales import Scaled
from skyglint.activity.wind import HourlyDoppler
from skyglint.site import Channel
from skyglint.store.records import Run

Array = NDArray[np.float64]

SeasonKind = Literal["month", "year"]


@dataclass(frozen=True, slots=True)
class ChannelSeason:
    """One channel's month or year.

    Attributes
    ----------
    channel
        As the site file declares it.
    distance_km, bearing_deg
        From the rounded place to the transmitter; NaN where its place is unknown.
    middle_ahead_h
        Local solar time at the path's middle less that at the site; NaN where the transmitter's place is unknown.
    echoes, bursts
        Echoes that count as meteors, and bursts of any class.
    nights, cycle, morning
        Mean rate over the nights; course of the day; the morning against the evening.
    expected, comparison
        Course that the sporadic sources should give, at the middles of the 24 local solar hours relative to the day's
        mean, and how the counts stand to it; ``None`` where the transmitter's place is unknown.
    scale, scale_low, scale_high
        Sensitivity relative to the reference channel, with 68 % limits.
    watched_s, lost_s
        Time watched, and time lost by reason.
    floor_db, floor_reach_db
        Median of the floor, and how close to it 95 % of the readings stay.
    doppler
        Shifts by local solar hour.
    """

    channel: Channel
    distance_km: float
    bearing_deg: float
    middle_ahead_h: float
    echoes: int
    bursts: int
    nights: CombinedRate
    cycle: DailyCycle
    morning: MorningTest
    expected: Array | None
    comparison: Comparison | None
    scale: float
    scale_low: float
    scale_high: float
    watched_s: float
    lost_s: dict[str, float]
    floor_db: float
    floor_reach_db: float
    doppler: HourlyDoppler


@dataclass(frozen=True, slots=True)
class SeasonPage:
    """A month or a year at one site.

    Attributes
    ----------
    kind, name
        ``month`` and ``2026-08``, or ``year`` and ``2026``.
    site_name
        As the site file has it.
    latitude_deg, longitude_deg
        Rounded to 0.1 degree.
    evenings
        Dates of all nights of the season, watched or not.
    start_unix, end_unix
        From the first night's noon to the last one's next noon.
    reference
        Name of the channel with the most echoes, to which the others' sensitivities are relative; empty where nothing
        was watched.
    hour_map
        Rate of a target channel of mean sensitivity by local solar hour and night, shape (24, nights); NaN where
        nothing was watched. A night's column holds its afternoon and evening and the next morning.
    nights
        All target channels by night.
    total
        Mean over the nights, all target channels together.
    hours_of_day, cycle, morning
        All target channels by local solar hour, the course of the day and the morning against the evening: of the hours
        that showers have next to nothing of.
    shower_hours
        How many hours were left out of these for showers.
    expected
        Expected sporadic course at the 24 hours relative to its mean; ``None`` where no transmitter's place is known.
    channels
        Targets first, guards last.
    months
        In order of time: one for a month.
    showers
        Each apparition once, whatever number of months it runs over.
    rows
        Every channel's rates by solar hour: what the figures are made of.
    confidence, calibration
        Probability content of intervals; true over modelled number of echoes.
    runs
        Where the numbers come from.
    version
        Version of Skyglint that made the page.
    """

    kind: SeasonKind
    name: str
    site_name: str
    latitude_deg: float
    longitude_deg: float
    evenings: tuple[date, ...]
    start_unix: float
    end_unix: float
    reference: str
    hour_map: Array
    nights: Scaled
    hours_of_day: Scaled
    total: CombinedRate
    cycle: DailyCycle
    morning: MorningTest
    shower_hours: int
    expected: Array | None
    channels: tuple[ChannelSeason, ...]
    months: tuple[Month, ...]
    showers: tuple[SeasonShower, ...]
    rows: tuple[Rate, ...]
    confidence: float
    calibration: float
    runs: tuple[Run, ...]
    version: str
