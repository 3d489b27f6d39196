"""How often the stated intervals of a month's results hold the truth that was put in."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import SupportsFloat

import numpy as np

from skyglint.activity.bins import hour_edges, night_edges
from skyglint.activity.month import study_month
from skyglint.activity.nights import combined_rate
from skyglint.activity.rates import rates
from skyglint.activity.sporadic_day import sporadic_day
from skyglint.station.accuracy.month_world import DAYS, START_UNIX, World, make_month, paths, site

#: Standard deviations that hold 95 % of a normal distribution.
_SIGMAS_95 = 1.959964

#: Half-open span of the simulated month.
_SPAN = (START_UNIX, START_UNIX + 86_400.0 * DAYS)


@dataclass(frozen=True, slots=True)
class IntervalCoverage:
    """How often intervals of one quantity held the truth.

    Attributes
    ----------
    months
        Simulated months that told the quantity.
    held_68_percent, held_95_percent
        Share whose nominal 68.27 % and 95 % intervals held the truth.
    mean_pull
        Mean of (found - truth) over half the 68 % interval: 0 without bias.
    median_half_width, median_truth
        Of the 68 % intervals, and of the truth, in the quantity's unit.
    """

    months: int
    held_68_percent: float
    held_95_percent: float
    mean_pull: float
    median_half_width: float
    median_truth: float


#: Truth, best value, limits of 68 % and of 95 %.
Interval = tuple[float, float, float, float, float, float]


def measure_months(months: int, seed: int) -> Iterator[tuple[str, IntervalCoverage]]:
    """Yield the coverage of each quantity over simulated months.

    Parameters
    ----------
    months
        How many; each has its own truth.
    seed
        Of all of them.
    """
    found: dict[str, list[Interval]] = {}
    for random in np.random.default_rng(seed).spawn(months):
        for name, interval in month_intervals(make_month(random)).items():
            found.setdefault(name, []).append(interval)
    for name, intervals in found.items():
        yield name, coverage_of(intervals)


def coverage_of(intervals: list[Interval]) -> IntervalCoverage:
    """Return how often intervals held the truth; those that are NaN are left out."""
    rows = np.array(intervals, dtype=np.float64).reshape(-1, 6)
    truth, best, low_68, high_68, low_95, high_95 = rows[np.isfinite(rows).all(axis=1)].T
    half = (high_68 - low_68) / 2.0
    return IntervalCoverage(
        len(truth),
        float(100.0 * np.mean((low_68 <= truth) & (truth <= high_68))),
        float(100.0 * np.mean((low_95 <= truth) & (truth <= high_95))),
        float(np.mean((best - truth) / half)),
        float(np.median(half)),
        float(np.median(truth)),
    )


def month_intervals(world: World) -> dict[str, Interval]:
    """Return what a month's page would state, beside the truth, by the quantity's name."""
    truth, place = world.truth, site()
    targets = [path.channel.name for path in paths()]
    longitude = place.site.longitude_deg
    rows = rates(place.channel, world.coverage, world.echoes, hour_edges(*_SPAN), longitude)
    by_name = {path.channel.name: path for path in paths()}
    month = study_month("2026-08", targets, by_name, world.coverage, rows, world.echoes, 1.0)
    cycle = sporadic_day(rows, targets, month.shower_hours, month.shower_share).cycle
    mean = float(np.mean([truth.found_per_h(k) for k in range(len(targets))]))
    hour = (float(cycle.hour_of_maximum_h) - truth.hour_of_maximum_h + 12.0) % 24.0 - 12.0
    found = {
        "mean rate of the sporadic day": _normal(mean, float(cycle.mean_per_h), float(cycle.mean_sd_per_h)),
        "rate over nights, month without its shower": _nights(world),
        "amplitude of the day": _normal(truth.amplitude, float(cycle.amplitude), float(cycle.amplitude_sd)),
        "hour of maximum": _normal(0.0, hour, float(cycle.hour_of_maximum_sd_h)),
    }
    for name, index in (
        ("mass index, underdense", month.by_source["sporadic"]),
        ("mass index, overdense", month.overdense_by_source["sporadic"]),
    ):
        limits = (index.low_68, index.high_68, index.low_95, index.high_95)
        found[name] = (truth.mass_index, index.mass_index, *limits)
    shower = next((entry for entry in month.showers if entry.code == "PER"), None)
    if shower is None:
        return found
    flux = shower.flux
    half = (flux.high_per_km2_h - flux.low_per_km2_h) / 2.0
    found["flux, all channels"] = _normal(truth.flux_per_km2_h, flux.flux_per_km2_h, half)
    for result in shower.results:
        strength = result.strength
        edges = (strength.low_68, strength.high_68, strength.low_95, strength.high_95)
        found[f"strength, {result.channel} alone"] = _limited(truth.flux_per_km2_h, strength.strength, edges)
    if shower.peak is not None:
        peak = shower.peak
        edges = (peak.low_68_deg, peak.high_68_deg, peak.low_95_deg, peak.high_95_deg)
        found["longitude of the maximum"] = _limited(truth.peak_longitude_deg, peak.longitude_deg, edges)
    return found


def _nights(world: World) -> Interval:
    channel = site().channel[:1]
    edges = night_edges(*_SPAN, site().site.longitude_deg)
    rows = rates(channel, world.coverage, world.sporadic, edges, site().site.longitude_deg)
    counts, live_h = [row.echoes for row in rows], [(row.coverage_s - row.busy_s) / 3600.0 for row in rows]
    narrow, wide = combined_rate(counts, live_h), combined_rate(counts, live_h, 0.95)
    limits = (narrow.low_per_h, narrow.high_per_h, wide.low_per_h, wide.high_per_h)
    return (world.truth.found_per_h(0) * world.watched_course[0], narrow.rate_per_h, *limits)


def _limited(truth: float, best: SupportsFloat, limits: Sequence[SupportsFloat]) -> Interval:
    low_68, high_68, low_95, high_95 = map(float, limits)
    return truth, float(best), low_68, high_68, low_95, high_95


def _normal(truth: float, best: float, sd: float) -> Interval:
    return truth, best, best - sd, best + sd, best - _SIGMAS_95 * sd, best + _SIGMAS_95 * sd
