"""A month of meteors on two channels with known truth, made without the code that is to find it again.

The generator has its own Sun (low-precision formulas of the Astronomical Almanac), its own course of the day, nights,
floor, power laws, detection and dead time. Two things it shares with what is measured: the counted area of the path for
the shower (:func:`skyglint.activity.shower_study.shower_area_km2`, which has checks of its own against rays and
geometry) and the shower's row of the table, radiant, speed and slopes of the profile. Places are invented.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from typing import cast

import numpy as np
from numpy.typing import NDArray

from skyglint.activity.response import ChannelPath, channel_path
from skyglint.activity.shower_study import shower_area_km2
from skyglint.echoes.echo import Echo, EchoClass
from skyglint.site import Site, parse_site
from skyglint.sky.showers import Shower, load_showers
from skyglint.store.records import CoverageSpan, StoredEcho

Array = NDArray[np.float64]

#: 2026-08-01T12:00:00Z, and how long it lasts.
START_UNIX, DAYS = 1_785_585_600.0, 30

SITE = """
[site]
name = "Harrow Fell"
latitude_deg = 54.6137
longitude_deg = -2.9
height_m = 210
timezone = "Europe/London"
[antenna]
azimuth_deg = 46
elevation_deg = 35
gain_dbi = 6.0
beamwidth_deg = 65
height_above_ground_m = 2.5
polarization = "horizontal"
[receiver]
source = "rtltcp://127.0.0.1:1234"
center_frequency_hz = 98_000_000
sample_rate_hz = 2_400_000
gain_db = 30.0
correction_ppm = 0.0
[[channel]]
name = "north-sea"
role = "target"
kind = "fm"
frequency_hz = 98_300_000
latitude_deg = 58.72
longitude_deg = 6.05
power_w = 60_000
height_m = 700
[[channel]]
name = "windmill"
role = "target"
kind = "fm"
frequency_hz = 97_900_000
latitude_deg = 52.9
longitude_deg = 5.9
power_w = 60_000
height_m = 300
"""

#: Echoes are drawn from the faintest on; half of those at the threshold are found, nearly all 1 dB above.
FAINTEST_DB, THRESHOLD_DB, SOFTNESS_DB = -12.0, -9.0, 0.25
_AREA_LIMITS_DB = FAINTEST_DB + np.array([0, 1, 2, 3, 3.5, 4, 5, 6, 8, 10, 14, 20, 30, 45.0])
#: Flux of ZHR 100 at r = 2.2, per km2 and hour to magnitude 6.5 (Koschack & Rendtel 1990).
FLUX_OF_100 = 0.02651
_STEP_S = 1200.0
#: Standard deviations of the nights' levels: common to all channels, of a channel by itself; and of the floor, dB.
COMMON_SD, OWN_SD, FLOOR_SD_DB = 0.10, 0.08, 0.5
_SPORADIC, _SHOWER, _INTERFERENCE = 0, 1, 2
_SHORTEST_S, _FOUND_S, _CHEMISTRY_S = 0.3, 0.5, 12.0


@dataclass(frozen=True, slots=True)
class Truth:
    """What was put into a month.

    Attributes
    ----------
    faint_per_h
        Mean sporadic rate of each channel above the faintest, before detection, shape (2,).
    amplitude, hour_of_maximum_h
        Of the sporadic course of the day.
    mass_index
        Of the sporadic meteors.
    flux_per_km2_h, peak_longitude_deg
        Of the shower at its maximum, to magnitude 6.5.
    """

    faint_per_h: tuple[float, float]
    amplitude: float
    hour_of_maximum_h: float
    mass_index: float
    flux_per_km2_h: float
    peak_longitude_deg: float

    def found_per_h(self, channel: int) -> float:
        """Return the mean sporadic rate of a channel's echoes that are found, nights and floor at their mean."""
        per_db = (self.mass_index - 1.0) * np.log(10.0) / 20.0
        level = np.arange(0.0, 60.0, 0.01) + 0.005
        share = np.sum(per_db * np.exp(-per_db * level) * _detected(FAINTEST_DB + level)) * 0.01
        return float(self.faint_per_h[channel] * share * np.exp((per_db * FLOOR_SD_DB) ** 2 / 2.0 * _FLOOR_SHARE))


#: Between two evenings the floor runs straight, so that its variance is two thirds of that of the evenings.
_FLOOR_SHARE = 2.0 / 3.0


@dataclass(frozen=True, slots=True)
class World:
    """A month as the store would give it.

    Attributes
    ----------
    truth
        What was put in.
    coverage
        Spans watched and lost.
    echoes
        All, by start.
    sporadic
        Those that are not the shower's: the month as it would have been without it.
    watched_course
        Mean of each channel's course of the day over the time that was watched, relative to the day's mean, shape (2,).
    """

    truth: Truth
    coverage: tuple[CoverageSpan, ...]
    echoes: tuple[StoredEcho, ...]
    sporadic: tuple[StoredEcho, ...]
    watched_course: tuple[float, ...]


@cache
def site() -> Site:
    """Return the invented site."""
    return parse_site(SITE)


@cache
def paths() -> tuple[ChannelPath, ...]:
    """Return the paths of its two channels."""
    return tuple(channel_path(site(), channel) for channel in site().channel)


@cache
def perseids() -> Shower:
    """Return the shower's row of the table."""
    return next(shower for shower in load_showers() if shower.iau_code == "PER")


def almanac_sun(unix: Array) -> tuple[Array, Array]:
    """Return solar longitude (J2000, deg) and local apparent solar hour at the site.

    Low-precision formulas of the Astronomical Almanac (0.01 deg, 0.1 min, 1950 to 2050). They give the apparent
    longitude; that of meteor astronomy is geometric, 20.5 arcsec ahead (constant of aberration).
    """
    day = unix / 86_400.0 + 2_440_587.5 - 2_451_545.0
    anomaly = np.radians(357.528 + 0.9856003 * day)
    mean = 280.460 + 0.9856474 * day
    of_date = mean + 1.915 * np.sin(anomaly) + 0.020 * np.sin(2.0 * anomaly)
    obliquity = np.radians(23.439 - 4e-7 * day)
    along = np.radians(of_date)
    right_ascension = np.degrees(np.arctan2(np.cos(obliquity) * np.sin(along), np.cos(along)))
    equation_h = ((mean - right_ascension + 180.0) % 360.0 - 180.0) / 15.0
    hour = (unix % 86_400.0 / 3600.0 + site().site.longitude_deg / 15.0 + equation_h) % 24.0
    precession_deg = 50.29 / 3600.0 * day / 365.25
    return (of_date - precession_deg + 20.5 / 3600.0) % 360.0, hour


def draw_truth(random: np.random.Generator) -> Truth:
    """Return what a month is to hold."""
    return Truth(
        (float(random.uniform(15.0, 30.0)), float(random.uniform(10.0, 25.0))),
        float(random.uniform(0.3, 0.7)),
        float(random.uniform(4.0, 8.0)),
        float(random.uniform(1.9, 2.3)),
        FLUX_OF_100 * float(random.uniform(0.4, 1.4)),
        perseids().peak_solar_longitude_deg,
    )


def make_month(random: np.random.Generator) -> World:
    """Return one month."""
    truth = draw_truth(random)
    nature = _nature(random, truth)
    outage = START_UNIX + 86_400.0 * random.uniform(0.0, DAYS - 1.0)
    evenings = START_UNIX + 86_400.0 * random.choice(DAYS, 3, replace=False) + 3600.0 * random.uniform(5.0, 8.0)
    common = [(outage, outage + 39_600.0, "receiver lost")]
    common += [(evening, evening + 14_400.0, "ducting") for evening in evenings]
    common += [(start, start + 120.0, "restart") for start in START_UNIX + 86_400.0 * (np.arange(DAYS) + 0.3)]
    echoes: list[StoredEcho] = []
    of_shower: set[int] = set()
    coverage: list[CoverageSpan] = []
    watched_course = []
    for k, path in enumerate(paths()):
        gaps = START_UNIX + 86_400.0 * random.uniform(0.0, DAYS - 0.3, 2)
        own = [(gap, gap + 3600.0 * random.uniform(1.0, 6.0), "gap") for gap in gaps]
        spans = _spans(path.channel.name, [*common, *own])
        coverage += spans
        watched_course.append(float(nature.course[_watched(nature.middle_unix, spans)].mean()))
        for echo, kind in _echoes(random, truth, nature, k, spans):
            echoes.append(StoredEcho(len(echoes) + 1, 1, echo))
            if kind == _SHOWER:
                of_shower.add(len(echoes))
    echoes.sort(key=lambda stored: stored.echo.start_unix)
    without = tuple(stored for stored in echoes if stored.id not in of_shower)
    return World(truth, tuple(coverage), tuple(echoes), without, tuple(watched_course))


@dataclass(frozen=True, slots=True)
class _Nature:
    """A month's steps: their middles, sporadic course, shower profile, nights' common levels and floor, shapes (n,)."""

    middle_unix: Array
    course: Array
    profile: Array
    level: Array
    floor_db: Array


def _nature(random: np.random.Generator, truth: Truth) -> _Nature:
    middle = START_UNIX + _STEP_S * (np.arange(DAYS * 86_400.0 / _STEP_S) + 0.5)
    longitude, hour = almanac_sun(middle)
    since = longitude - truth.peak_longitude_deg
    slopes = perseids().slope_before_per_deg, perseids().slope_after_per_deg
    evenings = START_UNIX + 86_400.0 * np.arange(DAYS + 1)
    return _Nature(
        middle,
        1.0 + truth.amplitude * np.cos(2.0 * np.pi * (hour - truth.hour_of_maximum_h) / 24.0),
        10.0 ** (-np.where(since < 0.0, *slopes) * np.abs(since)),
        _levels(random, COMMON_SD, len(middle)),
        np.interp(middle, evenings, random.normal(0.0, FLOOR_SD_DB, DAYS + 1)),
    )


def _echoes(
    random: np.random.Generator, truth: Truth, nature: _Nature, channel: int, spans: Sequence[CoverageSpan]
) -> Iterator[tuple[Echo, int]]:
    """Yield a channel's echoes that are found, and whether each is sporadic, the shower's or interference."""
    steps, areas = len(nature.middle_unix), _areas_km2(channel)
    level = nature.level * _levels(random, OWN_SD, steps)
    sporadic = truth.faint_per_h[channel] * nature.course * level
    shower = truth.flux_per_km2_h * areas[0] * nature.profile * level
    counts = [random.poisson(rate * _STEP_S / 3600.0) for rate in (sporadic, shower, np.full(steps, 0.5))]
    step = np.concatenate([np.repeat(np.arange(steps), count) for count in counts])
    kind = np.repeat([_SPORADIC, _SHOWER, _INTERFERENCE], [count.sum() for count in counts])
    start = nature.middle_unix[step] + _STEP_S * (random.random(len(step)) - 0.5)
    peak_db = _peaks_db(random, truth, kind, areas[:, step]) - nature.floor_db[step]
    kept = _watched(start, spans) & (random.random(len(step)) < _detected(peak_db))
    order = np.flatnonzero(kept)[np.argsort(start[kept])]
    start, peak_db, kind = start[order], peak_db[order], kind[order]
    names, duration = _classes(random, truth, kind)
    for i in np.flatnonzero(_not_hidden(start, duration)).tolist():
        begin, length, peak = float(start[i]), float(duration[i]), float(peak_db[i])
        yield Echo(paths()[channel].channel.name, begin, length, begin + 0.02, peak, length, names[i]), int(kind[i])


@cache
def _areas_km2(channel: int) -> Array:
    """Return the counted area above rising limits at every step, shape (limits, steps): shared with the estimator."""
    middle = START_UNIX + _STEP_S * (np.arange(DAYS * 86_400.0 / _STEP_S) + 0.5)
    areas = [shower_area_km2(paths()[channel], perseids(), middle, limit) for limit in _AREA_LIMITS_DB]
    return np.stack(areas)


def _levels(random: np.random.Generator, sd: float, steps: int) -> Array:
    """Return levels of mean one, the same for all steps of a night."""
    return np.repeat(random.gamma(sd**-2.0, sd**2.0, DAYS), steps // DAYS)


def _detected(peak_db: Array) -> Array:
    """Return the probability that a peak is found."""
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip((peak_db - THRESHOLD_DB) / SOFTNESS_DB, -60.0, 60.0))))


def _peaks_db(random: np.random.Generator, truth: Truth, kind: NDArray[np.int64], areas: Array) -> Array:
    """Return peaks over the mean floor.

    Sporadics follow a power law; the shower's share above a limit is that of the area; interference is strong.
    """
    drawn = random.random(len(kind))
    peaks = FAINTEST_DB - 20.0 / (truth.mass_index - 1.0) * np.log10(drawn)
    for i in np.flatnonzero(kind == _SHOWER).tolist():
        peaks[i] = np.interp(-drawn[i], -areas[:, i] / max(areas[0, i], 1e-12), _AREA_LIMITS_DB)
    peaks[kind == _INTERFERENCE] = 15.0
    return peaks


def _classes(random: np.random.Generator, truth: Truth, kind: NDArray[np.int64]) -> tuple[list[EchoClass], Array]:
    """Return the classes and durations of echoes that were found."""
    n = len(kind)
    slope = np.where(kind == _SHOWER, perseids().mass_index, truth.mass_index) - 1.0
    long_s = _SHORTEST_S * random.random(n) ** (-1.0 / slope)
    seen_long = random.random(n) < 1.0 / (1.0 + np.exp(-(long_s - _FOUND_S) / 0.02))
    long_s = np.where(long_s > _CHEMISTRY_S, _CHEMISTRY_S + 0.2 * (long_s - _CHEMISTRY_S), long_s)
    which = random.random(n)
    heavy = (which < 0.25) & seen_long
    duration = np.where(heavy, long_s, 0.08 * np.exp(random.normal(0.0, 0.5, n)))
    names = np.where(heavy, "overdense", np.where(which < 0.25, "unknown", "underdense"))
    names[kind == _INTERFERENCE] = "interference"
    duration[kind == _INTERFERENCE] = 3.0
    return cast("list[EchoClass]", names.tolist()), duration


def _not_hidden(start: Array, duration: Array) -> NDArray[np.bool_]:
    """Tell which echoes do not begin within one that was found before them."""
    free, busy_until = np.ones(len(start), dtype=bool), -np.inf
    for i, (begin, length) in enumerate(zip(start.tolist(), duration.tolist(), strict=True)):
        free[i] = begin >= busy_until
        if free[i]:
            busy_until = begin + length
    return free


def _spans(channel: str, lost: Sequence[tuple[float, float, str]]) -> list[CoverageSpan]:
    """Return watched and lost spans in turn."""
    end_unix = START_UNIX + 86_400.0 * DAYS
    found, at = [], START_UNIX
    for begin, end, reason in sorted(lost):
        first, last = max(begin, at), min(end, end_unix)
        if last <= first:
            continue
        found += [CoverageSpan(channel, at, first, "watched"), CoverageSpan(channel, first, last, "lost", reason)]
        at = last
    return [*found, CoverageSpan(channel, at, end_unix, "watched")]


def _watched(times: Array, spans: Sequence[CoverageSpan]) -> NDArray[np.bool_]:
    edges = np.array([span.start_unix for span in spans])
    watched = np.array([span.state == "watched" for span in spans])
    return np.asarray(watched[np.clip(np.searchsorted(edges, times, side="right") - 1, 0, None)])
