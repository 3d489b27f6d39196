"""The day's course of the counts as a second, independent demonstration: the leading side of a turning Earth."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from skyglint.activity.daily import DailyCycle, MorningTest, fit_daily_cycle, morning_test
from skyglint.activity.rates import Rate

#: Shorter live time in an hour is left out, and fewer hours or echoes fit no course (common practice).
_LEAST_LIVE_S = 60.0
_LEAST_HOURS = 8
_LEAST_ECHOES = 20


@dataclass(frozen=True, slots=True)
class SolarClockEvidence:
    """What the counts say of the hour.

    Attributes
    ----------
    echoes, hours_watched, solar_hours
        Counted on all targets, live hours (summed over the targets), and how many of the 24 hours were watched.
    morning
        The halves of the day compared.
    cycle
        The fitted course; ``None`` where too little of the day was watched.
    """

    echoes: int
    hours_watched: float
    solar_hours: int
    morning: MorningTest
    cycle: DailyCycle | None

    @property
    def sentence(self) -> str:
        """What the numbers say, no more."""
        if self.cycle is None or math.isnan(self.morning.probability):
            return (
                f"{self.echoes} echoes in {self.solar_hours} of the 24 solar hours do not show a day's course yet: "
                "watch mornings and evenings."
            )
        fit = self.cycle
        halves = (
            f"From local midnight to noon {_ratio(self.morning.ratio)} the rate of the other half of the day "
            f"(probability of this by chance {_probability(self.morning.probability)})."
        )
        if math.isnan(float(fit.hour_of_maximum_h)):
            return f"{halves} The hour of the maximum cannot be told."
        return (
            f"{halves} The rate is highest at {float(fit.hour_of_maximum_h):.1f} ± "
            f"{float(fit.hour_of_maximum_sd_h):.1f} h local solar time; the leading side of a turning, orbiting Earth "
            "is in front at 6 h."
        )


def solar_clock_evidence(rows: Sequence[Rate]) -> SolarClockEvidence:
    """Return what hourly rates, rows of the table of rates, say of the day's course."""
    used = [row for row in rows if row.role == "target" and row.coverage_s - row.busy_s >= _LEAST_LIVE_S]
    hour = np.array([row.local_solar_hour for row in used])
    count = np.array([row.echoes for row in used], dtype=np.float64)
    live_h = np.array([(row.coverage_s - row.busy_s) / 3600.0 for row in used])
    distinct = len({math.floor(value) for value in hour})
    enough = distinct >= _LEAST_HOURS and count.sum() >= _LEAST_ECHOES
    return SolarClockEvidence(
        echoes=int(count.sum()),
        hours_watched=float(live_h.sum()),
        solar_hours=distinct,
        morning=morning_test(hour, count, live_h),
        cycle=fit_daily_cycle(hour, count, live_h, bin_h=1.0) if enough else None,
    )


def _ratio(value: float) -> str:
    return f"{value:.1f} times" if math.isfinite(value) else "many times"


def _probability(value: float) -> str:
    return f"{value:.2f}" if value >= 0.01 else f"below {max(10 ** math.ceil(math.log10(max(value, 1e-12))), 1e-12):g}"
