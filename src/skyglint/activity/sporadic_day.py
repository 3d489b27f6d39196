"""All target channels of a season together: their scale, and the course of the day without the showers' hours."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.activity.daily import DailyCycle, MorningTest, fit_daily_cycle, morning_test
from skyglint.activity.rates import Rate
from skyglint.activity.scales import Scaled, Scales, gathered, scaled, scales_of, tables
from skyglint.activity.scatter import night_numbers

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class SporadicDay:
    """What all target channels tell of the day.

    Attributes
    ----------
    reference
        Place among the targets of the channel with the most echoes.
    scales
        Sensitivities relative to it, from the hours without showers, in the order of the targets.
    start_unix, solar_hour
        Of all hours, shape (n,).
    together
        All hours, showers and all.
    hours_of_day
        The hours without showers by local solar hour, shapes (24,).
    cycle, morning
        Course of the day and the morning against the evening, of the hours without showers.
    """

    reference: int
    scales: Scales
    start_unix: Array
    solar_hour: Array
    together: Scaled
    hours_of_day: Scaled
    cycle: DailyCycle
    morning: MorningTest


def sporadic_day(
    rows: Sequence[Rate],
    targets: Sequence[str],
    shower_hours: Collection[float],
    shower_share: Mapping[str, Mapping[float, float]],
) -> SporadicDay:
    """Return the day of a season.

    Parameters
    ----------
    rows
        Rates by the hour.
    targets
        Names of the channels that count.
    shower_hours
        Starts of the hours that showers have too much of.
    shower_share
        Share that they have of each channel's echoes in the others, by start: exposures are stretched by it, so that
        the rate is the sporadic one.
    """
    known = {row.start_unix: row.local_solar_hour for row in rows}
    starts = np.array(sorted(known), dtype=np.float64)
    solar_hour = np.array([known[start] for start in starts.tolist()], dtype=np.float64)
    free = np.array([start not in shower_hours for start in starts.tolist()], dtype=bool)
    counts, live_h = tables(rows, targets, starts)
    of_showers = np.array(
        [[shower_share.get(name, {}).get(start, 0.0) for start in starts.tolist()] for name in targets]
    )
    quiet_h = (live_h / np.maximum(1.0 - of_showers.reshape(live_h.shape), 1e-3))[:, free]
    reference, scales = scales_of(counts[:, free], quiet_h)
    background = scaled(counts[:, free], quiet_h, scales.factor)
    course = (solar_hour[free], background.echoes, background.exposure_h)
    return SporadicDay(
        reference=reference,
        scales=scales,
        start_unix=starts,
        solar_hour=solar_hour,
        together=scaled(counts, live_h, scales.factor),
        hours_of_day=gathered(background, solar_hour[free].astype(np.intp) % 24, 24),
        cycle=fit_daily_cycle(*course, bin_h=1.0, night=night_numbers(starts[free] + 1800.0, solar_hour[free])),
        morning=morning_test(*course),
    )
