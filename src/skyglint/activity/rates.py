"""Rates: echoes per hour of live time, channel by channel and bin by bin.

The live time is the coverage less the time hidden by echoes, n = N / (T - sum of tau): the live-time form of the
correction for a detector that is dead while it is busy (Knoll, Radiation Detection and Measurement, chapter 4, on
dead time).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from skyglint.activity.bins import hour_edges, night_edges, solar_hour_edges, solar_longitude_edges
from skyglint.activity.coverage import intersection, livetime_by_bin_s, segments_of
from skyglint.activity.poisson import ONE_SIGMA, rates_per_h
from skyglint.errors import RequestError
from skyglint.site import Channel, Role, parse_site
from skyglint.sky.sun import local_apparent_solar_hour, solar_longitude_deg
from skyglint.store import CoverageSpan, Store, StoredEcho

By = Literal["hour", "night", "solar-hour", "solar-longitude"]
BINS: tuple[By, ...] = get_args(By)

_HOUR_S = 3600.0

#: Less live time than one frame is none: it is what rounding leaves of a bin that was hidden from end to end.
_FRAME_S = 0.01


@dataclass(frozen=True, slots=True)
class Rate:
    """How much fell in one channel in one bin of time.

    Attributes
    ----------
    channel, role
        Name of the channel and its role: the rate of a guard or a reference is no rate of meteors.
    start_unix, end_unix
        The bin, half-open.
    echoes
        Echoes that began in it and count as meteors, by the operator's verdict where there is one.
    coverage_s, busy_s
        Time watched, and the part of it hidden by echoes of any class.
    rate_per_h, rate_low_per_h, rate_high_per_h
        Echoes per hour of live time, and its central Poisson limits (68.27 % unless asked otherwise); NaN where the
        channel was not live.
    solar_longitude_deg, local_solar_hour
        Solar longitude (J2000) and local apparent solar time at the middle of the bin.
    """

    channel: str
    role: Role
    start_unix: float
    end_unix: float
    echoes: int
    coverage_s: float
    busy_s: float
    rate_per_h: float
    rate_low_per_h: float
    rate_high_per_h: float
    solar_longitude_deg: float
    local_solar_hour: float


def distinct(echoes: Sequence[StoredEcho]) -> list[StoredEcho]:
    """Return the echoes, by start, without those that another recording of the same channel and time also holds."""
    latest_end: dict[str, dict[int, float]] = {}
    kept = []
    for stored in sorted(echoes, key=lambda item: (item.echo.start_unix, item.recording_id)):
        ends = latest_end.setdefault(stored.echo.channel, {})
        if all(end <= stored.echo.start_unix for number, end in ends.items() if number != stored.recording_id):
            kept.append(stored)
            ends[stored.recording_id] = max(ends.get(stored.recording_id, -math.inf), stored.echo.end_unix)
    return kept


def rates(
    channels: Sequence[Channel],
    coverage: Sequence[CoverageSpan],
    echoes: Sequence[StoredEcho],
    edges_unix: ArrayLike,
    longitude_deg: float,
    confidence: float = ONE_SIGMA,
) -> list[Rate]:
    """Return the rates of each channel in each bin, by time and then in the order of the channels.

    Parameters
    ----------
    channels, coverage, echoes
        As the store gives them; recordings that overlap count once.
    edges_unix
        ``n + 1`` rising edges of the bins. Bins of which nothing is known, neither watched nor lost, have no rows.
    longitude_deg
        Of the site, for its solar time.
    confidence
        Of the limits.
    """
    edges = np.asarray(edges_unix, dtype=np.float64)
    single = distinct(echoes)
    known = livetime_by_bin_s([(span.start_unix, span.end_unix) for span in coverage], edges) > 0
    columns = [_of_channel(channel, coverage, single, edges, confidence) for channel in channels]
    middles = (edges[:-1] + edges[1:]) / 2
    longitudes, hours = solar_longitude_deg(middles), local_apparent_solar_hour(middles, longitude_deg)
    return [
        Rate(
            channel.name,
            channel.role,
            float(edges[k]),
            float(edges[k + 1]),
            int(column[0, k]),
            *(float(value) for value in (*column[1:, k], longitudes[k], hours[k])),
        )
        for k in np.flatnonzero(known)
        for channel, column in zip(channels, columns, strict=True)
    ]


def _of_channel(
    channel: Channel,
    coverage: Sequence[CoverageSpan],
    echoes: Sequence[StoredEcho],
    edges: NDArray[np.float64],
    confidence: float,
) -> NDArray[np.float64]:
    """Return echoes, coverage_s, busy_s, rate and its limits by bin, shape (6, n)."""
    own = [stored for stored in echoes if stored.echo.channel == channel.name]
    watched = segments_of(coverage, channel.name)
    hidden = intersection([(stored.echo.start_unix, stored.echo.end_unix) for stored in own], watched)
    counted = np.sort([stored.echo.start_unix for stored in own if stored.meteoric])
    count = np.diff(np.searchsorted(counted, edges, side="left"))
    coverage_s, busy_s = livetime_by_bin_s(watched, edges), livetime_by_bin_s(hidden, edges)
    live_s = coverage_s - busy_s
    live_s[live_s < _FRAME_S] = 0.0
    return np.stack([count, coverage_s, busy_s, *rates_per_h(count, live_s, confidence)])


def read_rates(
    store: Store,
    by: By = "hour",
    start_unix: float = -math.inf,
    end_unix: float = math.inf,
    channels: Sequence[str] | None = None,
) -> list[Rate]:
    """Return the rates of a database by clock hour, night, hour of local solar time or degree of solar longitude.

    The span is widened to whole bins, so that a rate says the same whatever span was asked for; open ends reach over
    all that is stored.

    Raises
    ------
    RequestError
        If the store reads several sites at once, or there is no channel of a name.
    """
    store.require_channels(channels)
    span = store.span()
    if span is None:
        return []
    bounds = max(start_unix, span[0]), min(end_unix, span[1])
    if not bounds[1] > bounds[0]:
        return []
    runs = store.runs()
    if len(sites := sorted({run.site_name for run in runs})) > 1:
        raise RequestError(f"the database holds several sites ({', '.join(sites)}): choose one of them")
    # Rounded: rates are published, and solar hours to the last digit would give the place away. 0.1 degree is 24 s.
    longitude_deg = round(parse_site(runs[-1].site_file, "site file of the last run").site.longitude_deg, 1)
    edges = _edges(by, bounds, longitude_deg)
    wanted = [channel for channel in store.channels() if channels is None or channel.name in channels]
    within = (float(edges[0]), float(edges[-1]), channels)
    # An echo that began before the first bin may still hide a part of it.
    earlier = (float(edges[0]) - _HOUR_S, float(edges[-1]), channels)
    return rates(wanted, store.coverage(*within), store.echoes(*earlier), edges, longitude_deg)


def _edges(by: By, bounds: tuple[float, float], longitude_deg: float) -> NDArray[np.float64]:
    match by:
        case "hour":
            return hour_edges(*bounds)
        case "night":
            return night_edges(*bounds, longitude_deg)
        case "solar-hour":
            return solar_hour_edges(*bounds, longitude_deg)
        case "solar-longitude":
            return solar_longitude_edges(*bounds)
