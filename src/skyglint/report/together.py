"""All target channels taken together, over the night and by hour of local solar time.

The counts are added and the live time is averaged over the channels, as if all had been live equally long. A meteor
that shows in two channels counts twice.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from skyglint.activity.poisson import rates_per_h
from skyglint.activity.rates import Rate


@dataclass(frozen=True, slots=True)
class Together:
    """Echoes of all target channels in one span of time.

    Attributes
    ----------
    solar_hour
        The hour of local apparent solar time, 0 to 23; -1 for the whole night.
    echoes
        Sum over the channels.
    live_s
        Time watched and not hidden by echoes, averaged over the channels.
    rate_per_h, rate_low_per_h, rate_high_per_h
        Rate and its central Poisson limits; NaN where no channel was live.
    """

    solar_hour: int
    echoes: int
    live_s: float
    rate_per_h: float
    rate_low_per_h: float
    rate_high_per_h: float


def together(rows: Sequence[Rate], confidence: float, solar_hour: int = -1) -> Together:
    """Return the rate of all targets together from the rows of one or more bins."""
    targets = [row for row in rows if row.role == "target"]
    channels = len({row.channel for row in targets})
    echoes = sum(row.echoes for row in targets)
    live_s = math.fsum(row.coverage_s - row.busy_s for row in targets) / max(channels, 1)
    rate, low, high = (float(value) for value in rates_per_h(echoes, live_s, confidence))
    return Together(solar_hour, echoes, live_s, rate, low, high)


def by_solar_hour(rows: Sequence[Rate], confidence: float) -> tuple[Together, ...]:
    """Return the rate of all targets together for each hour of local solar time, from rows of such hours."""
    hours: dict[int, list[Rate]] = defaultdict(list)
    for row in rows:
        hours[math.floor(row.local_solar_hour)].append(row)
    return tuple(together(hours[hour], confidence, hour) for hour in sorted(hours))
