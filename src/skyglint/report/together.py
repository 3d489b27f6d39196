"""All target channels taken together, over the night and by hour of local solar time.

The counts are added and the live time is averaged over the channels, as if all had been live equally long. A meteor
that shows in two channels counts twice.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.activity.poisson import rates_per_h
from skyglint.activity.rates import Rate
from skyglint.sky.sun import local_apparent_solar_hour


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


def solar_hour_edges(start_unix: float, end_unix: float, longitude_deg: float) -> NDArray[np.float64]:
    """Return the whole hours of local apparent solar time that hold the span, as edges, POSIX seconds.

    The equation of time moves by about half a minute a day at most: one correction finds each edge within a
    hundredth of a second, and one edge more makes up for what a day may lose.
    """
    into = float(local_apparent_solar_hour(start_unix, longitude_deg)) % 1.0
    first = start_unix - 3600.0 * into
    edges = first + 3600.0 * np.arange(math.ceil((end_unix - first) / 3600.0) + 2)
    error_h = (local_apparent_solar_hour(edges, longitude_deg) + 0.5) % 1.0 - 0.5
    return np.asarray(edges - 3600.0 * error_h)
