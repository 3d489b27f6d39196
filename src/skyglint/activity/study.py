"""What a channel's rates and echoes hold for a study: its hours as arrays, and its echoes that are not spoilt."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from skyglint.activity.rates import Rate
from skyglint.activity.scatter import night_numbers
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

    @property
    def night(self) -> NDArray[np.int64]:
        """Number of the night of each hour, from local solar noon to the next."""
        return night_numbers(self.middle_unix, self.solar_hour)

    def where(self, kept: NDArray[np.bool_]) -> Hours:
        """Return some of the hours, shape (n,) of booleans."""
        return Hours(*(getattr(self, name)[kept] for name in self.__slots__))


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


def without_showers(hours: Hours, hours_apart: Collection[float], share: Mapping[float, float]) -> Hours:
    """Return the hours that showers have little of, their exposure stretched by the echoes that are not sporadic.

    Parameters
    ----------
    hours
        Of one channel.
    hours_apart
        Starts of the hours that are left out.
    share
        Share that showers have of the channel's echoes, by start of the hour; none where it is not known.
    """
    starts = hours.start_unix.tolist()
    kept = np.array([start not in hours_apart for start in starts], dtype=bool)
    left = 1.0 - np.array([share.get(start, 0.0) for start in starts], dtype=np.float64)
    part = hours.where(kept)
    return replace(part, exposure_h=part.exposure_h / left[kept])


def clean_echoes(channel: str, echoes: Sequence[StoredEcho]) -> list[StoredEcho]:
    """Return a channel's meteors whose strength and length are what they were."""
    own = (stored for stored in echoes if stored.echo.channel == channel and stored.meteoric)
    return [stored for stored in own if not _SPOILT.intersection(stored.echo.flags)]
